package main

import (
	"bytes"
	"flag"
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
	r.picture(filepath.Join(top, "testdata", "demo", "quick.svg"))
}

// picture holds the picture at the top against what report draws of the demo's run.
func (r *readme) picture(file string) {
	drawn := filepath.Join(r.t.TempDir(), "quick.svg")
	var stdout, stderr strings.Builder
	if code := run(r.t.Context(), []string{"report", filepath.Join(r.demo, "out", "quick"), "--drawing", drawn}, &stdout, &stderr); code != exitDone {
		r.t.Fatalf("exit code %d: %s", code, stderr.String())
	}
	now := readFile(r.t, drawn)
	switch {
	case string(now) == string(readFile(r.t, file)):
	case *update:
		if err := os.WriteFile(file, now, 0o666); err != nil {
			r.t.Fatal(err)
		}
	default:
		r.t.Errorf("%s is not what report draws; go test ./cmd/relaysweep -run TestReadme -update writes it", file)
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
