package sweep

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"math"
	"math/big"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/journal"
	"relaysweep/sweep/spec"
)

// Parts are the finished parts of a job, to be merged.
type Parts struct {
	output   string
	journals []*Journal // by index
	merging  *Journal   // what a merge has done so far; nil before
	locks    []*journal.Lock
}

// ErrNoParts tells that an output folder holds no parts of a job.
var ErrNoParts = errors.New("holds no parts of a job: relaysweep run --part I/N SPEC makes them")

// UnfinishedPartsError tells which parts of a job are still to be done.
type UnfinishedPartsError struct {
	Folder  string   // of the parts
	Missing []string // with how far each is
	Running bool     // a process is at one of them
	Spec    string   // file of the spec from which the others were made, if any
}

func (e *UnfinishedPartsError) Error() string {
	return fmt.Sprintf("%s: these parts are still to be done: %s\n    relaysweep run --part I/N SPEC does, or goes on with, part I",
		e.Folder, strings.Join(e.Missing, ", "))
}

// OpenParts opens the journals of all parts below an output folder, and keeps
// others out of these. Where some are missing, unfinished or being done, the error is
// an [UnfinishedPartsError].
func OpenParts(output string) (*Parts, error) {
	parts, err := partsIn(output)
	if err != nil {
		return nil, err
	}
	if len(parts) == 0 {
		return nil, fmt.Errorf("%s: %w", output, ErrNoParts)
	}
	if err := parts[len(parts)-1].OtherParts(output); err != nil {
		return nil, err
	}
	ps := &Parts{output: output}
	missing := &UnfinishedPartsError{Folder: PartsFolder(output)}
	begun := parts[0].Count
	for i := range parts[0].Count {
		part := Part{i, parts[0].Count}
		lock, err := journal.LockFolder(part.Folder(output))
		var locked *journal.LockedError
		switch {
		case errors.As(err, &locked):
			missing.Missing = append(missing.Missing, part.String()+" (being done)")
			missing.Running = true
			continue
		case errors.Is(err, fs.ErrNotExist):
			missing.Missing = append(missing.Missing, part.String()+" (not begun)")
			begun--
			continue
		case err != nil:
			return nil, errors.Join(err, ps.Close())
		}
		ps.locks = append(ps.locks, lock)
		j, err := lookInto(filepath.Join(part.Folder(output), JournalFile))
		switch {
		case errors.Is(err, fs.ErrNotExist):
			missing.Missing = append(missing.Missing, part.String()+" (not begun)")
			begun--
			continue
		case err != nil:
			return nil, errors.Join(err, ps.Close())
		}
		ps.journals = append(ps.journals, j)
		if !j.ended() {
			missing.Missing = append(missing.Missing, part.String()+" (unfinished)")
		}
	}
	if begun == 0 {
		// What is left in their folders is not theirs.
		return nil, errors.Join(fmt.Errorf("%s: %w", output, ErrNoParts), ps.Close())
	}
	if len(missing.Missing) > 0 {
		if len(ps.journals) > 0 {
			missing.Spec = ps.SpecFile()
		}
		return nil, errors.Join(missing, ps.Close())
	}
	return ps, nil
}

// SpecFile is the spec from which the parts were made.
func (ps *Parts) SpecFile() string { return ps.journals[0].header.specFile(ps.output) }

// Folders are the parts' folders.
func (ps *Parts) Folders() []string {
	var folders []string
	for i := range ps.journals {
		folders = append(folders, Part{i, len(ps.journals)}.Folder(ps.output))
	}
	return folders
}

// Started is when the first of the parts began.
func (ps *Parts) Started() time.Time {
	started := ps.journals[0].Started()
	for _, j := range ps.journals {
		if j.Started().Before(started) {
			started = j.Started()
		}
	}
	return started
}

// MergeFile is the name of the journal of a merge, in the folder of the first part.
const MergeFile = "merge.journal"

// openMerge opens the journal of a merge of these very parts, or begins one. What
// another has left is dropped: it holds only what can be done again.
func (ps *Parts) openMerge(j *Job, origin Origin) error {
	first := Part{0, len(ps.journals)}
	path := filepath.Join(first.Folder(ps.output), MergeFile)
	now := j.header(ps.output, Part{}, origin)
	now.Part = "merge of"
	for _, journal := range ps.journals {
		now.Part += fmt.Sprintf(" %08x", journal.Sum())
	}
	var damaged *journal.DamagedError
	journal, err := readJournal(path)
	switch {
	case err == nil && len(journal.header.changes(&now)) == 0:
		ps.merging = journal
		return nil
	case err == nil:
		if err := journal.Close(); err != nil {
			return err
		}
	case !errors.Is(err, fs.ErrNotExist) && !errors.As(err, &damaged):
		return err
	}
	ps.merging, err = createJournal(path, now)
	return err
}

// Close closes the journals and lets others into the parts' folders.
func (ps *Parts) Close() error {
	var errs []error
	if ps.merging != nil {
		errs = append(errs, ps.merging.Close())
	}
	for _, j := range ps.journals {
		errs = append(errs, j.Close())
	}
	for _, l := range ps.locks {
		errs = append(errs, l.Release())
	}
	return errors.Join(errs...)
}

// ClearParts removes the parts of a job whose results are in place, and which were
// moved from the folder of parts to another one: by that one rename all of them are
// gone, so that none is missed whenever this ends. What is not of a part goes back.
func ClearParts(away, home string) error {
	entries, err := os.ReadDir(away)
	if err != nil {
		return err
	}
	for _, e := range entries {
		if _, ok := partOf(partName.FindStringSubmatch(e.Name())); !ok || !e.IsDir() {
			continue
		}
		folder := filepath.Join(away, e.Name())
		for _, name := range []string{JournalFile, JournalFile + journal.NewSuffix, MergeFile, MergeFile + journal.NewSuffix, journal.LockFile, LogFile} {
			info, err := os.Lstat(filepath.Join(folder, name))
			if err != nil || !info.Mode().IsRegular() {
				continue
			}
			if err := os.Remove(filepath.Join(folder, name)); err != nil {
				return err
			}
		}
		// Fails on a folder that holds something else, which is to stay.
		_ = os.Remove(folder)
	}
	if err := os.Remove(away); err == nil {
		return nil
	}
	if err := os.Rename(away, home); err != nil {
		return fmt.Errorf("%s: holds files that are no part's; they stay there, as %s can't take them back: %w", away, home, journal.CauseOf(err))
	}
	return nil
}

// IsJournal reports whether the file at path is the journal of a job, as far as it is
// whole.
func IsJournal(path string) bool {
	j, err := lookInto(path)
	return err == nil && j.Close() == nil
}

// RemoveJournal removes the journal that a run which was killed at its very end has
// left beside its results. What is no journal stays.
func RemoveJournal(folder string) error {
	path := filepath.Join(folder, JournalFile)
	if !IsJournal(path) {
		return nil
	}
	return os.Remove(path)
}

// Merge joins finished parts of the job to what a run of the whole would have
// brought. Of a point that was divided it refines what leads, of which progress, which
// may be nil, tells. What takes long is kept in a journal of its own, so that the
// same merge goes on where it stopped.
func (j *Job) Merge(ctx context.Context, ps *Parts, origin Origin, progress Progress) ([]PointOutcome, error) {
	for i, journal := range ps.journals {
		part := Part{i, len(ps.journals)}
		now := j.header(ps.output, part, origin)
		if changes := journal.header.changes(&now); len(changes) > 0 {
			return nil, &ChangedError{part.Folder(ps.output), changes}
		}
	}
	if err := ps.openMerge(j, origin); err != nil {
		return nil, err
	}
	work, done := outlive(ctx)
	defer done()
	var outcomes []PointOutcome
	for i, point := range j.Points {
		p := point.Spec.Problem()
		lib := j.library(point.Spec, p)
		m := &merge{job: j, parts: ps, point: point, lib: lib, options: j.options(point.Spec)}
		m.log = &unitLog{
			journal: ps.merging, point: point.Index, stop: ctx, work: work,
			replay: ps.merging.Units(point.Index), events: slog.New(slog.DiscardHandler),
		}
		m.progress = func(s Status) {
			if progress != nil {
				s.Point, s.Points = i, len(j.Points)
				progress(s)
			}
		}
		m.progress(Status{Stage: StageMerge})
		var out *Outcome
		var err error
		if first := (Part{0, len(ps.journals)}); first.byPoints(len(j.Points)) {
			out, err = m.take(ctx, ps.journals[point.Index%len(ps.journals)])
		} else if m.refine.wanted() {
			out, err = m.joinRefined(ctx)
		} else {
			out, err = m.join(ctx)
		}
		if err != nil {
			return nil, err
		}
		outcomes = append(outcomes, PointOutcome{Point: point, Problem: p, Lenses: len(lib.Lenses), Outcome: *out})
	}
	return outcomes, errors.Join(j.addIdeals(ctx, ps.merging, outcomes, progress), ps.merging.Sync())
}

// merge is the merge of one sweep point.
type merge struct {
	job   *Job
	parts *Parts
	point spec.Point
	lib   *objective.Library
	options
}

// recorded is the point's record in a part's journal, without reports.
func (m *merge) recorded(kept *Journal) (*Outcome, error) {
	body, done := kept.Kept(recordPoint, m.point.Index)
	if !done {
		return nil, kept.Damaged(fmt.Errorf("has no point %d: it %w", m.point.Index, journal.ErrUnfit))
	}
	d := decode(body)
	out := d.outcome(m.lib)
	if err := d.End(); err != nil {
		return nil, kept.Damaged(err)
	}
	return out, nil
}

// take is a point that one part has done whole.
func (m *merge) take(ctx context.Context, journal *Journal) (*Outcome, error) {
	out, err := m.recorded(journal)
	if err != nil {
		return nil, err
	}
	return out, report(ctx, m.lib, m.options, out.Found)
}

// join joins the parts of a point. Each part has walked its designs in
// ascending order until it had found enough by itself, so that a walk over all
// of theirs in order meets what the walk over the whole point would have met:
// it ends at the latest where the first of the parts has ended.
func (m *merge) join(ctx context.Context) (*Outcome, error) {
	var outcomes []*Outcome
	var lists []*checkedList
	for _, journal := range m.parts.journals {
		o, err := m.recorded(journal)
		if err != nil {
			return nil, err
		}
		consumed := o.Proof.Checked
		if skipped := o.Proof.SetAside[byParts]; skipped != nil {
			consumed += skipped.Int64()
		}
		list := &checkedList{journal: journal, units: journal.Units(m.point.Index), lib: m.lib, left: consumed}
		if err := list.advance(); err != nil {
			return nil, err
		}
		outcomes, lists = append(outcomes, o), append(lists, list)
	}
	out := &Outcome{Proof: joinProofs(outcomes), next: math.Inf(1)}
	ended, err := m.walk(out, lists)
	if err != nil {
		return nil, err
	}
	for i, list := range lists {
		out.next = math.Min(out.next, outcomes[i].next)
		if list.holds {
			out.next = math.Min(out.next, list.design.ranked)
			tally(out.Proof.SetAside, byRest, big.NewInt(list.left+1))
		}
	}
	p := &out.Proof
	p.Exact = !ended || math.IsInf(out.next, 1)
	switch {
	case !p.Exact:
		p.ProvenLength = out.next
	case len(out.Found) == m.top:
		p.ProvenLength = out.Found[m.top-1].Ranked
	default:
		p.ProvenLength = math.Inf(1)
	}
	if err := report(ctx, m.lib, m.options, out.Found); err != nil {
		return nil, err
	}
	if len(out.Found) == 0 && p.Exact && p.Failed[yieldLimit] == nil { // as in searchPoint
		p.WouldFit = nearestFits(m.point.Spec, m.lib, outcomes)
		if p.WouldFit.Binds, err = binding(ctx, m.lib, m.options, p); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// first is the list that holds the first design of all; one that holds none when none
// does.
func (m *merge) first(lists []*checkedList) *checkedList {
	return slices.MinFunc(lists, func(a, b *checkedList) int {
		switch {
		case a.holds && b.holds:
			return compareCandidates(&a.design, &b.design, m.lib)
		case a.holds:
			return -1
		case b.holds:
			return 1
		}
		return 0
	})
}

// walk goes through the checked designs of all parts in order, as
// [exactSearch.run] goes through those of a point. ended tells that it stopped as
// no more may be checked.
func (m *merge) walk(out *Outcome, lists []*checkedList) (ended bool, err error) {
	passed := map[string]bool{}
	p := &out.Proof
	for len(out.Found) < m.top {
		if m.checksMax > 0 && p.Checked == m.checksMax {
			return true, nil
		}
		list := m.first(lists)
		if !list.holds {
			return false, nil
		}
		c, failed := list.design, list.failed
		if err := list.advance(); err != nil {
			return false, err
		}
		key := ""
		if m.onePerParts {
			if key = c.partsKey(m.lib); passed[key] {
				tally(p.SetAside, byParts, one)
				continue
			}
		}
		p.Checked++
		if failed != "" {
			tally(p.Failed, failed, one)
			continue
		}
		p.Passed++
		passed[key] = true
		out.Found = append(out.Found, Found{ID: c.id(m.lib), Ranked: c.ranked, design: c})
	}
	return false, nil
}

// checkedList is the list of the designs that a part has checked, in order.
type checkedList struct {
	journal  *Journal
	units    *journal.Units
	lib      *objective.Library
	designs  []candidate // the rest of the record in hand
	verdicts []string    // of these
	left     int64       // behind the design in hand
	holds    bool        // a design is in hand
	design   candidate
	failed   string // "" when it passed
}

// advance takes the next design in hand.
func (l *checkedList) advance() error {
	l.holds = false
	if l.left == 0 {
		return nil
	}
	for len(l.designs) == 0 {
		unit, err := l.units.Next()
		if err != nil {
			return err
		}
		if unit == nil {
			return l.journal.Damaged(journal.ErrUnfit)
		}
		if unit.Kind != recordChecks {
			continue
		}
		d := decode(unit.Body)
		d.Time()
		d.taking(0) // how far the walk came: what was taken tells it
		l.designs, l.verdicts = d.checked(l.lib)
		if err := d.End(); err != nil {
			return l.journal.Damaged(err)
		}
	}
	l.design, l.failed = l.designs[0], l.verdicts[0]
	l.designs, l.verdicts = l.designs[1:], l.verdicts[1:]
	l.left--
	l.holds = true
	return nil
}

// joinProofs adds up what the parts of a point have counted, but for what they
// have checked by rays, which a walk over all of them counts anew. Each part
// counts the whole space, and the designs of other parts as ones whose front
// can't serve.
func joinProofs(outcomes []*Outcome) Proof {
	first := &outcomes[0].Proof
	joined := Proof{
		Space: first.Space, SetAside: map[string]*big.Int{}, Failed: map[string]*big.Int{}, Seconds: map[string]float64{},
	}
	group, serving := new(big.Int), new(big.Int)
	for i, o := range outcomes {
		p := &o.Proof
		joined.Examined += p.Examined
		for name, n := range p.SetAside {
			if name != byGroup && name != byParts {
				tally(joined.SetAside, name, n)
			}
		}
		for name, n := range p.Failed {
			tally(joined.Failed, name, n)
		}
		for name, n := range o.turnedByRays {
			tally(joined.Failed, name, new(big.Int).Neg(n))
		}
		for name, s := range p.Seconds {
			joined.Seconds[name] += s
		}
		// What has no group of negative focal length is the same for all.
		if i == 0 {
			group.Set(o.serving)
			if n := p.SetAside[byGroup]; n != nil {
				group.Add(group, n)
			}
		} else {
			focal := joinedFocal(o)
			tally(joined.Failed, objective.Focal.String(), focal.Neg(focal))
		}
		serving.Add(serving, o.serving)
	}
	tally(joined.SetAside, byGroup, group.Sub(group, serving))
	return joined
}

// joinedFocal is how many designs of the space have a group that does not
// converge.
func joinedFocal(o *Outcome) *big.Int {
	n := new(big.Int).Sub(o.Proof.Space, o.serving)
	if group := o.Proof.SetAside[byGroup]; group != nil {
		n.Sub(n, group)
	}
	return n
}

// nearestFits joins what would fit in each of the parts: of each requirement
// and limit the value nearest to the spec's.
func nearestFits(s *spec.Spec, lib *objective.Library, outcomes []*Outcome) *Fits {
	p := lib.Problem
	asked := map[string]float64{raycheck.TransmissionMin: p.Limits.TransmissionMin}
	for _, m := range raycheck.MetricList {
		asked[m.Name] = p.Limits.Limit(m.Name)
	}
	for _, l := range relaxations(s, lib) {
		asked[l.Name] = l.Start
	}
	joined := &Fits{Value: map[string]*float64{}, Length: map[string]float64{}}
	for _, o := range outcomes {
		if o.Proof.WouldFit == nil {
			continue
		}
		for name, value := range o.Proof.WouldFit.Value {
			best := joined.Value[name]
			if best == nil || value != nil && math.Abs(*value-asked[name]) < math.Abs(*best-asked[name]) {
				joined.Value[name] = value
				if value != nil {
					joined.Length[name] = o.Proof.WouldFit.Length[name]
				}
			}
		}
		for _, name := range o.Proof.WouldFit.Open {
			joined.leaveOpen(name)
		}
	}
	return joined
}
