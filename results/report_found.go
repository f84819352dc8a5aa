package results

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// unfinishedWords say how far a run came that was interrupted.
func unfinishedWords(r *Report) []string {
	m := r.Manifest
	if m.Complete {
		return nil
	}
	all := []string{"The run was interrupted; the same command goes on from there. This is what it had found by then, and better designs may come."}
	n := len(m.Points)
	if n == 0 {
		return all
	}
	p := &m.Points[n-1]
	came := fmt.Sprintf("%s designs were examined and %s checked by rays", countOf(strconv.FormatInt(p.Examined, 10)), countOf(strconv.FormatInt(p.Checked, 10)))
	switch {
	case p.ProvenLengthMM != nil:
		came += fmt.Sprintf("; its search had come to a length of %.2f mm.", *p.ProvenLengthMM)
	case p.Optimized != nil:
		came += fmt.Sprintf(" in %d evaluations.", p.Evaluations)
	default:
		came += "."
	}
	if r.PointsAsked > 1 {
		return append(all, fmt.Sprintf("It had come to sweep point %d, the %s of %d. There %s", p.Point, ordinal(n), r.PointsAsked, came))
	}
	return append(all, "Of "+countOf(p.Space)+" designs "+came)
}

// ordinal is a place in a row, from 1: 1st, 2nd, …
func ordinal(n int) string {
	ending := "th"
	if n%100 < 11 || n%100 > 13 {
		switch n % 10 {
		case 1:
			ending = "st"
		case 2:
			ending = "nd"
		case 3:
			ending = "rd"
		}
	}
	return strconv.Itoa(n) + ending
}

// foundWords say what a run found, and how sure that is.
func foundWords(r *Report) []string {
	m := r.Manifest
	if len(m.Points) > 0 && m.Points[0].Given != nil {
		return givenWords(r)
	}
	none, inexact, drawn, whole := 0, 0, 0, 0
	passed, refined, walked := int64(0), 0, 0
	for i := range m.Points {
		p := &m.Points[i]
		passed += p.Passed
		if p.Refined != nil {
			refined += p.Refined.Passed
			if p.Optimized == nil {
				walked++
			}
		}
		if p.Nothing() {
			none++
		}
		if p.WholeSpace {
			whole++
		}
		switch {
		case p.Optimized != nil:
			drawn++
		case !p.Ended:
			inexact++
		}
	}
	listed := countedDesigns(len(r.Designs)) + " passed every requirement and every limit by exact rays"
	switch {
	case walked == len(m.Points) && refined > len(r.Designs):
		listed = fmt.Sprintf("%s listed of %d that passed every requirement and every limit by exact rays, refined", countedDesigns(len(r.Designs)), refined)
	case walked == len(m.Points):
	case refined > 0:
		listed = fmt.Sprintf("%s listed, of %d that passed every requirement and every limit by exact rays at their paraxial gaps and %d refined ones that passed", countedDesigns(len(r.Designs)), passed, refined)
	case passed > int64(len(r.Designs)):
		listed = fmt.Sprintf("%s listed of %d that passed every requirement and every limit by exact rays", countedDesigns(len(r.Designs)), passed)
	}
	found := listed + "."
	switch {
	case len(r.Designs) == 0 && !m.Complete:
		found = "Nothing that meets the requirements was found by then."
	case len(r.Designs) == 0 && drawn > 0:
		found = "Nothing that meets the requirements was found."
	case len(r.Designs) == 0:
		found = "Nothing meets the requirements."
	case len(m.Points) > 1 || r.PointsAsked > 1:
		found = fmt.Sprintf("%s, at %d of %d sweep points.", listed, len(m.Points)-none, max(len(m.Points), r.PointsAsked))
	}
	var sure string
	switch {
	case !m.Complete && len(m.Points) > 0 && gapWords(&m.Points[len(m.Points)-1]) != "":
		sure = gapWords(&m.Points[len(m.Points)-1]) + " Places up to there are certain under the screen, the others may change."
	case !m.Complete:
		sure = "How sure the ranking is can be said when the run is complete."
	case drawn > 0:
		sure = fmt.Sprintf("Not exact at %d of %d sweep points: a population search looked at a part of the designs, and shorter ones may pass. The proven length is a lower bound on all of them.",
			drawn+inexact, len(m.Points))
	case inexact > 0:
		sure = fmt.Sprintf("Not exact at %d of %d sweep points: the search ended before the ranking was certain.", inexact, len(m.Points))
		if len(m.Points) == 1 {
			sure = strings.TrimSpace(sure + " " + gapWords(&m.Points[0]))
		}
	case walked == len(m.Points):
		sure = screenedWords(m.Points, len(r.Designs) == 0)
	case len(r.Designs) == 0 && whole == len(m.Points):
		sure = "That is proven, for trains at their paraxial gaps: the whole space was searched, and no design passes."
	case len(r.Designs) == 0:
		sure = "That is proven, for trains at their paraxial gaps: no design shorter than the proven length passes."
	default:
		sure = "The ranking is exact: apart from the designs listed, nothing shorter than the proven length passes. The proof speaks of paraxial gaps."
	}
	all := []string{found, sure}
	if len(m.Points) == 1 && m.Points[0].ApertureRatio != nil {
		all = append(all, strings.Replace(m.Points[0].IdealLimit.Line(), "ideal", "Ideal", 1)+".")
	}
	return all
}

// givenWordsMost bounds the trains of which givenWords tells.
const givenWordsMost = 20

// givenWords say what became of the trains that the spec gives, one a sweep point.
func givenWords(r *Report) []string {
	m := r.Manifest
	all := []string{"No search was made: the spec gives the train."}
	for i := range m.Points[:min(len(m.Points), givenWordsMost)] {
		p := &m.Points[i]
		words := fmt.Sprintf("Measured %s, %s", p.Given.GapsWords(), p.Given.Verdict())
		if len(m.Points) > 1 {
			words = fmt.Sprintf("Point %d, measured %s: %s", i, p.Given.GapsWords(), p.Given.Verdict())
		}
		for k, j := range p.Given.Fails() {
			words += [2]string{": ", "; "}[min(k, 1)] + j.Line()
		}
		all = append(all, words+". "+strings.ToUpper(p.Given.SearchWords()[:1])+p.Given.SearchWords()[1:]+".")
	}
	if n := len(m.Points) - givenWordsMost; n > 0 {
		all = append(all, fmt.Sprintf("%d more stand in run.json.", n))
	}
	if len(m.Points) == 1 && m.Points[0].ApertureRatio != nil {
		all = append(all, strings.Replace(m.Points[0].IdealLimit.Line(), "ideal", "Ideal", 1)+".")
	}
	return all
}

// gapWords say how far the screen of an unfinished point has come to what was found
// there; empty where there is nothing to say.
func gapWords(p *ManifestPoint) string {
	if p.Found == nil || p.ScreenedMM == nil || p.Ended {
		return ""
	}
	return fmt.Sprintf("The shortest was found by the %s and has %.2f mm; %s.", p.Found.By, p.Found.ShortestMM, cameTo(p.Found.ShortestMM, *p.ScreenedMM))
}

// screenedWords say how sure refined rankings are that were walked to their end.
// The proof may end before the screen does: where third-order sums turn the first
// train away.
func screenedWords(points []ManifestPoint, nothing bool) string {
	const near = "that the screen takes for near its limits at its paraxial gaps"
	what, other := "Apart from the designs listed nothing", "no other design"
	if nothing {
		what, other = "Nothing", "no design"
	}
	whole, proven, screened := true, false, false
	for i := range points {
		whole = whole && points[i].WholeSpace
		proven = proven || points[i].ProvenLengthMM != nil
		screened = screened || points[i].ScreenedMM != nil
	}
	provenTo, screenedTo := "the proven length of its sweep point", "the last one listed at its sweep point"
	if len(points) == 1 && proven {
		provenTo = fmt.Sprintf("%.2f mm", *points[0].ProvenLengthMM)
	}
	if len(points) == 1 && screened {
		screenedTo = fmt.Sprintf("%.2f mm", *points[0].ScreenedMM)
	}
	var sure string
	switch {
	case whole:
		sure = fmt.Sprintf("%s in the whole space passes: at paraxial gaps that is proven; refined, it is screened: true of every design %s.", what, near)
	case screened:
		sure = fmt.Sprintf("Screened: %s %s is shorter than %s when refined.", other, near, screenedTo)
	default:
		sure = fmt.Sprintf("Screened: every design of the whole space %s was refined.", near)
	}
	if !whole && proven {
		sure = fmt.Sprintf("Proven: %s that passes at its paraxial gaps is shorter than %s. ", other, provenTo) + sure
	}
	if len(points) == 1 && points[0].Audit != nil && points[0].Audit.Drawn > 0 {
		a := points[0].Audit
		if a.Listed > 0 {
			sure += " The screen leaks."
		}
		return sure + " Audit: " + a.words() + "."
	}
	drawn, passed, missed := 0, 0, 0
	for i := range points {
		if a := points[i].Audit; a != nil {
			drawn, passed, missed = drawn+a.Drawn, passed+a.Passed, missed+a.Listed
		}
	}
	if drawn > 0 {
		sure += fmt.Sprintf(" Audit: of the designs that the screen turned away %d were drawn and refined, %d pass, %d of them short enough for a ranking.", drawn, passed, missed)
	}
	return sure
}

// standingWords explain the words of the ranking's column of places that occur.
func standingWords(r *Report) string {
	meaning := map[string]string{
		"given":    "given: by the spec, and measured; it meets everything that was asked",
		"fails":    "fails: given by the spec, and measured; it does not meet everything that was asked",
		"proven":   "proven: nothing outside the ranking could stand before it, at paraxial gaps",
		"screened": "screened: nothing outside the ranking that the screen takes for near its limits is shorter when refined",
		"refined":  "refined: gaps and eye relief re-optimised by exact rays, the place is not certain",
		"found":    "found: the place is not proven",
		"so far":   "so far: the run is unfinished, and shorter ones may come",
	}
	seen := map[string]bool{}
	var parts []string
	for i := range r.Designs {
		if word := r.standing(&r.Designs[i]); !seen[word] {
			seen[word] = true
			if meaning[word] != "" {
				parts = append(parts, meaning[word])
			}
		}
	}
	slices.Sort(parts)
	note := "Place: " + strings.Join(parts, "; ") + "."
	if slices.ContainsFunc(r.Designs, func(d Design) bool { return d.fieldShort() }) {
		note += " A field in italics is smaller than the one asked: the whole pupil passes only there, and the column of what is vignetted tells the most that is lost beyond."
	}
	if slices.ContainsFunc(r.Designs, func(d Design) bool { return len(d.Masks()) > 1 }) {
		note += " Of designs with two masks travel, pixel and mask blur, here and in the charts above, are those of the mask at image 2."
	}
	if slices.ContainsFunc(r.Designs, func(d Design) bool { return d.groovesSpread() }) {
		note += " The view blur leaves out what the grooves of Fresnel lenses spread light by."
	}
	return note
}

func countedDesigns(n int) string {
	if n == 1 {
		return "1 design"
	}
	return fmt.Sprintf("%d designs", n)
}
