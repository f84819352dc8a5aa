package yield

import (
	"context"

	"relaysweep/objective/bench"
	"relaysweep/sweep/journal"
)

// Result is all that a study finds of a design.
type Result struct {
	Nominal Made
	// Builds are the builds, and Uncompensated the same ones before anything is adjusted.
	Builds, Uncompensated []Made
	Contributions         []Contribution
	Sensitivities         []Sensitivity
}

// Log keeps what a study has done in a journal, from which it goes on where it stopped.
// The units of a study are records of one point of the journal.
type Log struct {
	journal *journal.Journal
	units   *journal.Units
	of      int
}

// NewLog is the log of a study as a point of a journal, which may hold units of an
// earlier attempt.
func NewLog(j *journal.Journal, of int) *Log { return &Log{j, j.Units(of), of} }

// The kinds of records.
const (
	recordBuilds        = 'B'
	recordUncompensated = 'U'
	recordContributions = 'C'
	recordSensitivities = 'S'
)

const (
	// unitBuilds is how many builds make a unit, after which a study can be continued.
	unitBuilds = 250
	// contributionBuilds is the size of each sample by which variances are split.
	contributionBuilds = 256
)

// unit is the numbers that do brings, or those that the log has of it.
func (l *Log) unit(kind byte, n int, do func() ([]float64, error)) ([]float64, error) {
	if l == nil {
		return do()
	}
	r, err := l.units.Next()
	if err != nil {
		return nil, err
	}
	if r != nil {
		d := journal.NewDecoder(r.Body)
		numbers := make([]float64, n)
		if r.Kind != kind || d.Left() != 8*n {
			return nil, l.journal.Damaged(journal.ErrUnfit)
		}
		for i := range numbers {
			numbers[i] = d.Float()
		}
		return numbers, nil
	}
	numbers, err := do()
	if err != nil {
		return nil, err
	}
	var e journal.Encoder
	for _, x := range numbers {
		e.Float(x)
	}
	return numbers, l.journal.Append(journal.Record{Kind: kind, Point: l.of, Body: e.Bytes()})
}

// Steps is how many builds Whole makes.
func (s *Study) Steps(builds int) int {
	s.prepare()
	return 2*builds + (2+len(s.kindsUsed()))*contributionBuilds
}

// Whole makes builds with and without the compensators, splits variances and finds
// sensitivities. done, which may be nil, is told how many builds were made with each
// unit. log may be nil.
func (s *Study) Whole(ctx context.Context, builds int, log *Log, done func(builds int)) (*Result, error) {
	if done == nil {
		done = func(int) {}
	}
	bare := *s
	bare.Compensators, bare.benches = bench.Compensators{}, nil
	r := &Result{Nominal: s.Nominal()}
	for _, part := range []struct {
		kind  byte
		study *Study
		made  *[]Made
	}{{recordBuilds, s, &r.Builds}, {recordUncompensated, &bare, &r.Uncompensated}} {
		for from := 0; from < builds; from += unitBuilds {
			to := min(from+unitBuilds, builds)
			numbers, err := log.unit(part.kind, (to-from)*len(bench.Measures), func() ([]float64, error) {
				made, err := part.study.Builds(ctx, from, to)
				return flatten(made), err
			})
			if err != nil {
				return nil, err
			}
			*part.made = append(*part.made, part.study.unflatten(numbers)...)
			done(to - from)
		}
	}
	const each = 4
	kinds := s.kindsUsed()
	numbers, err := log.unit(recordContributions, each*len(kinds)*len(bench.Measures), func() ([]float64, error) {
		all, err := s.Contributions(ctx, contributionBuilds)
		var numbers []float64
		for _, c := range all {
			numbers = append(numbers, c.First, c.FirstError, c.Total, c.TotalError)
		}
		return numbers, err
	})
	if err != nil {
		return nil, err
	}
	for i := range len(numbers) / each {
		n := numbers[each*i:]
		r.Contributions = append(r.Contributions, Contribution{
			Kind: kinds[i%len(kinds)], Figure: i / len(kinds), First: n[0], FirstError: n[1], Total: n[2], TotalError: n[3],
		})
	}
	done((2 + len(kinds)) * contributionBuilds)
	r.Sensitivities = s.sensitiveTo()
	if numbers, err = log.unit(recordSensitivities, len(r.Sensitivities)*len(bench.Measures), func() ([]float64, error) {
		all, err := s.Sensitivities(ctx)
		var numbers []float64
		for _, one := range all {
			numbers = append(numbers, one.Change[:]...)
		}
		return numbers, err
	}); err != nil {
		return nil, err
	}
	for i := range r.Sensitivities {
		copy(r.Sensitivities[i].Change[:], numbers[i*len(bench.Measures):])
	}
	return r, nil
}

// flatten and unflatten turn builds to numbers and back.
func flatten(made []Made) []float64 {
	var numbers []float64
	for i := range made {
		numbers = append(numbers, made[i].Outcome[:]...)
	}
	return numbers
}

func (s *Study) unflatten(numbers []float64) []Made {
	s.prepare()
	made := make([]Made, len(numbers)/len(bench.Measures))
	for i := range made {
		copy(made[i].Outcome[:], numbers[i*len(bench.Measures):])
		made[i].FailedBy = s.benches[0].bench.FailedBy(&made[i].Outcome)
	}
	return made
}
