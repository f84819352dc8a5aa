package catalog

import (
	"fmt"
	"math"
	"slices"
)

const (
	// focalMismatchRatio is how far published and computed focal lengths may
	// be apart before a warning. Tolerances of stock lenses are 1 to 2 %
	// (common practice).
	focalMismatchRatio = 0.02
	// focalFaultRatio is from where on it is a fault of the table: no tolerance
	// and no choice of wavelength makes so much.
	focalFaultRatio = 0.10

	mmPerInch = 25.4 // exactly (ISO 80000-3)
)

// focalLengths are a lens's at the d and the e line. Makers publish for one of
// the two, so that one has to agree.
type focalLengths struct {
	efl, bfl, ffl [2]float64
	afocal        bool
}

func focalLengthsOf(l *Lens) focalLengths {
	var f focalLengths
	for i, line := range []float64{LineD, LineE} {
		f.efl[i], f.bfl[i], f.ffl[i] = l.Cardinal(line)
		f.afocal = f.afocal || l.isAfocal(line)
	}
	return f
}

// agrees reports whether a published length is one of the two computed ones but
// for a share of itself.
func (f *focalLengths) agrees(published float64, computed [2]float64, share float64) bool {
	if math.IsInf(published, 0) {
		return f.afocal
	}
	size := math.Abs(published)
	if published == 0 { // a back focal length that rounds to nothing
		size = math.Abs(f.efl[0])
	}
	return slices.ContainsFunc(computed[:], func(x float64) bool { return math.Abs(x-published) <= share*size })
}

// fits reports whether both published lengths, times a factor, are those computed.
func (f *focalLengths) fits(efl, bfl, factor float64) bool {
	return (!IsSet(efl) || f.agrees(efl*factor, f.efl, focalMismatchRatio)) &&
		(!IsSet(bfl) || f.agrees(bfl*factor, f.bfl, focalMismatchRatio))
}

const (
	compareSheet = "compare radii, their signs, thicknesses and glasses with the data sheet"
	wantNear     = "agreement within 2 %: " + compareSheet
	wantClose    = "agreement within 10 %: " + compareSheet
	wantTurned   = "agreement within 2 %: the value fits the lens turned round, so its surfaces may stand in the wrong order"
)

// checkFocalLengths notes where the published focal lengths are not those of
// the prescription. It is false when they are so far off that the part cannot
// be what the row says.
func (lr *lensReader) checkFocalLengths(r *row, l *Lens) bool {
	if !IsSet(l.EFLMM) && !IsSet(l.BFLMM) {
		return true
	}
	f := focalLengthsOf(l)
	kind, mend := "", ""
	explain := func() {
		if kind == "" {
			kind, mend = likelyCause(l, &f)
		}
	}
	sound := true
	note := func(column string, published, computed float64, far bool, want string) {
		n := noted{line: r.line, column: column, kind: kind, want: want,
			found: fmt.Sprintf("part %s: published %g mm, but the prescription gives %.5g mm", quoted(l.Part), published, computed)}
		if mend != "" {
			n.want = mend
		}
		if far {
			lr.faulty = append(lr.faulty, n)
			sound = false
		} else {
			lr.doubtful = append(lr.doubtful, n)
		}
	}
	if IsSet(l.EFLMM) && !f.agrees(l.EFLMM, f.efl, focalMismatchRatio) {
		explain()
		far := !f.agrees(l.EFLMM, f.efl, focalFaultRatio)
		note("efl_mm", l.EFLMM, f.efl[0], far, wantOf(far))
	}
	if IsSet(l.BFLMM) && !f.agrees(l.BFLMM, f.bfl, focalMismatchRatio) {
		switch {
		case f.agrees(l.BFLMM, f.ffl, focalMismatchRatio) && sound:
			// Whichever way round it stands, the lens is the same.
			kind, mend = "", ""
			note("bfl_mm", l.BFLMM, f.bfl[0], false, wantTurned)
		default:
			explain()
			far := f.farBack(l.BFLMM)
			note("bfl_mm", l.BFLMM, f.bfl[0], far, wantOf(far))
		}
	}
	return sound
}

func wantOf(far bool) string {
	if far {
		return wantClose
	}
	return wantNear
}

// farBack reports whether a published back focal length is a fault: of a thick
// lens it may be next to nothing, so that it is measured by the focal length.
func (f *focalLengths) farBack(published float64) bool {
	if math.IsInf(published, 0) {
		return !f.afocal
	}
	most := focalFaultRatio * math.Max(math.Abs(published), math.Abs(f.efl[0]))
	return !slices.ContainsFunc(f.bfl[:], func(x float64) bool { return math.Abs(x-published) <= most })
}

// likelyCause looks for the one slip with which all published lengths are those
// of the prescription: the sign of a radius, two radii swapped, a unit. Both
// texts are empty when none explains them.
func likelyCause(l *Lens, is *focalLengths) (kind, mend string) {
	fits := func(changed *Lens) bool {
		if !reaches(changed) {
			return false
		}
		f := focalLengthsOf(changed)
		return f.fits(l.EFLMM, l.BFLMM, 1)
	}
	for i := range l.Surfaces {
		changed := withSurfaces(l, func(s []Surface) { s[i] = s[i].Reversed() })
		if fits(changed) {
			return fmt.Sprintf("the published value fits with the other sign of %s", radiusColumn(i+1)),
				"a radius that is positive when its centre lies on the eye side, behind the surface: turn the sign of " + radiusColumn(i+1)
		}
	}
	for i := range l.Surfaces {
		for j := range i {
			changed := withSurfaces(l, func(s []Surface) { s[i], s[j] = s[j], s[i] })
			if fits(changed) {
				one, other := radiusColumn(j+1), radiusColumn(i+1)
				return fmt.Sprintf("the published value fits with %s and %s swapped", one, other),
					fmt.Sprintf("the radii in the order in which light meets the surfaces: swap %s and %s", one, other)
			}
		}
	}
	if is.fits(-l.EFLMM, l.BFLMM, 1) {
		return "the published value fits with the other sign",
			"a focal length that is positive for a converging lens: turn the sign of efl_mm, or those of all radii"
	}
	for _, u := range []struct {
		factor     float64
		kind, mend string
	}{
		{mmPerInch, "the published value fits in inches", "a published length in mm: times 25.4"},
		{1 / mmPerInch, "the published value fits if the prescription is in inches", "radii and thicknesses in mm: times 25.4"},
		{10, "the published value fits in cm", "a published length in mm: times 10"},
		{0.1, "the published value fits if the prescription is in cm", "radii and thicknesses in mm: times 10"},
	} {
		if is.fits(l.EFLMM, l.BFLMM, u.factor) {
			return u.kind, u.mend
		}
	}
	return "", ""
}

// withSurfaces is a copy of the lens with changed surfaces.
func withSurfaces(l *Lens, change func([]Surface)) *Lens {
	other := *l
	other.Surfaces = slices.Clone(l.Surfaces)
	change(other.Surfaces)
	return &other
}

// reaches reports whether a changed lens could be made.
func reaches(l *Lens) bool {
	for i := range l.Glasses {
		if !(l.EdgeThicknessMM(i) >= -edgeSlackMM) {
			return false
		}
	}
	return true
}

// isAfocal reports whether the power is nothing beside those of the surfaces.
func (l *Lens) isAfocal(wavelengthNM float64) bool {
	efl, _, _ := l.Cardinal(wavelengthNM)
	sum, n := 0.0, 1.0
	for i, s := range l.Surfaces {
		after := 1.0
		if i < len(l.Glasses) {
			after = l.Glasses[i].Index(wavelengthNM)
		}
		sum += math.Abs((after - n) * s.Curvature())
		n = after
	}
	return math.Abs(1/efl) <= focalMismatchRatio*sum
}
