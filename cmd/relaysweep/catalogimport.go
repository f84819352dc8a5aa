package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"relaysweep/catalog"
	"relaysweep/catalog/sheet"
	"relaysweep/results"
)

func newCatalogImportCommand() *cobra.Command {
	var mapFile, output, sheetName string
	var glasses []string
	var suggest, leaveOut bool
	var headerRow int
	c := &cobra.Command{
		Use:   "import FILE.csv|FILE.xlsx --map MAP.toml -o LENSES.csv",
		Short: "make a lens table of a shop's spreadsheet",
		Long: `Makes a lens table of a spreadsheet. A map in TOML says which of its columns
feeds which of a lens table, with unit, sign and notation; --suggest proposes
one. See relaysweep help tables.

Radii that the sheet does not give are computed where kind, focal length, glass
and thickness leave one answer; the column derived of the table names them.
Rows that make no lens are listed with the reason. What cannot be read is an
error, all of a sheet at once, and then no table is written.

A table of that name is replaced only if an import has written it and nobody
has changed it since.`,
		Example: "  relaysweep catalog import --suggest shop.xlsx > map.toml\n  relaysweep catalog import shop.xlsx --map map.toml -o lenses.csv",
		Args:    oneArgument("the spreadsheet"),
		RunE: func(cmd *cobra.Command, args []string) error {
			file := catalog.File{Path: args[0], Shown: args[0]}
			if suggest {
				if mapFile != "" || output != "" || leaveOut {
					return usageError{errors.New("--suggest prints a map, and takes neither --map, -o nor --leave-out")}
				}
				text, err := sheet.Suggest(file, sheetName, headerRow)
				if err != nil {
					return err
				}
				_, err = io.WriteString(cmd.OutOrStdout(), text)
				return err
			}
			switch {
			case mapFile == "":
				return usageError{errors.New("import takes --map, the map of the sheet's columns; --suggest proposes one")}
			case output == "":
				return usageError{errors.New("import takes -o, the lens table to write")}
			case sheetName != "" || headerRow != 0:
				return usageError{errors.New("--sheet and --header-row go with --suggest; the map holds the keys sheet and header_row")}
			}
			return importSheet(cmd, file, mapFile, output, glasses, leaveOut)
		},
	}
	c.Flags().StringVar(&mapFile, "map", "", "the map of the sheet's columns, a TOML file")
	c.Flags().StringVarP(&output, "output", "o", "", "the lens table to write")
	c.Flags().BoolVar(&suggest, "suggest", false, "print a map to start from, by header and first rows")
	c.Flags().StringVar(&sheetName, "sheet", "", "with --suggest: the sheet of a workbook; the first if not given")
	c.Flags().IntVar(&headerRow, "header-row", 0, "with --suggest: the row with the column names, from 1; found out if not given")
	c.Flags().BoolVar(&leaveOut, "leave-out", false, "leave out rows with errors, and list them, instead of writing nothing")
	c.Flags().StringArrayVar(&glasses, "glasses", nil, "a glass table besides the built-in one; may be given several times")
	return c
}

func importSheet(cmd *cobra.Command, file catalog.File, mapFile, output string, glassFiles []string, leaveOut bool) error {
	data, err := catalog.ReadFile(mapFile, sheet.MapBytesMost)
	if err != nil {
		return catalog.Faults{{File: mapFile, Found: "cannot be read: " + err.Error(), Want: "a map in TOML; relaysweep catalog import --suggest proposes one"}}
	}
	m, faults := sheet.ReadMap(data, mapFile)
	options := sheet.Options{LeaveOutFaulty: leaveOut}
	var glasses []*catalog.Glass
	for _, path := range glassFiles {
		data, err := catalog.ReadFile(path, catalog.TableBytesMost)
		if err != nil {
			faults = append(faults, catalog.Fault{File: path, Found: "cannot be read: " + err.Error(), Want: "a glass table in CSV"})
			continue
		}
		found, _, wrong := catalog.ReadGlasses(data, path)
		glasses, faults = append(glasses, found...), append(faults, wrong...)
	}
	if err := faults.Err(); err != nil {
		return err
	}
	options.Glasses = catalog.NewGlassTable(append(glasses, catalog.BuiltinGlasses().Glasses()...)...)
	if err := mayReplace(output); err != nil {
		return err
	}
	var outcome *sheet.Outcome
	var wrong error // of the sheet, which the name of the table does not concern
	err = results.WriteWhole(output, func(w io.Writer) error {
		sum := sha256.New()
		outcome, wrong = sheet.Import(cmd.Context(), file, m, options, io.MultiWriter(w, sum))
		if wrong != nil {
			return wrong
		}
		_, err := io.WriteString(w, sealOf(sum.Sum(nil)))
		return err
	})
	if wrong != nil {
		return wrong
	}
	if err != nil {
		return err
	}
	for _, f := range outcome.Warnings {
		fmt.Fprintf(cmd.ErrOrStderr(), "warning: %s\n", f.Error())
	}
	return printImport(cmd.OutOrStdout(), output, outcome)
}

const sealBefore = "# sha256 of the lines above: "

// sealOf is the last line of an imported table. It proves that nobody has
// changed the table since.
func sealOf(sum []byte) string { return sealBefore + hex.EncodeToString(sum) + "\n" }

// mayReplace refuses to write over a file that no import has written, or that
// has been changed.
func mayReplace(path string) error {
	_, err := os.Lstat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	data, err := catalog.ReadFile(path, catalog.TableBytesMost+int64(len(sealOf(make([]byte, sha256.Size)))))
	if err == nil {
		if at := bytes.LastIndex(data, []byte(sealBefore)); at >= 0 {
			if sum := sha256.Sum256(data[:at]); string(data[at:]) == sealOf(sum[:]) {
				return nil
			}
		}
	}
	return usageError{fmt.Errorf("%s is there already, and not as an import has written it: name another file, or remove that one", catalog.Visible(path))}
}

func printImport(w io.Writer, output string, o *sheet.Outcome) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s of %s", catalog.Visible(output), counted(o.Lenses, "lens"), counted(o.Rows, "row"))
	if o.Skipped > 0 {
		fmt.Fprintf(&b, ", %d skipped by the map", o.Skipped)
	}
	if o.Derived > 0 {
		fmt.Fprintf(&b, "\n%s with computed radii (column derived)", counted(o.Derived, "lens"))
	}
	left := 0
	for _, l := range o.LeftOut {
		left += l.Count
	}
	if left > 0 {
		fmt.Fprintf(&b, "\nleft out: %s", counted(left, "row"))
		for _, l := range o.LeftOut {
			more := ""
			if l.Count > len(l.Parts) {
				more = ", ..."
			}
			fmt.Fprintf(&b, "\n  %s: %s\n    rows %s", counted(l.Count, "row"), catalog.Visible(l.Reason), l.Rows())
			if len(l.Parts) > 0 {
				fmt.Fprintf(&b, " (%s%s)", catalog.Visible(strings.Join(l.Parts, ", ")), more)
			}
		}
	}
	_, err := io.WriteString(w, b.String()+"\n")
	return err
}
