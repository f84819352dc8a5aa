package main

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "write what the README's commands print into the README")

// otherCommands are the README's commands that are not relaysweep's own.
var otherCommands = []string{"npm ci --prefix testdata/readers"}

// TestReadme runs the README: in blocks of ```console each line after $ is a
// command and what follows is what it prints on stdout, and each block of ```sql
// is asked of DuckDB and followed by its answer. It does so in a copy of the
// demo. With -update the README is written anew.
func TestReadme(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the demo")
	}
	file := filepath.Join(top, "README.md")
	written := string(readFile(t, file))
	r := readme{t: t, demo: filepath.Join(t.TempDir(), "demo")}
	if err := os.CopyFS(r.demo, os.DirFS(filepath.Join(top, "testdata", "demo"))); err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(filepath.Join(r.demo, "out")); err != nil {
		t.Fatal(err)
	}
	printed := r.again(written)
	if r.commands < 3 || r.queries < 1 {
		t.Errorf("found %d commands and %d queries", r.commands, r.queries)
	}
	switch {
	case printed == written:
	case *update:
		if err := os.WriteFile(file, []byte(printed), 0o666); err != nil {
			t.Fatal(err)
		}
	default:
		t.Errorf("README -, what its commands print +; go test ./cmd/relaysweep -run TestReadme -update writes it\n%s",
			cmp.Diff(strings.Split(written, "\n"), strings.Split(printed, "\n")))
	}
}

type readme struct {
	t                 *testing.T
	demo              string // a copy of testdata/demo
	commands, queries int
}

// again is the README with what its commands print now.
func (r *readme) again(text string) string {
	var out strings.Builder
	var block []string
	fence := "" // of the block that a line is in
	answer := ""
	for line := range strings.Lines(text) {
		switch {
		case fence == "" && strings.HasPrefix(line, "```"):
			fence = strings.TrimSpace(strings.TrimPrefix(line, "```"))
			if fence == "" {
				fence = "none"
			}
			block = nil
			out.WriteString(line)
		case fence != "" && strings.HasPrefix(line, "```"):
			switch {
			case fence == "console":
				out.WriteString(r.console(block))
			case fence == "text" && answer != "":
				out.WriteString(answer)
				answer = ""
			default:
				out.WriteString(strings.Join(block, ""))
				if fence == "sql" {
					answer = r.sql(strings.Join(block, ""))
				}
			}
			fence = ""
			out.WriteString(line)
		case fence != "":
			block = append(block, line)
		default:
			out.WriteString(line)
		}
	}
	return out.String()
}

// console runs the commands of a block.
func (r *readme) console(block []string) string {
	var out strings.Builder
	for _, line := range block {
		command, is := strings.CutPrefix(line, "$ ")
		if !is {
			continue
		}
		out.WriteString(line)
		command = strings.TrimSpace(command)
		if !slices.Contains(otherCommands, command) {
			out.WriteString(r.relaysweep(command))
		}
	}
	return out.String()
}

// heads is a command that shows the first lines of another's output.
var heads = regexp.MustCompile(`^(.*) \| head -n (\d+)$`)

// relaysweep runs one of its own commands, on the copy of the demo.
func (r *readme) relaysweep(command string) string {
	lines := -1
	if m := heads.FindStringSubmatch(command); m != nil {
		command = m[1]
		n, err := strconv.Atoi(m[2])
		if err != nil {
			r.t.Fatal(err)
		}
		lines = n
	}
	args, is := strings.CutPrefix(command, "go run ./cmd/relaysweep ")
	if !is {
		r.t.Errorf("README: nobody knows how to test %q", command)
		return ""
	}
	r.commands++
	var stdout, stderr bytes.Buffer
	code := run(r.t.Context(), strings.Fields(r.toCopy(args)), &stdout, &stderr)
	if code != exitDone && code != exitNothing {
		r.t.Errorf("README: %s ended with %d\n%s", command, code, stderr.String())
	}
	var out strings.Builder
	for line := range strings.Lines(r.fromCopy(stdout.String())) {
		if lines == 0 {
			break
		}
		lines--
		out.WriteString(line)
	}
	return out.String()
}

const demoFolder = "testdata/demo"

func (r *readme) toCopy(s string) string   { return strings.ReplaceAll(s, demoFolder, r.demo) }
func (r *readme) fromCopy(s string) string { return strings.ReplaceAll(s, r.demo, demoFolder) }

// sql asks DuckDB.
func (r *readme) sql(query string) string {
	r.queries++
	c := exec.CommandContext(r.t.Context(), "node", filepath.Join("testdata", "query.mjs"), filepath.Join(top, "testdata", "readers"))
	c.Stdin = strings.NewReader(r.toCopy(query))
	out, err := c.CombinedOutput()
	if err != nil {
		r.t.Errorf("README: %v\n%s\n%s", err, query, out)
	}
	return string(out)
}

// tableAfter are the cells of the rows of the README's table below a heading.
func tableAfter(t *testing.T, heading string) [][]string {
	t.Helper()
	_, text, found := strings.Cut(string(readFile(t, top, "README.md")), "\n"+heading+"\n")
	if !found {
		t.Fatalf("the README has no heading %q", heading)
	}
	var rows [][]string
	for line := range strings.Lines(text) {
		line = strings.TrimSpace(line)
		if strings.HasPrefix(line, "#") {
			break
		}
		if strings.HasPrefix(line, "|") {
			cells := strings.Split(strings.Trim(line, "|"), "|")
			for i := range cells {
				cells[i] = strings.Trim(strings.TrimSpace(cells[i]), "`")
			}
			rows = append(rows, cells)
		}
	}
	if len(rows) < 3 {
		t.Fatalf("the README has no table below %q", heading)
	}
	return rows[2:] // names and rule
}

// TestReadmeKeys compares the README's table of keys with the list that the
// spec's reader works from, and lets check read a spec with every key at the
// default that the table tells.
func TestReadmeKeys(t *testing.T) {
	// As the source has them: section, name, unit.
	entry := regexp.MustCompile(`(?m)^\t\{"(\w+)", "(\w+)", "[^"]*", `)
	var want []string
	for _, m := range entry.FindAllStringSubmatch(string(readFile(t, top, "sweep", "speckeys.go")), -1) {
		want = append(want, m[1]+"."+m[2])
	}
	var got []string
	var spec strings.Builder
	section := ""
	for _, row := range tableAfter(t, "### All keys") {
		got = append(got, row[0])
		s, name, _ := strings.Cut(row[0], ".")
		if s != section {
			section = s
			fmt.Fprintf(&spec, "[%s]\n", s)
		}
		value := row[1]
		switch {
		case row[0] == "job.name":
			value = `"keys"`
		case row[0] == "job.output":
			value = `"out/keys"`
		case row[0] == "catalog.files":
			value = `["lenses.csv"]`
		case value == "required":
			value = "20"
		case value == "none":
			value = "1"
		}
		fmt.Fprintf(&spec, "%s = %s\n", name, value)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("keys of the spec -, README +\n%s", diff)
	}
	folder := t.TempDir()
	path := filepath.Join(folder, "keys.toml")
	for name, text := range map[string]string{path: spec.String(), filepath.Join(folder, "lenses.csv"): smallLenses(fewFocals)} {
		if err := os.WriteFile(name, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	// Every limit at 1 can't be met, which check only tells of a spec that it has read.
	must(t, exitNothing, "check", path)
}

// TestReadmeSpec lets check read the README's example of a spec.
func TestReadmeSpec(t *testing.T) {
	_, text, found := strings.Cut(string(readFile(t, top, "README.md")), "```toml\n[job]\n")
	spec, _, ends := strings.Cut(text, "```")
	if !found || !ends {
		t.Fatal("the README has no example of a spec")
	}
	path := newJob(t)
	if err := os.WriteFile(path, []byte("[job]\n"+spec), 0o666); err != nil {
		t.Fatal(err)
	}
	must(t, exitDone, "check", path)
}

// TestReadmeColumns compares the README's tables of columns with what scripts
// rely on.
func TestReadmeColumns(t *testing.T) {
	for heading, want := range map[string][]fileColumn{
		"### ranked.parquet": rankedColumns(), "### setpoints.parquet": setpointColumns,
	} {
		var names, got [][2]string
		for _, c := range want {
			unit := map[string]string{"1": "", "none": ""}
			shown, plain := unit[c.Unit]
			if !plain {
				shown = c.Unit
			}
			names = append(names, [2]string{c.Name, shown})
		}
		for _, row := range tableAfter(t, heading) {
			got = append(got, [2]string{row[0], row[1]})
		}
		if diff := cmp.Diff(names, got); diff != "" {
			t.Errorf("%s: columns -, README +\n%s", heading, diff)
		}
	}
}

// TestReadmeCautions: what can hurt is told in the README in the words of the
// command.
func TestReadmeCautions(t *testing.T) {
	words := func(s string) string { return strings.Join(strings.Fields(s), " ") }
	text := words(string(readFile(t, top, "README.md")))
	_, told, _ := strings.Cut(cautions, "\n")
	if !strings.Contains(text, words(told)) {
		t.Errorf("the README does not say: %s", words(told))
	}
	for _, command := range []string{"go run ./cmd/relaysweep run testdata/demo/quick.toml", "bash .ci/test"} {
		if !strings.Contains(text, command) {
			t.Errorf("the README does not name the command %s", command)
		}
	}
}
