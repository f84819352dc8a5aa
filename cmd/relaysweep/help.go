package main

import (
	"embed"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/mattn/go-runewidth"
	"github.com/spf13/cobra"

	"relaysweep/results"
	"relaysweep/sweep/spec"
)

// helpTexts are the topics that are told in prose.
//
//go:embed help/*.txt
var helpTexts embed.FS

// helpTopic is a part of the reference.
type helpTopic struct {
	name, short string
	write       func(w io.Writer) error
}

var helpTopics = []helpTopic{
	{"keys", "every key of a spec, with its default", writeKeys},
	{"columns", "every column of the result files", writeColumns},
	{"tables", "lens and glass tables", helpText("tables")},
	{"search", "the exact walk, refinement, the population search, the ideal limit", helpText("search")},
	{"jobs", "long jobs, parts, clusters, the output folder, run.json", helpText("jobs")},
	{"report", "the page to order and build from, and rays", helpText("report")},
	{"setpoints", "the stage table, and when parts are off", helpText("setpoints")},
}

func helpText(name string) func(io.Writer) error {
	return func(w io.Writer) error {
		text, err := helpTexts.ReadFile("help/" + name + ".txt")
		if err == nil {
			_, err = w.Write(text)
		}
		return err
	}
}

func topicNames() string {
	names := make([]string, len(helpTopics))
	for i := range helpTopics {
		names[i] = helpTopics[i].name
	}
	return strings.Join(names, ", ")
}

func newHelpCommand() *cobra.Command {
	long := "Explains a command, or a topic of the reference:\n\n"
	for _, t := range helpTopics {
		long += fmt.Sprintf("  %-9s  %s\n", t.name, t.short)
	}
	return &cobra.Command{
		Use:   "help [COMMAND or TOPIC]",
		Short: "explain a command, or one of " + topicNames(),
		Long:  strings.TrimSuffix(long, "\n"),
		RunE: func(cmd *cobra.Command, args []string) error {
			root := cmd.Root()
			switch len(args) {
			case 0:
				return root.Help()
			case 1:
			default:
				if about, rest, err := root.Find(args); err == nil && len(rest) == 0 {
					about.InitDefaultHelpFlag()
					return about.Help()
				}
				return usageError{fmt.Errorf("help takes one command or topic; found %d", len(args))}
			}
			if i := slices.IndexFunc(helpTopics, func(t helpTopic) bool { return t.name == args[0] }); i >= 0 {
				return helpTopics[i].write(cmd.OutOrStdout())
			}
			if about, _, err := root.Find(args); err == nil && about != root {
				about.InitDefaultHelpFlag()
				return about.Help()
			}
			return usageError{fmt.Errorf("there is no command or topic %q; topics are %s", args[0], topicNames())}
		},
	}
}

// helpWidth is how many characters a line of the reference has at most.
const helpWidth = 100

func writeKeys(w io.Writer) error {
	var b strings.Builder
	b.WriteString("Keys of a spec: name, default, unit, meaning. \"-\" stands for no default: such a limit does not\n" +
		"limit. Paths are relative to the spec's folder. Unknown keys, wrong types and impossible values\n" +
		"are refused before anything runs, all of a file at once.\n")
	keys := spec.Keys()
	for from := 0; from < len(keys); {
		to := from
		var rows [][]string
		for ; to < len(keys) && keys[to].Section == keys[from].Section; to++ {
			k := &keys[to]
			value := k.Default
			switch {
			case k.Required:
				value = "required"
			case value == "":
				value = "-"
			}
			rows = append(rows, []string{k.Name, value, k.Unit, k.Meaning})
		}
		fmt.Fprintf(&b, "\n[%s]\n", keys[from].Section)
		writeWrapped(&b, rows)
		from = to
	}
	b.WriteString("\n[sweep]\n" +
		"Lists keys of the sections above with the values that they take; every combination is a sweep\n" +
		"point with a ranking of its own. The first key listed varies slowest. Any number or text may be\n" +
		"swept but those of [job].\n\n" +
		"  \"stage.travel_mm\" = [5.5, 10.0]\n" +
		"  \"field.width_deg\" = { from = 10, to = 20, steps = 3 }               # 10, 15, 20\n" +
		"  \"mask.pixel_um\" = { from = 10, to = 40, steps = 3, scale = \"log\" }  # 10, 20, 40\n")
	_, err := io.WriteString(w, b.String())
	return err
}

func writeColumns(w io.Writer) error {
	var b strings.Builder
	b.WriteString("Columns of the result files: name, unit, meaning. Each file carries them too, as field metadata\n" +
		"(unit, description). What does not exist is null, never NaN. A metric of +Inf says that more than\n" +
		"half of a bundle of rays was lost.\n\n" +
		"ranked.parquet: one row a design at a sweep point, ordered by sweep point and rank. Swept keys\n" +
		"stand after point, under their names in the spec. lenses, surfaces and samples are lists.\n")
	writeWrapped(&b, docRows(results.RankedColumnDocs()))
	b.WriteString("\nsetpoints.parquet: the stage table, one row a design and depth.\n")
	writeWrapped(&b, docRows(results.SetpointColumnDocs()))
	b.WriteString("\nyield.parquet: what builds of a design tell, one row a design (relaysweep tolerance).\n")
	writeWrapped(&b, docRows(results.YieldColumnDocs()))
	b.WriteString("\ntolerance.parquet: one row a build.\n")
	writeWrapped(&b, docRows(results.BuildColumnDocs(figures())))
	b.WriteString("\ncalibration-pointP-rankN.parquet and .csv: the corrected stage table (relaysweep calibrate).\n")
	writeWrapped(&b, docRows(results.StageRowColumnDocs()))
	_, err := io.WriteString(w, b.String())
	return err
}

func docRows(docs []results.ColumnDoc) [][]string {
	rows := make([][]string, len(docs))
	for i, d := range docs {
		rows[i] = []string{d.Name, d.Unit, d.Description}
	}
	return rows
}

// cellMost bounds the width of all cells but the last, which takes what is left.
const cellMost = 28

// writeWrapped writes rows of cells below each other, each cell wrapped in its column.
func writeWrapped(b *strings.Builder, rows [][]string) {
	last := len(rows[0]) - 1
	widths := make([]int, last+1)
	left := helpWidth - 2
	for c := range last {
		for _, row := range rows {
			for _, line := range wrapped(row[c], unitMost(c, last)) {
				widths[c] = max(widths[c], runewidth.StringWidth(line))
			}
		}
		left -= widths[c]
		if widths[c] > 0 {
			left -= 2
		}
	}
	widths[last] = left
	for _, row := range rows {
		lines := make([][]string, len(row))
		most := 0
		for c := range row {
			lines[c] = wrapped(row[c], widths[c])
			most = max(most, len(lines[c]))
		}
		for i := range most {
			line := "  "
			for c := range row {
				cell := ""
				if i < len(lines[c]) {
					cell = lines[c][i]
				}
				if widths[c] > 0 {
					line += runewidth.FillRight(cell, widths[c]) + "  "
				}
			}
			b.WriteString(strings.TrimRight(line, " ") + "\n")
		}
	}
}

// unitMost is the width that a cell may take before it is wrapped: a unit stands before the
// last cell, and some are whole words.
func unitMost(c, last int) int {
	if c == last-1 {
		return 8
	}
	return cellMost
}

// wrapped are the lines of a text of at most so many characters, unless a word has more.
func wrapped(text string, most int) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		switch {
		case line == "":
			line = word
		case runewidth.StringWidth(line)+1+runewidth.StringWidth(word) <= most:
			line += " " + word
		default:
			lines, line = append(lines, line), word
		}
	}
	return append(lines, line)
}
