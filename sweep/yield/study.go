package yield

import (
	"context"
	"math"
	"sync/atomic"

	"golang.org/x/sync/errgroup"

	"relaysweep/objective"
	"relaysweep/objective/bench"
)

// Study is the builds of one train.
type Study struct {
	Problem      *objective.Problem
	Train        *objective.Train
	Tolerances   Tolerances
	Compensators bench.Compensators
	Seed         uint64
	// Vignetting measures vignetting where no limit asks for it.
	Vignetting bool
	Workers    int // goroutines

	variables []Variable
	benches   []*worker
}

// worker is what one goroutine measures builds with.
type worker struct {
	bench     *bench.Bench
	build     *bench.Build
	drawer    *drawer
	u, errors []float64
	other     []float64
}

// Made is one build.
type Made struct {
	Outcome  bench.Outcome
	FailedBy string // the first limit that it fails, empty when it passes
}

// prepare makes the workers once.
func (s *Study) prepare() {
	if s.benches != nil {
		return
	}
	s.variables = Variables(s.Train)
	n := len(s.variables)
	for range max(1, s.Workers) {
		b := bench.New(s.Problem, s.Train, s.Compensators, s.Vignetting)
		s.benches = append(s.benches, &worker{
			b, b.NewBuild(), newDrawer(), make([]float64, n), make([]float64, n), make([]float64, n),
		})
	}
}

// each calls do for each of n numbers once, on all workers. What do writes goes to
// places of its own number.
func (s *Study) each(ctx context.Context, n int, do func(w *worker, i int)) error {
	s.prepare()
	var next atomic.Int64
	group, ctx := errgroup.WithContext(ctx)
	for _, w := range s.benches {
		group.Go(func() error {
			for ctx.Err() == nil {
				i := int(next.Add(1)) - 1
				if i >= n {
					return nil
				}
				do(w, i)
			}
			return ctx.Err()
		})
	}
	return group.Wait()
}

// measure makes and measures the build with the errors of the worker.
func (s *Study) measure(w *worker) Made {
	s.Tolerances.apply(w.build, s.variables, w.errors)
	o := w.bench.Measure(w.build)
	return Made{o, w.bench.FailedBy(&o)}
}

// draw sets errors to those of a build.
func (s *Study) draw(w *worker, errors []float64, stream, build uint64) {
	w.drawer.fill(w.u, s.Seed, stream, build)
	for i, u := range w.u {
		errors[i] = s.Tolerances.Distribution.Quantile(u)
	}
}

// Builds makes builds from and up to but not including to.
func (s *Study) Builds(ctx context.Context, from, to int) ([]Made, error) {
	made := make([]Made, to-from)
	err := s.each(ctx, len(made), func(w *worker, i int) {
		s.draw(w, w.errors, streamBuilds, uint64(from+i))
		made[i] = s.measure(w)
	})
	return made, err
}

// Errors are what is off in a build, by variable and in the unit of its tolerance.
func (s *Study) Errors(build int) ([]Variable, []float64) {
	s.prepare()
	w := s.benches[0]
	s.draw(w, w.errors, streamBuilds, uint64(build))
	values := make([]float64, len(w.errors))
	for i, e := range w.errors {
		values[i] = e * s.Tolerances.Of[s.variables[i].Kind]
	}
	return s.variables, values
}

// Nominal is the build without errors.
func (s *Study) Nominal() Made {
	s.prepare()
	w := s.benches[0]
	clear(w.errors)
	return s.measure(w)
}

// Contribution is the part that one kind of tolerance has in the variance of a figure:
// alone, and in all, with standard errors. It is NaN where the figure does not vary, or
// is not finite for some build.
type Contribution struct {
	Kind                   Kind
	Figure                 int // in [bench.Measures]
	First, Total           float64
	FirstError, TotalError float64
}

// kindsUsed are the kinds of tolerances that are not zero.
func (s *Study) kindsUsed() (used []Kind) {
	for k := range Kinds {
		if s.Tolerances.Of[k] > 0 {
			used = append(used, k)
		}
	}
	return used
}

// Contributions splits the variance of the magnitude of every figure over the kinds of
// tolerances that are not zero, from (number of kinds + 2) times n builds.
func (s *Study) Contributions(ctx context.Context, n int) ([]Contribution, error) {
	s.prepare()
	used := s.kindsUsed()
	count := len(used) + 2
	values := make([]bench.Outcome, count*n)
	err := s.each(ctx, len(values), func(w *worker, i int) {
		sample, j := i%count, uint64(i/count)
		stream := uint64(streamFirst)
		if sample == 1 {
			stream = streamSecond
		}
		s.draw(w, w.errors, stream, j)
		if sample > 1 {
			s.draw(w, w.other, streamSecond, j)
			for v := range s.variables {
				if s.variables[v].Kind == used[sample-2] {
					w.errors[v] = w.other[v]
				}
			}
		}
		values[i] = s.measure(w).Outcome
	})
	if err != nil {
		return nil, err
	}
	var all []Contribution
	column := func(sample, figure int) []float64 {
		c := make([]float64, n)
		for j := range c {
			c[j] = math.Abs(values[j*count+sample][figure])
		}
		return c
	}
	for figure := range bench.Measures {
		var mixed [][]float64
		for k := range used {
			mixed = append(mixed, column(k+2, figure))
		}
		first, total, firstError, totalError := Shares(column(0, figure), column(1, figure), mixed)
		for i, k := range used {
			all = append(all, Contribution{k, figure, first[i], total[i], firstError[i], totalError[i]})
		}
	}
	return all, nil
}

// Sensitivity is by how much every figure of the design changes when one error alone
// goes to its tolerance, to the side where its magnitude becomes larger. Of directions
// that do the same by symmetry one is listed.
type Sensitivity struct {
	Variable *Variable
	Change   bench.Outcome
	at       int // place among the variables
}

// sensitiveTo lists the errors of sensitivities.
func (s *Study) sensitiveTo() (all []Sensitivity) {
	s.prepare()
	for i := range s.variables {
		if v := &s.variables[i]; s.Tolerances.Of[v.Kind] > 0 && !v.mirror {
			all = append(all, Sensitivity{Variable: v, at: i})
		}
	}
	return all
}

// Sensitivities are those of all errors whose tolerance is not zero.
func (s *Study) Sensitivities(ctx context.Context) ([]Sensitivity, error) {
	nominal, all := s.Nominal().Outcome, s.sensitiveTo()
	err := s.each(ctx, len(all), func(w *worker, i int) {
		clear(w.errors)
		w.errors[all[i].at] = 1
		up := s.measure(w).Outcome
		w.errors[all[i].at] = -1
		down := s.measure(w).Outcome
		for k := range nominal {
			all[i].Change[k] = max(math.Abs(up[k]), math.Abs(down[k])) - math.Abs(nominal[k])
		}
	})
	return all, err
}

// Yield counts builds that pass, and judges their share against the least one asked
// for, looking at it after each number of [Looks]: it ends as soon as the interval lies
// on one side. Without a least share (0) it makes all builds.
func (s *Study) Yield(ctx context.Context, most int, least float64) (made []Made, passed int, verdict Verdict, err error) {
	looks := Looks(most)
	for _, n := range looks {
		more, err := s.Builds(ctx, len(made), n)
		if err != nil {
			return nil, 0, Open, err
		}
		for i := range more {
			if more[i].FailedBy == "" {
				passed++
			}
		}
		made = append(made, more...)
		if least > 0 {
			if verdict = Judge(passed, len(made), len(looks), least); verdict != Open {
				break
			}
		}
	}
	return made, passed, verdict, nil
}
