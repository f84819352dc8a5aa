package sheet

import (
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"

	"relaysweep/catalog"
)

// sampled is the beginning of a sheet.
type sampled struct {
	header []string
	row    int // of the header
	rows   [][]string
	stored bool // numbers are stored as such
}

// meaning is what a column may be meant as, by the words of its name.
type meaning struct {
	column string
	words  *regexp.Regexp
}

// meanings in the order in which they are tried. The words are those of the
// trade, in English and German; a header that has none of them stays unsure.
var meanings = []meaning{
	{"efl_mm", regexp.MustCompile(`\b(effective focal( length)?|focal length|efl|brennweite|power|f'?)$`)},
	{"bfl_mm", regexp.MustCompile(`\b(back focal( length)?|back focus|bfl|bfd|schnittweite)$`)},
	{"clear_mm", regexp.MustCompile(`\b(clear (aperture|diameter)|free aperture|ca|freie (öffnung|apertur))$`)},
	{"diameter_mm", regexp.MustCompile(`^(outer |lens |full )?(diameter|dia\.?|durchmesser|ø|⌀)$`)},
	{"t1_mm", regexp.MustCompile(`^(cent(er|re) thickness|thickness|mittendicke|ct|tc|t ?1?|d ?1)( 1)?$`)},
	{"t2_mm", regexp.MustCompile(`^(cent(er|re) thickness|thickness|mittendicke|ct|tc|t|d) ?2$`)},
	{"t3_mm", regexp.MustCompile(`^(cent(er|re) thickness|thickness|mittendicke|ct|tc|t|d) ?3$`)},
	{"r1_mm", regexp.MustCompile(`^(radius( of curvature)?|front radius|(radius )?r) ?1?$`)},
	{"r2_mm", regexp.MustCompile(`^(radius( of curvature)?|(radius )?r) ?2$|^(back|rear) radius$`)},
	{"r3_mm", regexp.MustCompile(`^(radius( of curvature)?|(radius )?r) ?3$`)},
	{"r4_mm", regexp.MustCompile(`^(radius( of curvature)?|(radius )?r) ?4$`)},
	{"glass1", regexp.MustCompile(`^(glass|material|substrate|glas|werkstoff)( type)?( ?1)?$`)},
	{"glass2", regexp.MustCompile(`^(glass|material|substrate|glas|werkstoff) ?2$`)},
	{"glass3", regexp.MustCompile(`^(glass|material|substrate|glas|werkstoff) ?3$`)},
	{"stock", regexp.MustCompile(`^(in stock|stock|quantity|qty\.?|pieces|bestand|lagerbestand|menge)$`)},
	{"part", regexp.MustCompile(`^(part|item|order|article|catalog(ue)?|stock|lens|artikel|bestell|teile?)[ -]?(no\.?|number|code|id|nr\.?|nummer|#|name)$|^(part|item|article|artikel|sku|code|id|name)$`)},
	{"kind", regexp.MustCompile(`^(lens )?(type|form|shape|kind|art|typ|bauform)$`)},
	{"vendor", regexp.MustCompile(`^(vendor|maker|manufacturer|brand|shop|supplier|hersteller|lieferant)$`)},
	{"price", regexp.MustCompile(`\b(price|cost|preis)\b`)},
	{"density", regexp.MustCompile(`^(density|dichte)$`)},
	{"pitch_mm", regexp.MustCompile(`^((groove|facet) )?pitch$|^(groove|facet) (width|spacing)$|^rillenabstand$`)},
	{"draft_deg", regexp.MustCompile(`^draft( angle)?$`)},
	{"loss_pct", regexp.MustCompile(`^(reflectance|loss|surface loss)( per surface)?$`)},
}

// kindWords are ways to write a kind of lens.
var kindWords = []struct {
	kind  string
	words *regexp.Regexp
}{
	{"plano-convex", regexp.MustCompile(`^plano?[ -]?(convex|konvex)$`)},
	{"plano-concave", regexp.MustCompile(`^plano?[ -]?(concave|konkav)$`)},
	{"equi-convex", regexp.MustCompile(`^(equi|symmetric)[ -]?(bi-?)?convex$`)},
	{"equi-concave", regexp.MustCompile(`^(equi|symmetric)[ -]?(bi-?)?concave$`)},
	{"bi-convex", regexp.MustCompile(`^(bi|double)[ -]?(convex|konvex)$`)},
	{"bi-concave", regexp.MustCompile(`^(bi|double)[ -]?(concave|konkav)$`)},
	{"meniscus", regexp.MustCompile(`^((positive|negative) )?menisk?(cu)?s$`)},
	{"achromat", regexp.MustCompile(`^(achromat(ic)?( doublet)?|cemented doublet)$`)},
}

// sample reads the beginning of a sheet.
func sample(file catalog.File, sheetName string, headerRow int) (*sampled, error) {
	if headerRow < 0 || headerRow > rowsMost {
		return nil, brokenAt(0, fmt.Sprintf("there is no row %d", headerRow), "the number of the row with the column names, from 1")
	}
	m := &Map{sheet: sheetName, headerRow: max(headerRow, 1)}
	if headerRow == 0 {
		// A title above the header has no separators.
		m.headerRow = likelyHeader(file, m)
	}
	src, err := open(file, m)
	if err != nil {
		return nil, err
	}
	defer src.close()
	s := &sampled{row: m.headerRow, stored: src.numbersStored()}
	for len(s.rows) < sampledMost {
		cells, row, wrong, err := src.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		if wrong != nil || row < s.row {
			continue
		}
		var line []string
		for _, c := range cells {
			line = append(line, strings.Clone(plain(c)))
		}
		if row == s.row {
			s.header = line
			continue
		}
		if s.header == nil {
			break
		}
		s.rows = append(s.rows, line)
	}
	if s.header == nil {
		return nil, brokenAt(s.row, "there is no header in this row", "a row of column names; --header-row tells which")
	}
	return s, nil
}

// likelyHeader is the first row in which most names mean something.
func likelyHeader(file catalog.File, m *Map) int {
	best, most := 1, 0
	separators := []rune{0}
	if src, err := open(file, m); err == nil {
		if !src.numbersStored() {
			separators = []rune{',', ';', '\t'}
		}
		_ = src.close() // only read from
	} else {
		separators = []rune{',', ';', '\t'}
	}
	for _, separator := range separators {
		with := *m
		with.separator = separator
		src, err := open(file, &with)
		if err != nil {
			continue
		}
		for range headerWithin {
			cells, row, wrong, err := src.next()
			if err != nil {
				break
			}
			if wrong != nil {
				continue
			}
			n := 0
			for _, c := range cells {
				if column, _ := meant(plain(c)); column != "" {
					n++
				}
			}
			if n > most {
				best, most = row, n
			}
		}
		_ = src.close()
	}
	return best
}

var bracketed = regexp.MustCompile(`\s*[(\[{]([^)\]}]*)[)\]}]|,\s*(\S+)$|\s+/\s+(\S+)$|\s+in\s+(\S+)$`)

// groovesPer are headers that count grooves per millimetre.
var groovesPer = regexp.MustCompile(`(?i)^(grooves?|facets?|rillen|groove (density|frequency))[ ,]*(per mm|je mm|/ ?mm|[(\[{](1/mm|/mm|mm-1|mm⁻¹|per mm|je mm)[)\]}])$`)

// meant is the column of ours that a header name means, and the unit that it
// states, as it stands there.
func meant(header string) (column, unitText string) {
	if catalog.IsLensColumn(header) {
		if isLength(header) {
			return header, "mm"
		}
		return header, ""
	}
	if groovesPer.MatchString(header) {
		return "pitch_mm", perMM
	}
	name := header
	if m := bracketed.FindStringSubmatch(name); m != nil {
		for _, text := range m[1:] {
			if text != "" {
				unitText = strings.TrimSpace(text)
			}
		}
		name = strings.TrimSpace(strings.Replace(name, m[0], " ", 1))
	} else if i := strings.LastIndexByte(name, ' '); i > 0 {
		if _, ok := unitSpelled(name[i+1:]); ok {
			name, unitText = name[:i], name[i+1:]
		}
	}
	name = strings.ToLower(strings.TrimRight(plain(strings.ReplaceAll(name, "_", " ")), ":. "))
	for _, mean := range meanings {
		if mean.words.MatchString(name) {
			return mean.column, unitText
		}
	}
	return "", unitText
}

func (s *sampled) cell(row, column int) string {
	if column < len(s.rows[row]) {
		return s.rows[row][column]
	}
	return ""
}

// kindMeant is the kind that a text means, empty where it is not clear.
func kindMeant(text string) string {
	text = strings.ToLower(strings.TrimSuffix(strings.TrimSuffix(strings.ToLower(text), " lens"), " lenses"))
	for _, k := range kindWords {
		if k.words.MatchString(text) {
			return k.kind
		}
	}
	return ""
}
