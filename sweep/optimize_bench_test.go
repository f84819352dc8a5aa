//go:build unix

package sweep

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"syscall"
	"testing"

	"gonum.org/v1/gonum/optimize"

	"relaysweep/objective"
	"relaysweep/sweep/spec"
)

// benchSeeds is how often each method is tried.
const benchSeeds = 20

// optimizeCase is a space, with what the exact search proves to be best at paraxial gaps, or a length
// where that cannot finish.
type optimizeCase struct {
	name        string
	evaluations int
	job         func(b *testing.B) *Job
	lengthMM    float64 // 0: the proven best
}

// everyFourth is the demo of stacks with every fourth achromat only, from an
// offset on, in stacks of three.
func everyFourth(offset int) func(b *testing.B) *Job {
	return func(b *testing.B) *Job {
		j := demoJob(b, "stacks")
		kept := j.Catalog.Lenses[:0]
		for i, l := range j.Catalog.Lenses {
			if l.Kind == "achromat" && i%4 == offset {
				kept = append(kept, l)
			}
		}
		j.Catalog.Lenses = kept
		j.Spec.Train.LensesPerGroup = 3
		return j
	}
}

var optimizeCases = []optimizeCase{
	{"quick", 20_000, func(b *testing.B) *Job { return demoJob(b, "quick") }, 0},
	{"pair", 20_000, func(b *testing.B) *Job { return demoJob(b, "pair") }, 0},
	{"stacks", 200_000, func(b *testing.B) *Job { return demoJob(b, "stacks") }, 0},
	{"whole", 100_000, func(b *testing.B) *Job { return demoJob(b, "whole") }, 110},
	{"triples-17", 60_000, everyFourth(2), 0},
	{"triples-21", 60_000, everyFourth(1), 0},
	{"triples-19", 60_000, everyFourth(0), 0},
}

// cpuSeconds is the processor time that the process has spent.
func cpuSeconds() float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return math.NaN()
	}
	seconds := func(t syscall.Timeval) float64 { return float64(t.Sec) + float64(t.Usec)/1e6 }
	return seconds(u.Utime) + seconds(u.Stime)
}

// BenchmarkOptimize compares the population search with the exact one, and at equal
// evaluations with itself grading all by rays, with designs drawn evenly out of the space, with the
// draws that its populations begin with, and with CMA-ES over the lenses' places in the order
// of power. It reports how many of 20 seeds find the proven best or come to a given length, the
// median of what they find, the processor time of a run; and of those that find it evaluations,
// trains traced and processor time until then, in the mean, a run that does not counting in full.
func BenchmarkOptimize(b *testing.B) {
	for _, c := range optimizeCases {
		best := c.lengthMM
		b.Run(c.name+"/enumerate", func(b *testing.B) {
			if c.lengthMM > 0 {
				b.SkipNow()
			}
			for b.Loop() {
				best = provenBest(b, &c)
			}
		})
		for _, m := range []struct {
			name string
			rays bool
			run  func(s *optimizer) error
		}{
			{"population", false, func(s *optimizer) error { return s.run(context.Background()) }},
			{"population-by-rays", true, func(s *optimizer) error { return s.run(context.Background()) }},
			{"drawn", true, (*optimizer).drawAll},
			{"random", true, (*optimizer).randomAll},
			{"cma-es", true, (*optimizer).cmaesAll},
		} {
			b.Run(c.name+"/"+m.name, func(b *testing.B) {
				if best == 0 {
					best = provenBest(b, &c)
				}
				j := c.job(b)
				lib := unrefined(j.library(j.Spec, j.Spec.Problem()))
				for b.Loop() {
					b.ReportAllocs()
					var until, all effort
					var found []float64
					hits := 0
					for seed := range benchSeeds {
						o := j.options(j.Spec)
						o.workers = 1
						o.optimize.evaluations, o.optimize.seed = int64(c.evaluations), int64(seed+1)
						if m.rays {
							o.optimize.farFactor = 0
						}
						at, hit, start := effort{}, false, cpuSeconds()
						var s *optimizer
						o.progress = func(Status) {
							if !hit {
								at = effort{float64(s.evaluated), float64(s.proof.Checked), cpuSeconds() - start}
								hit = s.best.tier == passes && s.best.ranked <= best
							}
						}
						s, err := newOptimizer(lib, o)
						if err == nil {
							err = m.run(s)
						}
						if err != nil {
							b.Fatal(err)
						}
						until.add(at)
						all.add(effort{float64(s.evaluated), float64(s.proof.Checked), cpuSeconds() - start})
						shortest := math.Inf(1)
						if s.best.tier == passes {
							shortest = s.best.ranked
						}
						if found = append(found, shortest); hit {
							hits++
						}
					}
					slices.Sort(found)
					b.ReportMetric(float64(hits), "hits")
					b.ReportMetric(found[benchSeeds/2], "median-mm")
					b.ReportMetric(until.evaluations/benchSeeds, "evaluations/hit")
					b.ReportMetric(until.traced/benchSeeds, "traced/hit")
					b.ReportMetric(until.cpu/benchSeeds, "cpu-s/hit")
					b.ReportMetric(all.cpu/benchSeeds, "cpu-s/run")
				}
			})
		}
	}
}

// effort is what searches have cost.
type effort struct{ evaluations, traced, cpu float64 }

func (e *effort) add(o effort) {
	e.evaluations, e.traced, e.cpu = e.evaluations+o.evaluations, e.traced+o.traced, e.cpu+o.cpu
}

// provenBest is the ranked length of the shortest design that passes at its paraxial gaps.
func provenBest(b *testing.B, c *optimizeCase) float64 {
	j := c.job(b)
	j.Spec.Job.Top, j.Spec.Refine.Method = 1, spec.RefineNone
	j.Points = j.Spec.Grid()
	start := cpuSeconds()
	out, err := j.Run(context.Background(), Attempt{})
	if err != nil || len(out[0].Found) == 0 {
		b.Fatal("nothing found", err)
	}
	b.ReportMetric(cpuSeconds()-start, "cpu-s/run")
	b.ReportMetric(float64(out[0].Proof.Checked), "checked")
	return out[0].Found[0].Ranked
}

// drawAll evaluates fresh draws only.
func (s *optimizer) drawAll() error {
	for !s.over() {
		st := s.newPool()
		if _, err := s.evaluate(context.Background(), s.propose(func() designKey { return s.fresh(st) })); err != nil {
			return err
		}
	}
	return nil
}

// randomAll evaluates designs drawn evenly out of the space.
func (s *optimizer) randomAll() error {
	n := len(s.lib.Elements)
	largest := float64(n) / float64(n+1) // share of one lens more among groups, for many lenses
	for !s.over() {
		_, err := s.evaluate(context.Background(), s.propose(func() designKey {
			key := designKey{space: s.spaces[s.random.IntN(len(s.spaces))]}
			for i := range key.groupCount() {
				lenses := s.lensesPerGroup
				for lenses > 1 && s.random.Float64() > largest {
					lenses--
				}
				stack := make([]*objective.Element, lenses)
				for k := range stack {
					stack[k] = s.anyElement()
				}
				key.groups[i] = s.lib.Code(stack)
			}
			return key
		}))
		if err != nil {
			return err
		}
	}
	return nil
}

// cmaesCalls is how many calls for each evaluation CMA-ES may make: it often asks for
// designs that are known, which are not evaluated again.
const cmaesCalls = 5

// cmaesAll minimises by CMA-ES, begun anew from a random place whenever it has converged.
// Each lens has a coordinate: its place in the order of power over their number,
// and for lenses beyond a group's first values below 0 stand for none. What it
// minimises has the order of grades.
func (s *optimizer) cmaesAll() error {
	source := rand.NewPCG(uint64(s.optimize.seed), 1)
	perGroup, n := s.lensesPerGroup, float64(len(s.byPower))
	space := s.spaces[0]
	dim := perGroup * len(space.Layout.GroupNames())
	e := <-s.workers
	calls := int64(0)
	for !s.over() && calls < cmaesCalls*s.optimize.evaluations {
		design := func(x []float64) designKey {
			key := designKey{space: space}
			for g := range key.groupCount() {
				var stack []*objective.Element
				for k, v := range x[g*perGroup : (g+1)*perGroup] {
					if v >= 0 || k == 0 {
						stack = append(stack, s.byPower[int(math.Max(0, math.Min(n-1, v*n)))])
					}
				}
				key.groups[g] = s.lib.Code(stack)
			}
			return key
		}
		value := func(x []float64) float64 {
			key := design(x)
			calls++
			g, known := s.memo[key]
			if !known && !s.over() {
				groups := s.groupsOf(&key)
				g = e.evaluate(space, &groups, math.Inf(1))
				s.account(&graded{key, g})
			}
			outside := 0.0 // keeps coordinates from drifting away
			for _, v := range x {
				outside += math.Max(0, v-1) + math.Max(0, -1-v)
			}
			return float64(g.tier)*1e6 + g.amount + g.ranked/1e6 + outside
		}
		from := make([]float64, dim)
		for i := range from {
			from[i] = s.random.Float64()*1.3 - 0.3
		}
		left := int(cmaesCalls*s.optimize.evaluations - calls)
		_, err := optimize.Minimize(optimize.Problem{Func: value}, from, &optimize.Settings{
			FuncEvaluations: left, Converger: &optimize.FunctionConverge{Absolute: 1e-9, Iterations: 40},
		}, &optimize.CmaEsChol{InitStepSize: 0.3, Src: source})
		if err != nil {
			return err
		}
		if len(s.groups) > groupsHeld {
			clear(s.groups)
		}
	}
	s.workers <- e
	return nil
}

// BenchmarkPopulation is what an evaluation costs, with the breeding of what is
// evaluated, of single lenses, stacks and pair relays.
func BenchmarkPopulation(b *testing.B) {
	for _, name := range []string{"quick", "stacks", "pair", "optimize"} {
		b.Run(name, func(b *testing.B) {
			j := demoJob(b, name)
			lib := j.library(j.Spec, j.Spec.Problem())
			evaluated, traced := int64(0), int64(0)
			for b.Loop() {
				o := j.options(j.Spec)
				o.optimize.evaluations = 10_000
				s, err := newOptimizer(lib, o)
				if err == nil {
					err = s.run(context.Background())
				}
				if err != nil {
					b.Fatal(err)
				}
				evaluated, traced = evaluated+s.evaluated, traced+s.proof.Checked
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(evaluated), "ns/evaluation")
			b.ReportMetric(float64(traced)/float64(evaluated), "traced/evaluation")
		})
	}
}
