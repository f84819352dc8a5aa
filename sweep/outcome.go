package sweep

import (
	"math/big"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
)

// Found is a design that passed, with what the ray check measured.
type Found struct {
	Train  *objective.Train
	ID     string
	Ranked float64 // mm, rounded to 1e-6
	Report *raycheck.Report
	// StartLengthMM is a refined design's length at its paraxial gaps, in mm,
	// and Active names what keeps it from being shorter, see
	// [raycheck.Refiner.Settle].
	StartLengthMM float64
	Active        []string
	// Screened tells that every other design which the screen lets through and which
	// refinement makes shorter is known.
	Screened bool
	design   candidate
	moved    []float64 // mm, by gap, the eye relief last; nil when not refined
}

// Outcome is what the search of one sweep point brought, and its proof.
type Outcome struct {
	Found []Found // in ascending ranked length, then by design_id
	Proof Proof
	// Refined counts what was refined, ScreenedMM is a ranked length below which no other
	// design passes when it is refined that the screen lets through, and Audit tells how
	// much it turns away that would; nil and of no meaning where nothing was to be refined.
	Refined    *Refined
	ScreenedMM float64
	Audit      *Audit
	// Best is the shortest design found; nil for none, and where nothing was to be refined.
	Best *BestFound
	// Optimized tells of a population search; nil for the exact one.
	Optimized *Optimized
	// What joining the parts of a point needs besides, see mergePoint.
	turnedByRays map[string]*big.Int // of Proof.Failed, those that the ray check turned away
	serving      *big.Int            // designs all of whose groups can serve in their place
	next         float64             // ranked length of the next design to check, or its lower bound
	sample       []candidate         // to draw an audit from
}

// Refined counts the candidates that were re-optimised by exact rays.
type Refined struct {
	Candidates int
	Passed     int // afterwards
}

// BestFound is the shortest design found.
type BestFound struct {
	ShortestMM float64 // its ranked length
	By         string  // "walk" or "population", what found it first
}

// Proof accounts for every design of a space. Each is set aside by a bound,
// failed a requirement or a limit, or passed:
//
//	Space = sum of SetAside + sum of Failed + Passed.
type Proof struct {
	Space    *big.Int
	SetAside map[string]*big.Int // by kind of bound
	Examined int64               // judged one by one
	Checked  int64               // of those, traced
	Passed   int64
	Failed   map[string]*big.Int // by requirement or limit
	// ProvenLength is the ranked length in mm below which no design exists but
	// the ones found, +Inf when the whole space was searched.
	ProvenLength float64
	Exact        bool  // the ranking is complete to its end
	WouldFit     *Fits // when nothing passes
	Seconds      map[string]float64
}

// Kinds of bounds that set designs aside.
const (
	// byGroup: a group can't serve in its place, whatever the other groups.
	byGroup = "group"
	// byBound: longer than what was asked for, or front and rear leave the
	// relay no focal length that the apertures allow, or a train with a pair relay
	// takes more of a part, or more lenses, than there may be: whether it would be
	// as short is not asked then.
	byBound = "bound"
	// byGap: no inner gap of a pair relay leaves an eye relief, by halving the
	// range of gaps until every part of it is proven empty.
	byGap = "inner_gap"
	// byParts: the parts of a design that passed, arranged otherwise.
	byParts = "one_per_parts"
	// byRest: met every requirement, but not reached by the ray check as the
	// ranking was full before.
	byRest = "rest"
	// byUnseen: not looked at yet when the run was interrupted.
	byUnseen = "unseen"
)
