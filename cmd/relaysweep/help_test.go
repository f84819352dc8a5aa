package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/mattn/go-runewidth"

	"relaysweep/results"
	"relaysweep/sweep/spec"
)

// topic is what relaysweep help prints of a topic.
func topic(t *testing.T, name string) string {
	t.Helper()
	return must(t, exitDone, "help", name).stdout
}

// firstWords counts the first words of lines.
func firstWords(text string) map[string]int {
	words := map[string]int{}
	for line := range strings.Lines(text) {
		if fields := strings.Fields(line); len(fields) > 0 {
			words[fields[0]]++
		}
	}
	return words
}

// TestHelpTopics: every topic says something, in lines that a terminal of 100 columns
// holds, without colours; another one is refused with the list of them.
func TestHelpTopics(t *testing.T) {
	for _, about := range helpTopics {
		text := topic(t, about.name)
		if strings.Count(text, "\n") < 10 || strings.Contains(text, "\x1b") {
			t.Errorf("help %s:\n%s", about.name, text)
		}
		for line := range strings.Lines(text) {
			if line = strings.TrimSuffix(line, "\n"); runewidth.StringWidth(line) > helpWidth || line != strings.TrimRight(line, " \t") {
				t.Errorf("help %s: %q", about.name, line)
			}
		}
		if !strings.Contains(must(t, exitDone, "help", "help").stdout, about.name) || !strings.Contains(must(t, exitDone, "--help").stdout, about.name) {
			t.Errorf("help does not name its topic %s", about.name)
		}
	}
	if below := must(t, exitDone, "help", "catalog", "import").stdout; !strings.Contains(below, "--suggest") {
		t.Errorf("help catalog import: %s", below)
	}
	for _, args := range [][]string{{"help", "nosuch"}, {"help", "keys", "columns"}} {
		if o := must(t, exitWrong, args...); o.stdout != "" || args[1] == "nosuch" && !strings.Contains(o.stderr, topicNames()) {
			t.Errorf("%v: %q", args, o.stderr)
		}
	}
}

// TestHelpKeys compares the keys that help tells with the source of the list from which the
// spec's reader works, and lets check read a spec with every key at the default told.
func TestHelpKeys(t *testing.T) {
	entry := regexp.MustCompile(`(?m)^\t\{"(\w+)", "(\w+)", "[^"]*", `)
	var want, got []string
	for _, m := range entry.FindAllStringSubmatch(string(readFile(t, top, "sweep", "spec", "keys.go")), -1) {
		want = append(want, m[1]+"."+m[2])
	}
	for _, k := range spec.Keys() {
		got = append(got, k.String())
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("keys of the spec -, told +\n%s", diff)
	}
	text := topic(t, "keys")
	var document strings.Builder
	section := ""
	for _, k := range spec.Keys() {
		_, below, found := strings.Cut(text, "\n["+k.Section+"]\n")
		if below, _, _ = strings.Cut(below, "\n\n"); !found || firstWords(below)[k.Name] != 1 {
			t.Errorf("help does not tell of %s", k.String())
		}
		if k.Section != section {
			section = k.Section
			fmt.Fprintf(&document, "[%s]\n", section)
		}
		value := k.Default
		switch {
		case k.String() == "job.name":
			value = `"keys"`
		case k.String() == "job.output":
			value = `"out/keys"`
		case k.String() == "catalog.files":
			value = `["lenses.csv"]`
		case k.Required:
			value = "20"
		case value == "":
			value = "1"
		}
		fmt.Fprintf(&document, "%s = %s\n", k.Name, value)
	}
	folder := t.TempDir()
	path := filepath.Join(folder, "keys.toml")
	for name, text := range map[string]string{path: document.String(), filepath.Join(folder, "lenses.csv"): smallLenses(fewFocals)} {
		if err := os.WriteFile(name, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	// Every limit at 1 can't be met, which check only tells of a spec that it has read.
	must(t, exitNothing, "check", path)
}

// TestHelpColumns: help tells of every column in the files of a run, in their order.
func TestHelpColumns(t *testing.T) {
	text := topic(t, "columns")
	ranked, setpoints, found := strings.Cut(text, "\nsetpoints.parquet")
	if !found {
		t.Fatal("help does not tell of the stage table")
	}
	output := finishedJob(t)
	for file, told := range map[string]struct {
		text string
		docs []results.ColumnDoc
	}{rankedFile: {ranked, results.RankedColumnDocs()}, setpointsFile: {setpoints, results.SetpointColumnDocs()}} {
		var got []string
		words := firstWords(told.text)
		for _, d := range told.docs {
			if words[d.Name] == 0 || d.Description == "" {
				t.Errorf("%s: help does not tell of %s", file, d.Name)
			}
			if !strings.Contains(d.Name, ".") {
				got = append(got, d.Name)
			}
		}
		var want []string
		for _, f := range readTable(t, filepath.Join(output, file)).Schema().Fields() {
			want = append(want, f.Name)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s: columns of the file -, told +\n%s", file, diff)
		}
	}
}
