package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"relaysweep/catalog"
	"relaysweep/results"
)

// errWrongTables tells that tables are wrong, and that this is said already.
var errWrongTables = errors.New("the tables are wrong")

func newCatalogCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "catalog",
		Short: "make lens tables of a shop's spreadsheet, check them, list their lenses",
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return nil
			}
			return noCommand(cmd, args[0])
		},
		SuggestionsMinimumDistance: 2,
		RunE:                       func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	c.AddCommand(newCatalogImportCommand(), newCatalogCheckCommand(), newCatalogListCommand())
	return c
}

// someArguments demands at least one argument and says what they are.
func someArguments(what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) == 0 {
			return usageError{fmt.Errorf("%s takes at least one argument, %s", cmd.Name(), what)}
		}
		return nil
	}
}

func filesOf(paths []string) []catalog.File {
	files := make([]catalog.File, len(paths))
	for i, p := range paths {
		files[i] = catalog.File{Path: p, Shown: p}
	}
	return files
}

func newCatalogCheckCommand() *cobra.Command {
	var glasses []string
	c := &cobra.Command{
		Use:   "check FILES...",
		Short: "say what is wrong with lens tables, and what is doubtful",
		Long: `Reads lens tables as run does, and lists what is wrong with file, line, column
and severity: an error keeps a table from being used, a warning does not.
Parts have to be unique over all tables given together.

Exit codes: 0 no errors, 2 errors.`,
		Args: someArguments("the lens tables"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return checkTables(cmd.OutOrStdout(), filesOf(args), filesOf(glasses))
		},
	}
	c.Flags().StringArrayVar(&glasses, "glasses", nil, "a glass table besides the built-in one; may be given several times")
	return c
}

func checkTables(w io.Writer, lenses, glasses []catalog.File) error {
	var wrong catalog.Faults
	for _, f := range lenses {
		if strings.EqualFold(filepath.Ext(f.Path), ".xlsx") {
			wrong = append(wrong, catalog.Fault{File: f.Shown, Found: "the file is a workbook, no lens table", Want: "a table in CSV; relaysweep catalog import makes one"})
		}
	}
	if len(wrong) > 0 {
		return wrong
	}
	c, err := catalog.Load(lenses, glasses)
	if err != nil && !errors.As(err, &wrong) {
		return err
	}
	doubtful := warningsOf(lenses, glasses)
	if c != nil {
		doubtful = c.Warnings
	}
	for _, f := range wrong {
		fmt.Fprintf(w, "error    %s\n", f.Error())
	}
	for _, f := range doubtful {
		fmt.Fprintf(w, "warning  %s\n", f.Error())
	}
	if len(wrong)+len(doubtful) > 0 {
		fmt.Fprintln(w)
	}
	if c != nil {
		for _, t := range c.Tables {
			fmt.Fprintf(w, "%s: %s\n", t.File, counted(t.Lenses, "lens"))
		}
	}
	fmt.Fprintf(w, "%s, %s\n", counted(len(wrong), "error"), counted(len(doubtful), "warning"))
	if len(wrong) > 0 {
		return errWrongTables
	}
	return nil
}

// warningsOf are the warnings of tables that are wrong, each read by itself.
func warningsOf(lenses, glasses []catalog.File) []catalog.Fault {
	var all []catalog.Fault
	var known []*catalog.Glass
	for _, f := range glasses {
		if data, err := catalog.ReadFile(f.Path, catalog.TableBytesMost); err == nil {
			found, warnings, _ := catalog.ReadGlasses(data, f.Shown)
			known = append(known, found...)
			all = append(all, warnings...)
		}
	}
	table := catalog.NewGlassTable(append(known, catalog.BuiltinGlasses().Glasses()...)...)
	for _, f := range lenses {
		if data, err := catalog.ReadFile(f.Path, catalog.TableBytesMost); err == nil {
			_, warnings, _ := catalog.ReadLenses(data, f.Shown, table)
			all = append(all, warnings...)
		}
	}
	return all
}

// interval is a range of lengths, both ends included.
type interval struct{ least, most float64 }

func (r interval) holds(x float64) bool { return r.least <= x && x <= r.most }

// parseInterval reads a range as 20..50, 20.. or ..50.
func parseInterval(name, text string) (interval, error) {
	all := interval{math.Inf(-1), math.Inf(1)}
	if text == "" {
		return all, nil
	}
	wrong := usageError{fmt.Errorf("--%s takes a range in mm as 20..50, 20.. or ..50, found %q", name, text)}
	first, last, ok := strings.Cut(text, "..")
	if !ok || first == "" && last == "" {
		return all, wrong
	}
	for _, end := range []struct {
		text string
		into *float64
	}{{first, &all.least}, {last, &all.most}} {
		if end.text == "" {
			continue
		}
		x, err := strconv.ParseFloat(end.text, 64)
		if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
			return all, wrong
		}
		*end.into = x
	}
	if all.least > all.most {
		return all, usageError{fmt.Errorf("--%s %s holds nothing: the smaller end comes first", name, text)}
	}
	return all, nil
}

func newCatalogListCommand() *cobra.Command {
	var glasses, kinds []string
	var focal, diameter string
	c := &cobra.Command{
		Use:   "list FILES...",
		Short: "list the lenses of tables, by kind, focal length and diameter",
		Long: `Lists the lenses of lens tables in their order. Focal lengths are computed from
the prescription at the e line, 546.07 nm; a diverging lens has a negative one.
Ranges hold their ends.

Exit codes: 0 lenses listed, 2 a table or the command line is wrong, 3 no lens
is of that kind and size.`,
		Example: "  relaysweep catalog list lenses.csv --kind 'plano-*' --focal 20..50 --diameter ..25.4",
		Args:    someArguments("the lens tables"),
		RunE: func(cmd *cobra.Command, args []string) error {
			within, err := parseInterval("focal", focal)
			if err != nil {
				return err
			}
			wide, err := parseInterval("diameter", diameter)
			if err != nil {
				return err
			}
			c, err := catalog.Load(filesOf(args), filesOf(glasses))
			if err != nil {
				return err
			}
			for _, f := range c.Warnings {
				fmt.Fprintf(cmd.ErrOrStderr(), "warning: %s\n", f.Error())
			}
			return listLenses(cmd.OutOrStdout(), c.Lenses, kinds, within, wide)
		},
	}
	c.Flags().StringArrayVar(&kinds, "kind", nil, "a kind, * for any text and ? for any character; may be given several times")
	c.Flags().StringVar(&focal, "focal", "", "range of focal lengths in mm, as 20..50, 20.. or ..50")
	c.Flags().StringVar(&diameter, "diameter", "", "range of diameters in mm")
	c.Flags().StringArrayVar(&glasses, "glasses", nil, "a glass table besides the built-in one; may be given several times")
	return c
}

func listLenses(w io.Writer, lenses []*catalog.Lens, kinds []string, focal, diameter interval) error {
	t := results.Table{Columns: []results.Column{
		{Name: "part", Align: results.Left}, {Name: "kind", Align: results.Left}, {Name: "vendor", Align: results.Left},
		{Name: "diameter", Unit: "mm"}, {Name: "clear", Unit: "mm"}, {Name: "focal", Unit: "mm"}, {Name: "back focal", Unit: "mm"},
		{Name: "thick", Unit: "mm"}, {Name: "glass", Align: results.Left}, {Name: "price"}, {Name: "stock"},
	}, Terminal: isTerminal(w)}
	facets := slices.ContainsFunc(lenses, func(l *catalog.Lens) bool { return slices.ContainsFunc(l.Surfaces, catalog.Surface.IsFaceted) })
	if facets {
		t.Columns = append(t.Columns, results.Column{Name: "pitch", Unit: "mm"}, results.Column{Name: "draft", Unit: "deg"})
	}
	for _, l := range lenses {
		ofKind := len(kinds) == 0
		for _, k := range kinds {
			ofKind = ofKind || catalog.MatchesName(k, l.Kind)
		}
		efl, bfl, _ := l.Cardinal(catalog.LineE)
		if !ofKind || !focal.holds(efl) || !diameter.holds(l.DiameterMM) {
			continue
		}
		thick := 0.0
		for _, d := range l.ThicknessMM {
			thick += d
		}
		glass := make([]string, len(l.Glasses))
		for i, g := range l.Glasses {
			glass[i] = g.Name
		}
		stock := results.Null
		if l.Stock != catalog.Unlimited {
			stock = strconv.Itoa(l.Stock)
		}
		row := []string{
			l.Part, l.Kind, l.Vendor, results.Fixed(l.DiameterMM, 2), results.Fixed(l.ClearMM, 2), results.Fixed(efl, 2), results.Fixed(bfl, 2),
			results.Fixed(thick, 2), strings.Join(glass, " + "), results.Fixed(l.Price, 2), stock,
		}
		if facets {
			pitch, draft := results.Null, results.Null
			for _, s := range l.Surfaces {
				if s.IsFaceted() {
					pitch, draft = results.Fixed(s.PitchMM, 3), results.Fixed(s.DraftDeg, 1)
				}
			}
			row = append(row, pitch, draft)
		}
		t.Add(row...)
	}
	listed := len(t.Rows)
	if listed > 0 {
		if err := t.Print(w); err != nil {
			return err
		}
	}
	fmt.Fprintf(w, "%d of %s\n", listed, counted(len(lenses), "lens"))
	if listed == 0 {
		return errNothing
	}
	return nil
}
