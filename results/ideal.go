package results

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
)

// IdealLimit is how short a train could be at a sweep point if every focal length
// could be had, without thickness and up to an aperture ratio. Keys that are null
// are not known or do not exist; all are where no limit was found.
type IdealLimit struct {
	// LengthMM is the ranked length below which no such train exists; nil
	// (null) when there is none of any length.
	LengthMM *float64 `json:"ideal_length_mm"`
	// ReachedMM is the ranked length of the shortest such train found; nil (null) for none.
	ReachedMM *float64 `json:"ideal_reached_mm"`
	// ApertureRatio is the most that a group's clear diameter may be of its
	// focal length.
	ApertureRatio *float64 `json:"ideal_aperture_ratio"`
	// Settled tells that length and reached are within 0.1 %, or that there is
	// no such train. Otherwise the search ended before.
	Settled bool `json:"ideal_settled"`
	// StockMorePct is by how much the shortest design that passes is longer than
	// LengthMM, in per cent, negative for a shorter one.
	StockMorePct *float64    `json:"ideal_stock_more_pct"`
	Train        *IdealTrain `json:"ideal"` // of length ReachedMM
	// Without are, when there is no such train, the requirements each of which,
	// given up alone, would let one exist.
	Without []string `json:"ideal_possible_without,omitempty"`
}

// IdealTrain is a train of groups without thickness. Lengths are in mm,
// physical ones; what a layout does not have is nil (null), and so is the focal
// length of a relay group without power.
type IdealTrain struct {
	Layout      string   `json:"layout"`
	Seat        string   `json:"seat"`
	FFrontMM    float64  `json:"f_front_mm"`
	FRelayMM    *float64 `json:"f_relay_mm"`  // of a pair's first group
	FRelay2MM   *float64 `json:"f_relay2_mm"` // of its second
	FRearMM     float64  `json:"f_rear_mm"`
	Gap1MM      float64  `json:"gap1_mm"`
	GapInnerMM  *float64 `json:"gap_inner_mm"`
	Gap2MM      *float64 `json:"gap2_mm"`
	EyeReliefMM float64  `json:"eye_relief_mm"`
}

// check tells the first number that JSON cannot hold.
func (l *IdealLimit) check() error {
	numbers := map[string]*float64{
		"ideal_length_mm": l.LengthMM, "ideal_reached_mm": l.ReachedMM,
		"ideal_aperture_ratio": l.ApertureRatio, "ideal_stock_more_pct": l.StockMorePct,
	}
	if t := l.Train; t != nil {
		for name, x := range map[string]*float64{
			"f_front_mm": &t.FFrontMM, "f_relay_mm": t.FRelayMM, "f_relay2_mm": t.FRelay2MM, "f_rear_mm": &t.FRearMM,
			"gap1_mm": &t.Gap1MM, "gap_inner_mm": t.GapInnerMM, "gap2_mm": t.Gap2MM, "eye_relief_mm": &t.EyeReliefMM,
		} {
			numbers["ideal."+name] = x
		}
	}
	for _, name := range slices.Sorted(maps.Keys(numbers)) {
		if x := numbers[name]; x != nil && (math.IsNaN(*x) || math.IsInf(*x, 0)) {
			return fmt.Errorf("%s is %v", name, *x)
		}
	}
	return nil
}

// short is the limit in mm, for a table.
func (l *IdealLimit) short() string {
	switch {
	case l.ApertureRatio == nil:
		return Null
	case l.LengthMM == nil:
		return "none"
	case !l.Settled:
		return "above " + Fixed(*l.LengthMM, 1)
	}
	return Fixed(*l.LengthMM, 1)
}

// Line says in one line what the limit is; empty where none was found.
func (l *IdealLimit) Line() string {
	if l.ApertureRatio == nil {
		return ""
	}
	lenses := fmt.Sprintf("any thin lenses of aperture ratio %.2f", *l.ApertureRatio)
	switch {
	case l.LengthMM == nil && len(l.Without) > 0:
		return fmt.Sprintf("ideal limit: no train of %s can do this; one could without any one of: %s", lenses, strings.Join(l.Without, ", "))
	case l.LengthMM == nil:
		return fmt.Sprintf("ideal limit: no train of %s can do this", lenses)
	case l.ReachedMM == nil:
		return fmt.Sprintf("ideal limit: at least %.1f mm with %s (not settled: no such train is known)", *l.LengthMM, lenses)
	}
	limit := fmt.Sprintf("%.1f mm", *l.LengthMM)
	var notes []string
	if !l.Settled {
		limit = fmt.Sprintf("between %.1f and %.1f mm", *l.LengthMM, *l.ReachedMM)
		notes = append(notes, "not settled further")
	}
	if more := l.StockMorePct; more != nil {
		switch overReached := (100+*more)**l.LengthMM / *l.ReachedMM - 100; {
		case *more < 0:
			notes = append(notes, fmt.Sprintf("stock is %.1f %% shorter: thick lenses can be", -*more))
		case l.Settled:
			notes = append(notes, fmt.Sprintf("stock costs %.0f %% more", *more))
		case overReached < 0:
			notes = append(notes, fmt.Sprintf("stock costs up to %.0f %% more", *more))
		default:
			notes = append(notes, fmt.Sprintf("stock costs %.0f to %.0f %% more", overReached, *more))
		}
	}
	line := fmt.Sprintf("ideal limit: %s with %s", limit, lenses)
	if len(notes) > 0 {
		line += " (" + strings.Join(notes, ", ") + ")"
	}
	return line
}
