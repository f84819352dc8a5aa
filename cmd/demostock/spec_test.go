package main

import (
	"context"
	"math/big"
	"path/filepath"
	"testing"

	"relaysweep/sweep"
)

func TestDemoSpecsAreSound(t *testing.T) {
	specs, err := filepath.Glob(filepath.Join(filepath.Dir(committed), "*.toml"))
	if err != nil {
		t.Fatal(err)
	}
	if len(specs) < 3 {
		t.Fatalf("found %d specs, want three or more", len(specs))
	}
	for _, path := range specs {
		job, err := sweep.Open(context.Background(), path)
		if err != nil {
			t.Errorf("%s: %v", path, err)
			continue
		}
		if name := job.Spec.Job.Name + ".toml"; name != filepath.Base(path) {
			t.Errorf("%s: the job's name does not fit its file", path)
		}
		// The same viewer in every spec.
		if p := job.Spec.Problem(); p.Pupil != 3 || p.Box != 2 || p.VergenceNear != 1/250.0 || p.MaskPixel != 0.02 {
			t.Errorf("%s: pupil %g mm, box %g mm, near vergence %g/mm, pixel %g mm", path, p.Pupil, p.Box, p.VergenceNear, p.MaskPixel)
		}
	}
}

// The demo with stacks says that it is beyond plain nested loops.
func TestStacksAreMany(t *testing.T) {
	job, err := sweep.Open(context.Background(), filepath.Join(filepath.Dir(committed), "stacks.toml"))
	if err != nil {
		t.Fatal(err)
	}
	previews, err := job.Preview(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	designs := new(big.Int)
	for _, space := range previews[0].Spaces {
		designs.Add(designs, space.Designs)
	}
	if least := big.NewInt(10_000_000_000_000); designs.Cmp(least) < 0 {
		t.Errorf("%d trains, want more than %d", designs, least)
	}
}
