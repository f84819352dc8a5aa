package sweep

import (
	"context"
	"math"

	"relaysweep/sweep/journal"
)

// joinRefined joins the parts of a point that refine. Each part has walked its designs
// until nothing that remained could come into a ranking of its own, so that what leads
// among all of theirs leads in the point.
func (m *merge) joinRefined(ctx context.Context) (*Outcome, error) {
	var outcomes []*Outcome
	for _, kept := range m.parts.journals {
		o, err := m.recorded(kept)
		if err != nil {
			return nil, err
		}
		if o.Refined == nil {
			return nil, kept.Damaged(journal.ErrUnfit)
		}
		outcomes = append(outcomes, o)
	}
	out := &Outcome{Proof: joinProofs(outcomes), Refined: &Refined{}, ScreenedMM: math.Inf(1)}
	best := ranking{lib: m.lib, top: m.top, onePerParts: m.onePerParts}
	p := &out.Proof
	p.Exact = true
	var sample, thirdSample []candidate
	p.ProvenLength = math.Inf(1)
	for _, o := range outcomes {
		for _, f := range o.Found {
			best.add(f)
		}
		p.Exact = p.Exact && o.Proof.Exact
		p.Checked += o.Proof.Checked
		p.Passed += o.Proof.Passed
		for name, n := range o.turnedByRays {
			tally(p.Failed, name, n)
		}
		out.Refined.Candidates += o.Refined.Candidates
		out.Refined.Passed += o.Refined.Passed
		out.ScreenedMM = math.Min(out.ScreenedMM, o.ScreenedMM)
		p.ProvenLength = math.Min(p.ProvenLength, o.Proof.ProvenLength)
		sample, thirdSample = append(sample, o.sample...), append(thirdSample, o.thirdSample...)
	}
	out.Found = best.found
	out.ScreenedMM = math.Min(out.ScreenedMM, best.longest())
	p.ProvenLength = math.Min(p.ProvenLength, out.ScreenedMM)
	if len(best.found) > 0 {
		out.Best = &BestFound{best.found[0].Ranked, byWalk}
	}
	w := newRefineWalk(&exactSearch{
		options: m.options, lib: m.lib, p: m.lib.Problem, over: true,
		backlog: newBacklog(0, out.ScreenedMM), proof: Proof{Seconds: p.Seconds},
	})
	if err := w.audit(ctx, out, sample, thirdSample); err != nil {
		return nil, err
	}
	if len(out.Found) == 0 && p.Exact && p.Failed[yieldLimit] == nil { // as in searchPoint
		atGaps := unrefined(m.lib)
		p.WouldFit = nearestFits(m.point.Spec, atGaps, outcomes)
		var err error
		if p.WouldFit.Binds, err = binding(ctx, atGaps, m.options, p); err != nil {
			return nil, err
		}
	}
	return out, nil
}
