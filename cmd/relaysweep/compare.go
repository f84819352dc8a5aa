package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"relaysweep/catalog"
	"relaysweep/results"
)

func newCompareCommand() *cobra.Command {
	var points, ranks, format string
	cmd := &cobra.Command{
		Use:   "compare OUTPUT...",
		Short: "print designs side by side: parts, numbers, margins",
		Long: `compare prints designs side by side, of one run or of several: what each is made
of, what it reaches, and what margin it has to what was asked. A * before a line
says that the designs differ there.

Every rank given is taken of every sweep point given of every run.

For other programs --format csv and --format json print every row with its
numbers in full: its table (design, parts, to_buy, lenses, reached, margins), name,
vendor, unit, bound and asked, and a value under the letter of each design. Empty
cells and null are what a design does not have, or was not asked of it.`,
		Example: `  relaysweep compare out/quick --rank 1,4,7
  relaysweep compare out/quick out/refined
  relaysweep compare out/sweep --point 0,1,2`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usageError{errors.New("compare takes one argument or more, the output folders of runs; found none")}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := knownFormat(format); err != nil {
				return err
			}
			wantRanks, errRanks := numbersOf("--rank", ranks, 1)
			wantPoints, errPoints := numbersOf("--point", points, 0)
			if err := errors.Join(errRanks, errPoints); err != nil {
				return usageError{err}
			}
			all, err := untilInterrupted(cmd.Context(), func() ([]compared, error) { return collectCompared(args, wantPoints, wantRanks) })
			if err != nil {
				return err
			}
			for i := range all {
				if !all[i].run.manifest.Complete {
					fmt.Fprintf(cmd.ErrOrStderr(), "warning: %s: %s\n", catalog.Visible(all[i].run.folder), unfinished)
				}
			}
			if format != formatText {
				return writeCompared(cmd.OutOrStdout(), all, format)
			}
			return printCompared(cmd.OutOrStdout(), all)
		},
	}
	cmd.Flags().StringVar(&ranks, "rank", "1", "ranks of the designs, from 1, as 1,4,7")
	cmd.Flags().StringVar(&points, "point", "0", "sweep points, from 0, as 0,1")
	cmd.Flags().StringVar(&format, "format", formatText, "text, or csv or json for other programs")
	return cmd
}

// comparedMost is how many designs a comparison has at most: more do not stand side
// by side, and each has a letter.
const comparedMost = 26

// compared is a design beside others.
type compared struct {
	run    *finishedRun
	point  *results.ManifestPoint
	design *results.Design
}

// name is the letter of a design's column.
func name(i int) string { return string(rune('A' + i)) }

// numbersOf are the whole numbers of a list, each once and none below least.
func numbersOf(flag, list string, least int) ([]int, error) {
	var numbers []int
	for _, text := range strings.Split(list, ",") {
		n, err := strconv.Atoi(strings.TrimSpace(text))
		switch {
		case err != nil || n < least:
			return nil, fmt.Errorf("%s takes whole numbers from %d on, as %d,%d; found %q", flag, least, least, least+3, text)
		case slices.Contains(numbers, n):
			return nil, fmt.Errorf("%s has %d twice", flag, n)
		}
		numbers = append(numbers, n)
	}
	return numbers, nil
}

// collectCompared finds the designs. What is missing comes as one error.
func collectCompared(folders []string, points, ranks []int) ([]compared, error) {
	if n := len(folders) * len(points) * len(ranks); n < 2 || n > comparedMost {
		return nil, usageError{fmt.Errorf("compare takes 2 to %d designs, several ranks, points or runs; found %d", comparedMost, n)}
	}
	var all []compared
	var missing []error
	for _, folder := range folders {
		run, err := openResults(folder)
		if err != nil {
			return nil, err
		}
		for _, point := range points {
			for _, rank := range ranks {
				d, err := run.find(point, rank)
				if err != nil {
					missing = append(missing, fmt.Errorf("%s: %w", catalog.Visible(folder), err))
					continue
				}
				all = append(all, compared{run, &run.manifest.Points[point], d})
			}
		}
	}
	if len(missing) > 0 {
		return nil, usageError{errors.Join(missing...)}
	}
	return all, nil
}

// comparedPart is a part of what is printed: rows of one kind.
type comparedPart struct {
	title string
	table *results.Table
	rows  []results.ComparedRow
}

// comparedParts are all parts but the head, those without rows too.
func comparedParts(all []compared) []*comparedPart {
	return []*comparedPart{
		comparedPieces(all, "parts", "Parts, in pieces", func(_ *compared, _ string, n int) int { return n }),
		comparedToBuy(all),
		comparedLenses(all),
		comparedNumbers(all),
		comparedMargins(all),
	}
}

func printCompared(w io.Writer, all []compared) error {
	head := &results.Table{Columns: []results.Column{
		{Name: "", Align: results.Left}, {Name: "run", Align: results.Left}, {Name: "point"}, {Name: "rank"}, {Name: "design", Align: results.Left},
	}, Terminal: isTerminal(w)}
	for i := range all {
		head.Add(name(i), all[i].run.folder, strconv.Itoa(all[i].design.Point), strconv.Itoa(all[i].design.Rank), all[i].design.DesignID)
	}
	if err := head.Print(w); err != nil {
		return err
	}
	differing := false
	for _, part := range comparedParts(all) {
		if len(part.rows) == 0 {
			continue
		}
		fmt.Fprintf(w, "\n%s\n", part.title)
		for _, row := range part.table.Rows {
			differing = differing || row[0] != ""
		}
		part.table.Terminal = isTerminal(w)
		if err := part.table.Print(w); err != nil {
			return err
		}
	}
	if differing {
		fmt.Fprintln(w, "\n*: the designs differ")
	}
	_, err := fmt.Fprint(w, "\n", cautionLine)
	return err
}

// writeCompared writes all rows for other programs.
func writeCompared(w io.Writer, all []compared, format string) error {
	var names []string
	for i := range all {
		names = append(names, name(i))
	}
	head := func(name string, value func(c *compared) any) results.ComparedRow {
		return results.ComparedRow{Table: "design", Name: name, Values: eachOf(all, value)}
	}
	rows := []results.ComparedRow{
		head("run", func(c *compared) any { return c.run.folder }),
		head("point", func(c *compared) any { return c.design.Point }),
		head("rank", func(c *compared) any { return c.design.Rank }),
		head("design_id", func(c *compared) any { return c.design.DesignID }),
	}
	for _, part := range comparedParts(all) {
		rows = append(rows, part.rows...)
	}
	if format == formatJSON {
		return results.WriteComparedJSON(w, names, rows)
	}
	return results.WriteComparedCSV(w, names, rows)
}

// newComparedPart has a column for marks, columns that say what stands in a row, and one for
// each design.
func newComparedPart(all []compared, title string, align results.Align, about ...string) *comparedPart {
	t := &results.Table{Columns: []results.Column{{Name: "", Align: results.Left}}}
	for _, head := range about {
		t.Columns = append(t.Columns, results.Column{Name: head, Align: results.Left})
	}
	for i := range all {
		t.Columns = append(t.Columns, results.Column{Name: name(i), Align: align})
	}
	return &comparedPart{title: title, table: t}
}

// notAsked is the margin of a design of which it was not asked.
type notAsked struct{}

// add adds a row, with its mark where it is printed.
func (p *comparedPart) add(row results.ComparedRow, about ...string) {
	cells := make([]string, len(row.Values))
	for i, v := range row.Values {
		switch v := v.(type) {
		case nil:
			cells[i] = results.Null
		case notAsked:
			cells[i], row.Values[i] = "not asked", nil
		case int:
			cells[i] = strconv.Itoa(v)
		case float64:
			cells[i] = results.Fixed(v, 3)
		case string:
			cells[i] = v
		}
	}
	mark := ""
	if slices.ContainsFunc(cells, func(c string) bool { return c != cells[0] }) {
		mark = "*"
	}
	p.table.Add(slices.Concat([]string{mark}, about, cells)...)
	p.rows = append(p.rows, row)
}

// eachOf are the values of a row, one for each design.
func eachOf(all []compared, value func(*compared) any) []any {
	values := make([]any, len(all))
	for i := range all {
		values[i] = value(&all[i])
	}
	return values
}

// comparedToBuy is how many pieces of each part have to be bought; empty where no run was
// told of what is there.
func comparedToBuy(all []compared) *comparedPart {
	if !slices.ContainsFunc(all, func(c compared) bool { return c.run.manifest.Owned != nil }) {
		return &comparedPart{}
	}
	return comparedPieces(all, "to_buy", "To buy, in pieces, as some are there", func(c *compared, part string, n int) int { return c.run.manifest.Owned.ToBuy(part, n) })
}

// comparedPieces is how many pieces of each part the designs take, as of counts them.
func comparedPieces(all []compared, table, title string, of func(c *compared, part string, pieces int) int) *comparedPart {
	t := newComparedPart(all, title, results.Right, "part", "vendor")
	seen := map[[2]string]bool{}
	for i := range all {
		for _, l := range all[i].design.Lenses {
			part := [2]string{l.Part, l.Vendor}
			if seen[part] {
				continue
			}
			seen[part] = true
			t.add(results.ComparedRow{Table: table, Name: l.Part, Vendor: l.Vendor, Values: eachOf(all, func(c *compared) any {
				n := 0
				for _, other := range c.design.Lenses {
					if other.Part == l.Part && other.Vendor == l.Vendor {
						n++
					}
				}
				if n == 0 {
					return nil
				}
				return of(c, l.Part, n)
			})}, l.Part, l.Vendor)
		}
	}
	return t
}

// groupOrder are the groups of any layout from the world to the eye.
var groupOrder = []string{"front", "relay", "relay2", "rear"}

// comparedLenses is which lens stands in which place.
func comparedLenses(all []compared) *comparedPart {
	t := newComparedPart(all, "Lenses from the world to the eye", results.Left, "group")
	for _, group := range groupOrder {
		most := 0
		for i := range all {
			for _, l := range all[i].design.Lenses {
				if l.Group == group {
					most = max(most, l.Position)
				}
			}
		}
		for position := 1; position <= most; position++ {
			about := group
			if most > 1 {
				about = fmt.Sprintf("%s, lens %d", group, position)
			}
			t.add(results.ComparedRow{Table: "lenses", Name: about, Values: eachOf(all, func(c *compared) any {
				for _, l := range c.design.Lenses {
					switch {
					case l.Group != group || l.Position != position:
					case l.Reversed:
						return l.Part + "/r"
					default:
						return l.Part
					}
				}
				return nil
			})}, about)
		}
	}
	return t
}

// comparedNumbers is what the designs reach, at which values of swept keys, and how
// many requirements and limits trains that were given fail.
func comparedNumbers(all []compared) *comparedPart {
	t := newComparedPart(all, "Reached", results.Right, "number", "unit")
	add := func(name, unit string, values []any) {
		t.add(results.ComparedRow{Table: "reached", Name: name, Unit: unit, Values: values}, name, unit)
	}
	if slices.ContainsFunc(all, func(c compared) bool { return len(c.design.Fails) > 0 }) {
		add("fails", "", eachOf(all, func(c *compared) any { return len(c.design.Fails) }))
	}
	for _, key := range sweptKeys(all) {
		add(key, "", eachOf(all, func(c *compared) any {
			for _, v := range c.point.Values {
				if v.Key == key {
					return v.Value.String()
				}
			}
			return nil
		}))
	}
	for _, column := range slices.Concat(results.DesignFacts(), []string{"f_front_mm", "f_relay_mm", "f_rear_mm", "gap1_mm", "gap_inner_mm", "gap2_mm"}) {
		unit, known := "", false
		values := eachOf(all, func(c *compared) any {
			value, of, ok := c.design.Number(column)
			unit = of
			if !ok {
				return nil
			}
			known = true
			return value
		})
		if known {
			add(column, unit, values)
		}
	}
	return t
}

func sweptKeys(all []compared) []string {
	var keys []string
	for i := range all {
		for _, v := range all[i].point.Values {
			if !slices.Contains(keys, v.Key) {
				keys = append(keys, v.Key)
			}
		}
	}
	return keys
}

// comparedMargins is by how much the designs keep what was asked of them. What was
// asked of one only has a line of its own.
func comparedMargins(all []compared) *comparedPart {
	t := newComparedPart(all, "Margins to what was asked", results.Right, "number", "asked", "unit")
	var asked []results.Asked
	for _, column := range results.DesignFacts() {
		for i := range all {
			for _, a := range all[i].point.AskedOf(all[i].design) {
				if a.Column == column && !slices.Contains(asked, a) {
					asked = append(asked, a)
				}
			}
		}
	}
	for _, a := range asked {
		sign, unit := "<= ", ""
		if a.Bound == results.AtLeast {
			sign = ">= "
		}
		values := eachOf(all, func(c *compared) any {
			if !slices.Contains(c.point.AskedOf(c.design), a) {
				return notAsked{}
			}
			_, margin, of, ok := a.Margin(c.design)
			unit = of
			if !ok {
				return nil
			}
			return margin
		})
		t.add(results.ComparedRow{Table: "margins", Name: a.Column, Unit: unit, Bound: a.Bound, Asked: &a.Value, Values: values},
			a.Column, sign+results.Fixed(a.Value, 3), unit)
	}
	return t
}
