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
	var points, ranks string
	cmd := &cobra.Command{
		Use:   "compare OUTPUT...",
		Short: "print designs side by side: parts, numbers, margins",
		Long: `compare prints designs side by side, of one run or of several: what each is made
of, what it reaches, and what margin it has to what was asked. A * before a line
says that the designs differ there.

Every rank given is taken of every sweep point given of every run.`,
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
			return printCompared(cmd.OutOrStdout(), all)
		},
	}
	cmd.Flags().StringVar(&ranks, "rank", "1", "ranks of the designs, from 1, as 1,4,7")
	cmd.Flags().StringVar(&points, "point", "0", "sweep points, from 0, as 0,1")
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

func printCompared(w io.Writer, all []compared) error {
	head := &results.Table{Columns: []results.Column{
		{Name: "", Align: results.Left}, {Name: "run", Align: results.Left}, {Name: "point"}, {Name: "rank"}, {Name: "design", Align: results.Left},
	}}
	for i := range all {
		head.Add(name(i), all[i].run.folder, strconv.Itoa(all[i].design.Point), strconv.Itoa(all[i].design.Rank), all[i].design.DesignID)
	}
	differing := false
	for i, part := range []struct {
		title string
		table *results.Table
	}{
		{"", head},
		{"Parts, in pieces", comparedParts(all, func(_ *compared, _ string, n int) int { return n })},
		{"To buy, in pieces, as some are there", comparedToBuy(all)},
		{"Lenses from the world to the eye", comparedLenses(all)},
		{"Reached", comparedNumbers(all)},
		{"Margins to what was asked", comparedMargins(all)},
	} {
		if len(part.table.Rows) == 0 {
			continue
		}
		if i > 0 {
			fmt.Fprintf(w, "\n%s\n", part.title)
			for _, row := range part.table.Rows {
				differing = differing || row[0] != ""
			}
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

// comparedTable is a table with a column for marks, columns that say what stands in
// a row, and one for each design.
func comparedTable(all []compared, align results.Align, about ...string) *results.Table {
	t := &results.Table{Columns: []results.Column{{Name: "", Align: results.Left}}}
	for _, head := range about {
		t.Columns = append(t.Columns, results.Column{Name: head, Align: results.Left})
	}
	for i := range all {
		t.Columns = append(t.Columns, results.Column{Name: name(i), Align: align})
	}
	return t
}

// addCompared adds a row with its mark.
func addCompared(t *results.Table, about, cells []string) {
	mark := ""
	if slices.ContainsFunc(cells, func(c string) bool { return c != cells[0] }) {
		mark = "*"
	}
	t.Add(slices.Concat([]string{mark}, about, cells)...)
}

// cellsOf are the cells of a row, one for each design.
func cellsOf(all []compared, cell func(*compared) string) []string {
	cells := make([]string, len(all))
	for i := range all {
		cells[i] = cell(&all[i])
	}
	return cells
}

// comparedToBuy is how many pieces of each part have to be bought; empty where no run was
// told of what is there.
func comparedToBuy(all []compared) *results.Table {
	if !slices.ContainsFunc(all, func(c compared) bool { return c.run.manifest.Owned != nil }) {
		return &results.Table{}
	}
	return comparedParts(all, func(c *compared, part string, n int) int { return c.run.manifest.Owned.ToBuy(part, n) })
}

// comparedParts is how many pieces of each part the designs take, as of counts them.
func comparedParts(all []compared, of func(c *compared, part string, pieces int) int) *results.Table {
	t := comparedTable(all, results.Right, "part", "vendor")
	seen := map[[2]string]bool{}
	for i := range all {
		for _, l := range all[i].design.Lenses {
			part := [2]string{l.Part, l.Vendor}
			if seen[part] {
				continue
			}
			seen[part] = true
			addCompared(t, part[:], cellsOf(all, func(c *compared) string {
				n := 0
				for _, other := range c.design.Lenses {
					if other.Part == l.Part && other.Vendor == l.Vendor {
						n++
					}
				}
				if n == 0 {
					return results.Null
				}
				return strconv.Itoa(of(c, l.Part, n))
			}))
		}
	}
	return t
}

// groupOrder are the groups of any layout from the world to the eye.
var groupOrder = []string{"front", "relay", "relay2", "rear"}

// comparedLenses is which lens stands in which place.
func comparedLenses(all []compared) *results.Table {
	t := comparedTable(all, results.Left, "group")
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
			addCompared(t, []string{about}, cellsOf(all, func(c *compared) string {
				for _, l := range c.design.Lenses {
					switch {
					case l.Group != group || l.Position != position:
					case l.Reversed:
						return l.Part + "/r"
					default:
						return l.Part
					}
				}
				return results.Null
			}))
		}
	}
	return t
}

// comparedNumbers is what the designs reach, at which values of swept keys, and how
// many requirements and limits trains that were given fail.
func comparedNumbers(all []compared) *results.Table {
	t := comparedTable(all, results.Right, "number", "unit")
	if slices.ContainsFunc(all, func(c compared) bool { return len(c.design.Fails) > 0 }) {
		addCompared(t, []string{"fails", ""}, cellsOf(all, func(c *compared) string { return strconv.Itoa(len(c.design.Fails)) }))
	}
	for _, key := range sweptKeys(all) {
		addCompared(t, []string{key, ""}, cellsOf(all, func(c *compared) string {
			for _, v := range c.point.Values {
				if v.Key == key {
					return v.Value.String()
				}
			}
			return results.Null
		}))
	}
	for _, column := range slices.Concat(results.DesignFacts(), []string{"f_front_mm", "f_relay_mm", "f_rear_mm", "gap1_mm", "gap_inner_mm", "gap2_mm"}) {
		unit, any := "", false
		cells := cellsOf(all, func(c *compared) string {
			value, of, ok := c.design.Number(column)
			unit = of
			if !ok {
				return results.Null
			}
			any = true
			return results.Fixed(value, 3)
		})
		if any {
			addCompared(t, []string{column, unit}, cells)
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
func comparedMargins(all []compared) *results.Table {
	t := comparedTable(all, results.Right, "number", "asked", "unit")
	var asked []results.Asked
	for _, column := range results.DesignFacts() {
		for i := range all {
			for _, a := range all[i].point.Asked {
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
		cells := cellsOf(all, func(c *compared) string {
			if !slices.Contains(c.point.Asked, a) {
				return "not asked"
			}
			_, margin, of, ok := a.Margin(c.design)
			unit = of
			if !ok {
				return results.Null
			}
			return results.Fixed(margin, 3)
		})
		addCompared(t, []string{a.Column, sign + results.Fixed(a.Value, 3), unit}, cells)
	}
	return t
}
