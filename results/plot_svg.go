package results

import (
	"fmt"
	"html"
	"math"
	"strconv"
	"strings"
)

// svgDrawing gathers the elements of an SVG. How they look is said by the
// classes of the page's style sheet, so that one drawing serves light and dark
// pages and grey print.
type svgDrawing struct {
	b strings.Builder
	// decimals of coordinates: what a drawing's unit needs to look exact.
	decimals int
}

// xy is a point of a drawing in its own units.
type xy struct{ x, y float64 }

// coordinate is a number as short as the drawing's decimals allow.
func (s *svgDrawing) coordinate(x float64) string {
	text := Fixed(x, s.decimals)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text
}

// element writes <name class=… attributes/>. Attributes are name, value, name,
// value; a value is a string or a coordinate.
func (s *svgDrawing) element(name, class string, attributes ...any) {
	s.open(name, class, attributes...)
	s.close(name)
}

func (s *svgDrawing) open(name, class string, attributes ...any) {
	s.b.WriteString("<" + name)
	if class != "" {
		fmt.Fprintf(&s.b, ` class="%s"`, html.EscapeString(class))
	}
	for i := 0; i < len(attributes); i += 2 {
		var value string
		switch v := attributes[i+1].(type) {
		case float64:
			value = s.coordinate(v)
		case string:
			value = html.EscapeString(v)
		default:
			panic(fmt.Sprintf("an attribute is a %T", v))
		}
		fmt.Fprintf(&s.b, ` %s="%s"`, attributes[i], value)
	}
	s.b.WriteByte('>')
}

func (s *svgDrawing) close(name string) { s.b.WriteString("</" + name + ">") }

func (s *svgDrawing) line(class string, a, b xy) {
	s.element("line", class, "x1", a.x, "y1", a.y, "x2", b.x, "y2", b.y)
}

// path draws a polyline, closed on request. Points that are not finite part
// it.
func (s *svgDrawing) path(class string, points []xy, closed bool) {
	var d strings.Builder
	command := "M"
	for _, p := range points {
		if math.IsNaN(p.x) || math.IsInf(p.x, 0) || math.IsNaN(p.y) || math.IsInf(p.y, 0) {
			command = "M"
			continue
		}
		d.WriteString(command + s.coordinate(p.x) + " " + s.coordinate(p.y))
		command = "L"
	}
	if closed {
		d.WriteByte('Z')
	}
	if d.Len() > 0 {
		s.element("path", class, "d", d.String())
	}
}

func (s *svgDrawing) text(class string, at xy, text string, attributes ...any) {
	s.open("text", class, append([]any{"x", at.x, "y", at.y}, attributes...)...)
	s.b.WriteString(html.EscapeString(text))
	s.close("text")
}

// named wraps the elements into an svg element with a name and a description
// for who does not see it. id has to be unique in the page.
func (s *svgDrawing) named(id, class, title, description string, size string, box [4]float64) string {
	var view [4]string
	for i, x := range box {
		view[i] = s.coordinate(x)
	}
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" class="%s" role="img" aria-labelledby="%s-t %s-d"%s viewBox="%s">`+
		`<title id="%s-t">%s</title><desc id="%s-d">%s</desc>%s</svg>`,
		class, id, id, size, strings.Join(view[:], " "),
		id, html.EscapeString(title), id, html.EscapeString(description), s.b.String())
}

// ticks are round values, some count of them, that cover lo to hi from inside.
func ticks(lo, hi float64, count int) (values []float64, decimals int) {
	step := roundStep((hi - lo) / float64(count))
	decimals = max(0, -int(math.Floor(math.Log10(step)+1e-9)))
	for k := math.Ceil(lo/step - 1e-9); k*step <= hi+step*1e-9; k++ {
		values = append(values, k*step)
	}
	return values, decimals
}

// roundStep is the smallest of 1, 2 and 5 times a power of ten that is not
// below x.
func roundStep(x float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(x)))
	for _, m := range []float64{1, 2, 5} {
		if x <= m*power*(1+1e-9) {
			return m * power
		}
	}
	return 10 * power
}

// sayNumber is a number as text of a description: four digits.
func sayNumber(x float64) string {
	if math.IsInf(x, 1) {
		return "infinite"
	}
	return strconv.FormatFloat(x, 'g', 4, 64)
}
