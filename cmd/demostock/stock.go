package main

import (
	"fmt"
	"math"

	"relaysweep/catalog"
)

// The kinds of lenses.
const (
	planoConvex  = "plano-convex"
	biConvex     = "bi-convex"
	meniscus     = "meniscus"
	achromat     = "achromat"
	asphere      = "asphere"
	fresnel      = "fresnel"
	planoConcave = "plano-concave"
	biConcave    = "bi-concave"
)

// letters stand for the kinds in part numbers.
var letters = map[string]string{
	planoConvex: "P", biConvex: "B", meniscus: "M", achromat: "A",
	asphere: "C", fresnel: "T", planoConcave: "V", biConcave: "W",
}

// The invented vendors.
var (
	drumlin   = vendor{"Drumlin Glass Depot", "DGD"}
	ninepenny = vendor{"Ninepenny Lens Works", "NLW"}
	tarn      = vendor{"Tarn & Thistle", "TAT"}
)

type vendor struct{ name, code string }

// line is one product line: a kind of lens in a range of diameters and focal
// lengths.
type line struct {
	vendor vendor
	kind   string
	// glasses are for a singlet its glass; for achromats pairs of crown and
	// flint, of which each part takes the one with the least spot.
	glasses   [][]string
	diameters []float64 // mm
	// A diameter is offered in focal lengths (magnitudes) of the ranges
	// ratioMin to ratioMax, times the diameter, and focalMinMM to focalMaxMM.
	ratioMin, ratioMax     float64
	focalMinMM, focalMaxMM float64
	focals                 []float64
	coated                 bool
	price                  float64 // of the diameter 25 mm
}

// Diameters and focal lengths in mm follow the rounded preferred numbers of
// ISO 3:1973, series R'10 and R'20.
var (
	tenPerDecade    = []float64{12.5, 16, 20, 25, 32, 40, 50, 63, 80, 100, 125, 160, 200}
	twentyPerDecade = []float64{
		12.5, 14, 16, 18, 20, 22, 25, 28, 32, 36, 40, 45, 50, 56, 63, 71, 80, 90,
		100, 110, 125, 140, 160, 180, 200,
	}
	allDiameters = tenPerDecade[:7]
)

func one(glass string) [][]string { return [][]string{{glass}} }

// lines are everything that the three vendors offer. The fastest lens of each
// is as fast as its shape can be ground with a sensible edge.
var lines = []line{
	{vendor: drumlin, kind: planoConvex, glasses: one("N-BK7"), diameters: allDiameters,
		ratioMin: 1.2, ratioMax: 6, focalMinMM: 16, focalMaxMM: 200, focals: tenPerDecade, coated: true, price: 19},
	{vendor: drumlin, kind: biConvex, glasses: one("N-BK7"), diameters: allDiameters,
		ratioMin: 1.1, ratioMax: 5, focalMinMM: 16, focalMaxMM: 200, focals: tenPerDecade, coated: true, price: 20},
	{vendor: drumlin, kind: achromat, glasses: [][]string{{"N-BK7", "N-SF2"}, {"N-SK11", "N-SF5"}, {"N-BAK4", "N-SF10"}},
		diameters: allDiameters,
		ratioMin:  1.7, ratioMax: 5, focalMinMM: 20, focalMaxMM: 200, focals: twentyPerDecade, coated: true, price: 48},
	{vendor: drumlin, kind: planoConcave, glasses: one("N-BK7"), diameters: allDiameters[:5],
		ratioMin: 1.2, ratioMax: 4, focalMinMM: 16, focalMaxMM: 100, focals: tenPerDecade, coated: true, price: 21},
	{vendor: ninepenny, kind: planoConvex, glasses: one("B270"), diameters: allDiameters[1:],
		ratioMin: 1.3, ratioMax: 4, focalMinMM: 20, focalMaxMM: 180, focals: twentyPerDecade, price: 9},
	{vendor: ninepenny, kind: biConcave, glasses: one("B270"), diameters: allDiameters[1:5],
		ratioMin: 1, ratioMax: 3, focalMinMM: 16, focalMaxMM: 80, focals: tenPerDecade, price: 11},
	{vendor: ninepenny, kind: asphere, glasses: one("B270"), diameters: allDiameters,
		ratioMin: 0.8, ratioMax: 1.15, focalMinMM: 12, focalMaxMM: 56, focals: twentyPerDecade, price: 16},
	{vendor: ninepenny, kind: fresnel, glasses: one("PMMA-BEADIE"), diameters: allDiameters[4:],
		ratioMin: 0.95, ratioMax: 1.6, focalMinMM: 32, focalMaxMM: 80, focals: tenPerDecade, price: 7},
	{vendor: tarn, kind: meniscus, glasses: one("N-SK16"), diameters: allDiameters[1:],
		ratioMin: 1.9, ratioMax: 5, focalMinMM: 32, focalMaxMM: 200, focals: tenPerDecade, coated: true, price: 27},
	{vendor: tarn, kind: achromat, glasses: [][]string{{"N-SSK8", "N-SF11"}, {"N-BAF10", "N-SF11"}, {"N-LAK22", "N-SF6"}, {"N-LAK21", "N-SF6"}},
		diameters: allDiameters[2:],
		ratioMin:  1.25, ratioMax: 2.6, focalMinMM: 25, focalMaxMM: 110, focals: twentyPerDecade, coated: true, price: 71},
}

// stock designs every part of every line, in order.
func stock() ([]*catalog.Lens, error) {
	var parts []*catalog.Lens
	for _, l := range lines {
		for _, diameter := range l.diameters {
			for _, focal := range l.focals {
				if focal < l.ratioMin*diameter || focal > l.ratioMax*diameter || focal < l.focalMinMM || focal > l.focalMaxMM {
					continue
				}
				part, err := l.part(diameter, focal)
				if err != nil {
					return nil, err
				}
				parts = append(parts, part)
			}
		}
	}
	return parts, nil
}

// part designs the lens of a diameter and focal length (magnitude) in mm.
func (l *line) part(diameter, focal float64) (*catalog.Lens, error) {
	number := fmt.Sprintf("%s-%s%gx%g", l.vendor.code, letters[l.kind], focal, diameter)
	var best *catalog.Lens
	least := math.Inf(1)
	for _, names := range l.glasses {
		glasses := make([]*catalog.Glass, len(names))
		for i, name := range names {
			glasses[i] = catalog.BuiltinGlasses().Find(name)
		}
		lens := design(l.kind, glasses, diameter, focal)
		if lens == nil {
			continue
		}
		if spot := spotRMS(lens, clearFraction*diameter/2); best == nil || spot < least {
			best, least = lens, spot
		}
	}
	if best == nil {
		return nil, fmt.Errorf("part %s cannot be made: no shape has this focal length at this diameter", number)
	}
	best.Part, best.Vendor, best.Kind = number, l.vendor.name, l.kind
	best.ClearMM, best.LossPct, best.Density = catalog.Unset, catalog.Unset, catalog.Unset
	if l.coated {
		best.LossPct = coatedLossPct
	}
	// A moulded lens has a rim that is not polished.
	if l.kind == asphere {
		best.ClearMM = roundTo(mouldedFraction*diameter, 0.1)
	}
	best.Price = math.Round(l.price * (1 + diameter*diameter/(25*25)) / 2)
	best.Stock = shelf(diameter)
	efl, bfl, _ := best.Cardinal(catalog.LineE)
	best.EFLMM, best.BFLMM = roundTo(efl, 0.01), roundTo(bfl, 0.01)
	return best, nil
}

const (
	// clearFraction of the diameter is clear where a table does not say
	// (common practice).
	clearFraction   = 0.9
	mouldedFraction = 0.86
	// coatedLossPct is what a surface with a broadband coating loses (common
	// practice).
	coatedLossPct = 0.5
)

// shelf is how many of a part there are: the large ones are few.
func shelf(diameter float64) int {
	switch {
	case diameter >= 50:
		return 2
	case diameter >= 40:
		return 4
	}
	return catalog.Unlimited
}

// design makes a lens of the kind, nil when there is none.
func design(kind string, glasses []*catalog.Glass, diameter, focal float64) *catalog.Lens {
	switch kind {
	case achromat:
		return designAchromat(glasses[0], glasses[1], diameter, focal)
	case asphere:
		return designAsphere(glasses[0], diameter, focal)
	case fresnel:
		return designFresnel(glasses[0], diameter, focal)
	case planoConcave, biConcave:
		focal = -focal
	}
	return designSinglet(glasses[0], shapes[kind], diameter, focal)
}

// roundTo rounds to the nearest multiple of step, which is a power of ten.
func roundTo(x, step float64) float64 {
	perStep := math.Round(1 / step)
	return math.Round(x*perStep) / perStep
}

// roundUp rounds up to the next tenth of a millimetre, but for what rounding
// errors add.
func roundUp(x float64) float64 { return math.Ceil(x*10-1e-6) / 10 }
