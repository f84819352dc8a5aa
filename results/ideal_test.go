package results

import (
	"math"
	"path/filepath"
	"strings"
	"testing"
)

func TestIdealLine(t *testing.T) {
	for _, c := range []struct {
		limit       IdealLimit
		line, short string
	}{
		{IdealLimit{}, "", Null},
		{
			IdealLimit{LengthMM: ptr(131.2), ReachedMM: ptr(131.3), ApertureRatio: ptr(0.55), Settled: true, StockMorePct: ptr(62.4)},
			"ideal limit: 131.2 mm with any thin lenses of aperture ratio 0.55 (stock costs 62 % more)", "131.2",
		},
		{
			IdealLimit{LengthMM: ptr(131.2), ReachedMM: ptr(131.3), ApertureRatio: ptr(0.55), Settled: true},
			"ideal limit: 131.2 mm with any thin lenses of aperture ratio 0.55", "131.2",
		},
		{
			IdealLimit{LengthMM: ptr(131.2), ReachedMM: ptr(131.3), ApertureRatio: ptr(0.55), Settled: true, StockMorePct: ptr(-3.26)},
			"ideal limit: 131.2 mm with any thin lenses of aperture ratio 0.55 (stock is 3.3 % shorter: thick lenses can be)", "131.2",
		},
		{
			IdealLimit{LengthMM: ptr(100.0), ReachedMM: ptr(125.0), ApertureRatio: ptr(0.55), StockMorePct: ptr(50.0)},
			"ideal limit: between 100.0 and 125.0 mm with any thin lenses of aperture ratio 0.55 (not settled further, stock costs 20 to 50 % more)", "above 100.0",
		},
		{
			IdealLimit{LengthMM: ptr(100.0), ReachedMM: ptr(125.0), ApertureRatio: ptr(0.55), StockMorePct: ptr(10.0)},
			"ideal limit: between 100.0 and 125.0 mm with any thin lenses of aperture ratio 0.55 (not settled further, stock costs up to 10 % more)", "above 100.0",
		},
		{
			IdealLimit{LengthMM: ptr(100.0), ApertureRatio: ptr(0.55)},
			"ideal limit: at least 100.0 mm with any thin lenses of aperture ratio 0.55 (not settled: no such train is known)", "above 100.0",
		},
		{
			IdealLimit{ApertureRatio: ptr(0.55), Settled: true},
			"ideal limit: no train of any thin lenses of aperture ratio 0.55 can do this", "none",
		},
		{
			IdealLimit{ApertureRatio: ptr(0.55), Settled: true, Without: []string{"travel", "pixel_arcmin"}},
			"ideal limit: no train of any thin lenses of aperture ratio 0.55 can do this; one could without any one of: travel, pixel_arcmin", "none",
		},
	} {
		if got := c.limit.Line(); got != c.line {
			t.Errorf("got  %s\nwant %s", got, c.line)
		}
		if got := c.limit.short(); got != c.short {
			t.Errorf("short: got %s, want %s", got, c.short)
		}
	}
}

// TestIdealFaults: a number that JSON cannot hold is told by its key.
func TestIdealFaults(t *testing.T) {
	for key, spoil := range map[string]func(l *IdealLimit){
		"ideal_length_mm":  func(l *IdealLimit) { l.LengthMM = ptr(math.Inf(1)) },
		"ideal_reached_mm": func(l *IdealLimit) { l.ReachedMM = ptr(math.NaN()) },
		"ideal.f_relay_mm": func(l *IdealLimit) { l.Train.FRelayMM = ptr(math.Inf(-1)) },
		"ideal.f_rear_mm":  func(l *IdealLimit) { l.Train.FRearMM = math.NaN() },
	} {
		m := madeManifest()
		spoil(&m.Points[0].IdealLimit)
		if err := WriteManifest(filepath.Join(t.TempDir(), "run.json"), m); err == nil || !strings.Contains(err.Error(), "point 0: "+key) {
			t.Errorf("%s: %v", key, err)
		}
	}
}
