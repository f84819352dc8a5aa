package objective

import (
	"fmt"

	"relaysweep/objective/internal/testlens"
	"testing"
)

func TestReference(t *testing.T) {
	for _, c := range []struct {
		weights []float64
		want    int
	}{
		{[]float64{1, 2, 1}, 1}, {[]float64{2, 1, 2}, 0}, {[]float64{0, 1, 3}, 2}, {[]float64{5}, 0},
	} {
		if got := (&Problem{Weights: c.weights}).Reference(); got != c.want {
			t.Errorf("weights %v: reference %d, want %d", c.weights, got, c.want)
		}
	}
}

// TestDepth: samples are even in vergence and end exactly at the ends.
func TestDepth(t *testing.T) {
	p := &Problem{VergenceFar: 0.0003, VergenceNear: 0.0043, DepthSteps: 5}
	for i, want := range []float64{0.0003, 0.0013, 0.0023, 0.0033, 0.0043} {
		testlens.CloseTo(t, fmt.Sprint("depth ", i), p.Depth(i), want, want)
	}
	if p.Depth(0) != p.VergenceFar || p.Depth(4) != p.VergenceNear {
		t.Error("the ends are not exact")
	}
	if p = (&Problem{VergenceFar: 0.002, VergenceNear: 0.002, DepthSteps: 1}); p.Depth(0) != 0.002 {
		t.Error("a single sample is not the depth")
	}
}
