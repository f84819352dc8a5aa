package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"relaysweep/objective/raycheck"
	"relaysweep/results"
	"relaysweep/sweep"
	"relaysweep/sweep/spec"
)

// specWriter says in words what a spec asks. Where a key is swept it says the
// values that it takes.
type specWriter struct {
	swept map[string]spec.Axis
	words []results.ReportWords
}

// sweptShown is how many values of a swept key are listed.
const sweptShown = 6

// of is the value of a key with its unit, or the values that it takes.
func (w *specWriter) of(key string, value any, unit string) string {
	if unit != "" {
		unit = " " + unit
	}
	axis, is := w.swept[key]
	if !is {
		return sayValue(value) + unit
	}
	values := make([]string, len(axis.Values))
	for i, v := range axis.Values {
		values[i] = sayValue(v)
	}
	if n := len(values); n > sweptShown {
		return fmt.Sprintf("%s to %s%s (swept, %d values)", values[0], values[n-1], unit, n)
	}
	return strings.Join(values, " or ") + unit + " (swept)"
}

func sayValue(value any) string {
	switch v := value.(type) {
	case string:
		switch v { // values that read badly as they are
		case "either":
			return "front or rear"
		case spec.SeatBoth:
			return "front and the rear"
		case "length_mm":
			return "length"
		case "length_to_eye_mm":
			return "length to the eye"
		}
		return v
	case float64:
		if math.IsInf(v, 1) {
			return "infinity"
		}
		return shortest(v)
	case []string:
		return strings.Join(v, ", ")
	}
	return fmt.Sprint(value)
}

func (w *specWriter) add(subject, format string, args ...any) {
	w.words = append(w.words, results.ReportWords{Subject: subject, Words: fmt.Sprintf(format, args...)})
}

// isSet reports whether a key that means nothing at 0 says something.
func (w *specWriter) isSet(key string, value float64) bool {
	_, swept := w.swept[key]
	return swept || value != 0
}

// specWords is what a job asks, subject by subject.
func specWords(job *sweep.Job) []results.ReportWords {
	s := job.Spec
	w := &specWriter{swept: map[string]spec.Axis{}}
	for _, a := range s.Axes {
		w.swept[a.Key] = a
	}
	w.add("Field", "%s wide and %s high at the eye, %s", w.of("field.width_deg", s.Field.WidthDeg, "degrees"),
		w.of("field.height_deg", s.Field.HeightDeg, "degrees"), w.of("field.shape", s.Field.Shape, ""))
	eye := fmt.Sprintf("pupil of %s in a box of %s, eye relief %s to %s, accommodation %s, refocus up to %s",
		w.of("eye.pupil_mm", s.Eye.PupilMM, "mm"), w.of("eye.box_mm", s.Eye.BoxMM, "mm"),
		w.of("eye.relief_min_mm", s.Eye.ReliefMinMM, ""), w.of("eye.relief_max_mm", s.Eye.ReliefMaxMM, "mm"),
		w.of("eye.accommodation_D", s.Eye.AccommodationD, "D"), w.of("eye.refocus_max_D", s.Eye.RefocusMaxD, "D"))
	if s.Eye.SharpBoxMM != nil {
		eye += fmt.Sprintf(", sharp in a box of %s", w.of("eye.sharp_box_mm", *s.Eye.SharpBoxMM, "mm"))
	}
	if w.isSet("eye.combiner_mm", s.Eye.CombinerMM) {
		eye += fmt.Sprintf(", a combiner of %s of glass, index %s", w.of("eye.combiner_mm", s.Eye.CombinerMM, "mm"), w.of("eye.combiner_index", s.Eye.CombinerIndex, ""))
	}
	w.add("Eye", "%s", eye)
	w.add("Depth", "%s to %s, looked at in %s even in vergence", w.of("depth.near_m", s.Depth.NearM, "m"), farWords(w, s),
		w.of("depth.steps", s.Depth.Steps, "steps"))
	mask := fmt.Sprintf("%s × %s, pixels of %s, at the %s seat, %s clear of the lenses",
		w.of("mask.width_mm", s.Mask.WidthMM, ""), w.of("mask.height_mm", s.Mask.HeightMM, "mm"), w.of("mask.pixel_um", s.Mask.PixelUM, "µm"),
		w.of("mask.seat", s.Mask.Seat, ""), w.of("mask.clearance_mm", s.Mask.ClearanceMM, "mm"))
	if w.isSet("mask.glass_mm", s.Mask.GlassMM) {
		mask += fmt.Sprintf(", in glass of %s, index %s", w.of("mask.glass_mm", s.Mask.GlassMM, "mm"), w.of("mask.glass_index", s.Mask.GlassIndex, ""))
	}
	w.add("Mask", "%s", mask)
	w.add("Stage", "travel %s, smallest step %s, speed %s", w.of("stage.travel_mm", s.Stage.TravelMM, "mm"),
		w.of("stage.resolution_um", s.Stage.ResolutionUM, "µm"), w.of("stage.speed_mm_s", s.Stage.SpeedMMS, "mm/s"))
	w.train(s)
	w.limits(s)
	var light []string
	for i, nm := range s.Light.WavelengthsNM {
		light = append(light, fmt.Sprintf("%s nm (weight %s)", shortest(nm), shortest(s.Light.Weights[i])))
	}
	w.add("Light", "%s", strings.Join(light, ", "))
	w.catalog(job)
	if s.Gives() {
		w.add("Search", "none: the train of train.given is measured, %s", w.of("train.given", s.Train.Given, ""))
		return w.words
	}
	w.add("Search", "%s, ranked by %s, the best %d of each sweep point, one for each %s",
		map[string]string{"enumerate": "exact, over the whole space", "optimize": "by a population, not exact"}[s.Search.Method], w.of("search.rank_by", s.Search.RankBy, ""), s.Job.Top,
		map[string]string{"design": "design", "parts": "set of parts"}[s.Search.OnePer])
	if _, swept := w.swept["refine.method"]; swept || s.Refine.Method != "none" {
		w.add("Refinement", "gaps and eye relief by exact rays, method %s, of designs that exceed no limit by more than %s times at their paraxial gaps; %s of those turned away drawn for the audit",
			w.of("refine.method", s.Refine.Method, ""), w.of("refine.near_miss_factor", s.Refine.NearMissFactor, ""), w.of("refine.audit", s.Refine.Audit, ""))
	}
	return w.words
}

func farWords(w *specWriter, s *spec.Spec) string {
	if _, swept := w.swept["depth.far_m"]; !swept && math.IsInf(s.Depth.FarM, 1) {
		return "infinity"
	}
	return w.of("depth.far_m", s.Depth.FarM, "m")
}

func (w *specWriter) train(s *spec.Spec) {
	var layouts []string
	for _, l := range s.Train.Layouts {
		layouts = append(layouts, l.String())
	}
	text := fmt.Sprintf("%s, lenses in a group: at most %s, magnification %s, %s of air in stacks, %s between groups", strings.Join(layouts, " or "),
		w.of("train.lenses_per_group", s.Train.LensesPerGroup, ""), w.of("train.magnification", s.Train.Magnification, ""),
		w.of("train.air_gap_min_mm", s.Train.AirGapMinMM, "mm"), w.of("train.group_gap_min_mm", s.Train.GroupGapMinMM, "mm"))
	if w.isSet("train.length_max_mm", s.Train.LengthMaxMM) {
		text += ", no longer than " + w.of("train.length_max_mm", s.Train.LengthMaxMM, "mm")
	}
	if w.isSet("train.lenses_max", float64(s.Train.LensesMax)) {
		text += ", no more lenses than " + w.of("train.lenses_max", s.Train.LensesMax, "")
	}
	if w.isSet("train.distinct_parts_max", float64(s.Train.DistinctPartsMax)) {
		text += ", no more different parts than " + w.of("train.distinct_parts_max", s.Train.DistinctPartsMax, "")
	}
	for _, slot := range []struct {
		name  string
		parts []string
	}{{"front", s.Train.Front}, {"relay", s.Train.Relay}, {"rear", s.Train.Rear}} {
		if len(slot.parts) > 0 {
			text += ", in the " + slot.name + " only " + sayValue(slot.parts)
		}
	}
	w.add("Train", "%s", text)
}

func (w *specWriter) limits(s *spec.Spec) {
	l, limits := &s.Limits, &s.Problem().Limits
	var parts []string
	for _, key := range spec.Keys() {
		if key.Section != "limits" || slices.Contains([]string{"field_fraction", raycheck.TransmissionMin, "yield_min_pct"}, key.Name) {
			continue // these are no largest values
		}
		value := limits.Limit(key.Name)
		if _, swept := w.swept[key.String()]; swept || !math.IsInf(value, 1) {
			words, unit := results.ColumnWords(key.Name)
			parts = append(parts, words+" ≤ "+w.of(key.String(), value, unit))
		}
	}
	if l.TransmissionMin != nil {
		parts = append(parts, "transmission ≥ "+w.of("limits.transmission_min", *l.TransmissionMin, ""))
	}
	if l.YieldMinPct != nil {
		parts = append(parts, "builds that meet these ≥ "+w.of("limits.yield_min_pct", *l.YieldMinPct, "%"))
	}
	if len(parts) == 0 {
		parts = []string{"none"}
	}
	text := strings.Join(parts, ", ")
	if _, swept := w.swept["limits.field_fraction"]; swept || l.FieldFraction < 1 {
		text += "; sharpness judged within " + w.of("limits.field_fraction", l.FieldFraction, "") + " of the field"
	}
	w.add("Limits", "%s", text)
}

func (w *specWriter) catalog(job *sweep.Job) {
	c := &job.Spec.Catalog
	var files []string
	for _, t := range job.Catalog.Tables {
		files = append(files, fmt.Sprintf("%s (%s)", t.File, counted(t.Lenses, "lens")))
	}
	text := strings.Join(files, ", ")
	if t := job.Catalog.Drawer; t != nil {
		text += fmt.Sprintf("; %s in the drawer (%s)", counted(t.Lenses, "part"), t.File)
	}
	if len(c.ExcludeKinds) > 0 {
		text += "; without kinds " + sayValue(c.ExcludeKinds)
	}
	if len(c.ExcludeParts) > 0 {
		text += "; without parts " + sayValue(c.ExcludeParts)
	}
	for _, of := range []struct {
		key, name, unit string
		value           float64
	}{
		{"diameter_max_mm", "diameter ≤", "mm", c.DiameterMaxMM}, {"price_max", "price each ≤", "", c.PriceMax},
		{"focal_min_mm", "focal length ≥", "mm", c.FocalMinMM}, {"focal_max_mm", "focal length ≤", "mm", c.FocalMaxMM},
		{"aperture_ratio_max", "clear diameter over focal length ≤", "", c.ApertureRatioMax},
	} {
		if key := "catalog." + of.key; w.isSet(key, of.value) {
			text += "; " + of.name + " " + w.of(key, of.value, of.unit)
		}
	}
	w.add("Catalog", "%s", text)
}
