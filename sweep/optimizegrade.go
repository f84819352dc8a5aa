package sweep

import (
	"cmp"
	"context"
	"math"
	"slices"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/journal"
)

// designKey tells designs apart.
type designKey struct {
	space  objective.Space
	groups [4]objective.StackCode
}

// tier is how far a design has come.
type tier uint8

const (
	passes  tier = iota // all requirements and limits
	exceeds             // meets the paraxial requirements, but fails by rays
	far                 // meets them, but is so far beyond limits by third-order sums that it is not traced
	tooLong             // meets them, but would not come into the ranking: not traced
	misses              // a paraxial requirement
)

func (t tier) hasAmount() bool { return t == exceeds || t == far || t == misses }

// grade is what an evaluation brings: designs are compared by it.
type grade struct {
	tier   tier
	failed uint8   // place in gradeNames of what it fails first
	amount float64 // how far it exceeds limits, of a far one by estimate, or misses requirements; 0 for others
	ranked float64 // mm, 0 for one that misses
	inner  float64 // mm, the gap inside a pair relay
	near   bool    // of a far one: refinement may put it right all the same
}

// gradeNames are the names under which designs are counted that don't pass.
var gradeNames = func() []string {
	names := []string{byGap, raycheck.TransmissionMin}
	for r := objective.Focal; r < objective.Met; r++ {
		names = append(names, r.String())
	}
	for _, m := range raycheck.MetricList {
		if !slices.Contains(names, m.Name) {
			names = append(names, m.Name)
		}
	}
	return names
}()

func gradeName(name string) uint8 { return uint8(slices.Index(gradeNames, name)) }

// graded is a design with its grade.
type graded struct {
	key designKey
	grade
}

func (g *graded) candidate() candidate {
	return candidate{ranked: g.ranked, space: g.key.space, groups: g.key.groups, inner: g.inner}
}

// compareGraded is the order of fitness: what passes by its ranked length, then what
// exceeds limits by how far, then what is far beyond them by the estimate, then what is too long,
// then what misses requirements by how far; equal ones by length and by their codes, so that the
// order is total. An estimate is from below, so that it could outrank a measured excess which is
// less in truth: these two are never compared.
func compareGraded(a, b *graded) int {
	if c := cmp.Or(cmp.Compare(a.tier, b.tier), cmp.Compare(a.amount, b.amount), cmp.Compare(a.ranked, b.ranked)); c != 0 {
		return c
	}
	return compareKeys(&a.key, &b.key)
}

func compareKeys(a, b *designKey) int {
	return cmp.Or(cmp.Compare(a.space.Layout, b.space.Layout), cmp.Compare(a.space.Seat, b.space.Seat), slices.Compare(a.groups[:], b.groups[:]))
}

// What is missed is told in mm, or in what stands for mm.
const (
	// partsMissMM is what a piece too many counts in mm.
	partsMissMM = 20.0
	// failsMM is what a requirement counts, in mm, of which nothing tells how far it is missed.
	failsMM = 1.0
)

// evaluator evaluates designs, one after the other.
type evaluator struct {
	p       *objective.Problem
	by      objective.RankBy
	checker *raycheck.Checker
	far     *farGrader // nil where all are for rays
	train   objective.Train
}

// evaluate grades a design of these groups.
func (e *evaluator) evaluate(space objective.Space, groups *designGroups, longest float64) grade {
	t := &e.train
	t.Layout, t.Seat, t.Groups = space.Layout, space.Seat, t.Groups[:0]
	for i := range len(space.Layout.GroupNames()) {
		t.Groups = append(t.Groups, groups[i].Group)
	}
	failed, miss := e.solve(groups, longest)
	if failed == beyond {
		return grade{tier: tooLong, ranked: t.Length}
	}
	if failed != objective.Met {
		name := failed.String()
		if failed == objective.Focal && space.Layout == objective.ErectorPair && miss < 2*focalMissMM {
			name = byGap
		}
		if failed == objective.GapRoom || failed == objective.Length {
			miss += e.p.GapMiss(t)
		}
		miss += float64(partsMissMM * e.p.PartsMiss(t))
		if miss == 0 {
			miss = failsMM
		}
		return grade{tier: misses, failed: gradeName(name), amount: miss}
	}
	g := grade{tier: exceeds, ranked: objective.RoundedLength(t.Ranked(e.by))}
	if space.Layout == objective.ErectorPair {
		g.inner = t.Gaps[1]
	}
	if g.ranked > longest {
		g.tier = tooLong
		return g
	}
	if e.far.grade(t, groups, &g) {
		return g
	}
	name, excess := e.checker.Grade(t)
	if g.amount = excess; name == "" {
		g.tier = passes
	} else {
		g.failed = gradeName(name)
	}
	return g
}

// focalMissMM is what a group without a positive focal length in a slot that
// needs one counts, in mm.
const focalMissMM = 10_000.0

// beyond stands for a train that is longer than what comes into the ranking
// whatever its inner gap; its Length is then a lower bound.
const beyond = objective.Met + 1

// solve solves the train in hand and tells how far its groups are from fitting.
func (e *evaluator) solve(groups *designGroups, longest float64) (objective.Requirement, float64) {
	t := &e.train
	front, rear := groups[0], groups[len(t.Groups)-1]
	miss := front.miss + rear.miss
	switch t.Layout {
	case objective.Keplerian:
		failed := e.p.Solve(t, 0)
		if failed != objective.Met && miss == 0 {
			miss = objective.EndMiss(&front.keplerian, &rear.rear[t.Seat]) + e.p.MagnificationMiss(front.FocalMM, rear.FocalMM)
		}
		return failed, miss
	case objective.ErectorSingle:
		miss += groups[1].miss
		failed := e.p.Solve(t, 0)
		if failed != objective.Met && miss == 0 {
			miss = e.p.SingleMiss(&front.front[t.Seat], &groups[1].relay, &rear.rear[t.Seat])
		}
		return failed, miss
	}
	if miss > 0 {
		return objective.Focal, miss
	}
	pair, ok := e.p.NewPairTrain(t.Seat, &front.front[t.Seat], groups[1].half, groups[2].half, &rear.rear[t.Seat])
	if !ok {
		return objective.Focal, focalMissMM
	}
	if least := pair.Least(); least > longest && !math.IsInf(least, 1) {
		t.Length = least
		return beyond, 0
	}
	failed := objective.Focal
	if miss = objective.EndMiss(&front.front[t.Seat], &rear.rear[t.Seat]); miss == 0 {
		failed = pair.Solve(t, e.by)
	}
	if failed != objective.Met {
		miss = pair.Miss()
	}
	return failed, miss
}

// evaluateUnit evaluates a batch as a unit. The record holds its grades, so
// that going through it again draws the same designs and traces none.
func (s *optimizer) evaluateUnit(ctx context.Context, all []graded) error {
	spent, err := s.log.unit(ctx, recordGrades, func(ctx context.Context) error {
		return s.carry(ctx, all)
	}, func(e *encoder) {
		e.Uvarint(len(all))
		for i := range all {
			e.grade(&all[i])
		}
	}, func(d *decoder) error {
		if d.Length() != len(all) {
			return journal.ErrUnfit
		}
		for i := range all {
			all[i].grade = d.grade(all[i].key.space)
		}
		return d.End()
	})
	s.proof.Seconds["search"] += spent.Seconds()
	return err
}

// grade writes the grade of a design.
func (e *encoder) grade(g *graded) {
	e.Byte(byte(g.tier))
	e.Byte(g.failed)
	if g.tier.hasAmount() {
		e.Float(g.amount)
	}
	if g.tier == misses {
		return
	}
	if g.tier == far {
		e.Flag(g.near)
	}
	e.Float(g.ranked)
	if g.key.space.Layout == objective.ErectorPair {
		e.Float(g.inner)
	}
}

func (d *decoder) grade(space objective.Space) (g grade) {
	g.tier, g.failed = tier(d.Byte()), d.Byte()
	if g.tier > misses || int(g.failed) >= len(gradeNames) {
		d.Fail()
	}
	if g.tier.hasAmount() {
		g.amount = d.Float()
	}
	if g.tier == misses {
		return g
	}
	if g.tier == far {
		g.near = d.Flag()
	}
	g.ranked = d.Float()
	if space.Layout == objective.ErectorPair {
		g.inner = d.Float()
	}
	return g
}
