package main

import (
	"bytes"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"relaysweep/results"
	"relaysweep/sweep"
)

// contents are all files below a folder, by path, with what they hold.
func contents(t testing.TB, folder string) map[string]string {
	t.Helper()
	files := map[string]string{}
	for _, path := range listing(t, folder) {
		if info, err := os.Lstat(path); err == nil && info.Mode().IsRegular() {
			files[path] = string(readFile(t, path))
		}
	}
	return files
}

// restore makes a folder hold these files and nothing else.
func restore(t testing.TB, folder string, files map[string]string) {
	t.Helper()
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if err := os.RemoveAll(filepath.Join(folder, e.Name())); err != nil {
			t.Fatal(err)
		}
	}
	for path, text := range files {
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
}

// putFiles writes files below a folder, each holding its own name.
func putFiles(t testing.TB, folder string, names ...string) map[string]string {
	t.Helper()
	files := map[string]string{}
	for _, name := range names {
		path := filepath.Join(folder, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(name), 0o666); err != nil {
			t.Fatal(err)
		}
		files[path] = name
	}
	return files
}

// unchanged reports files that are not what they were.
func unchanged(t testing.TB, what string, before map[string]string) {
	t.Helper()
	for path, want := range before {
		if got, err := os.ReadFile(path); err != nil || string(got) != want {
			t.Errorf("%s: %s has changed: %v", what, path, err)
		}
	}
}

// TestForeignFiles: whatever else stands in an output folder, under names much like
// those that a run uses, is there after runs, after a merge and after a report.
func TestForeignFiles(t *testing.T) {
	spec := newJob(t)
	output := outputOf(spec)
	mine := putFiles(t, output, "notes.txt", "inputs/lenses-mine.csv", "inputs/lenses-7.csv", "inputs/.half.tmp", "inputs/glasses-.csv",
		"results.new/run.json", ".results.0123456789abcdef01234567.tmp/ranked.parquet", "ranked.parquet.old-1", "journal.new.txt")
	must(t, exitDone, "run", spec)
	unchanged(t, "run", mine)
	editSpec(t, spec, "top = 8", "top = 7")
	must(t, exitDone, "run", spec)
	must(t, exitDone, "run", "--restart", spec)
	must(t, exitDone, "report", output)
	unchanged(t, "another run", mine)
	if err := os.Remove(filepath.Join(output, manifestFile)); err != nil {
		t.Fatal(err)
	}
	editSpec(t, spec, "width_deg = 10", "width_deg = 9.5")
	for _, part := range []string{"1/2", "2/2"} {
		must(t, exitDone, "run", "--part", part, spec)
	}
	for path, text := range putFiles(t, output, "parts/notes.txt", "parts/1-of-2/mine.csv", "parts/1-of-2x/journal") {
		mine[path] = text
	}
	// The Parquet files are no longer known to be a run's, and are kept.
	ranked := readFile(t, output, rankedFile)
	o := must(t, exitDone, "merge", output)
	unchanged(t, "merge", mine)
	if !strings.Contains(o.stderr, "ranked.parquet.old-2") || !bytes.Equal(ranked, readFile(t, output, rankedFile+".old-2")) {
		t.Errorf("the table of nobody was not kept: %s", o.stderr)
	}
	must(t, exitDone, "merge", output)
}

// TestForeignNames: files of someone else under the very names that a run or a report
// uses are kept, and so is a page that someone has written notes into.
func TestForeignNames(t *testing.T) {
	spec := newJob(t)
	output := outputOf(spec)
	putFiles(t, output, sweep.JournalFile, logFile, reportFile)
	if o := must(t, exitFailed, "run", spec); !strings.Contains(o.stderr, "--restart") {
		t.Errorf("says %s", o.stderr)
	}
	must(t, exitDone, "run", "--restart", spec)
	must(t, exitDone, "report", output)
	must(t, exitDone, "report", output, "--designs", "1")
	for _, name := range []string{sweep.JournalFile, logFile, reportFile} {
		if text := string(readFile(t, output, name+".old-1")); text != name {
			t.Errorf("%s holds %q", name, text)
		}
	}
	page := append(readFile(t, output, reportFile), "<p>Ordered on Monday"...)
	if err := os.WriteFile(filepath.Join(output, reportFile), page, 0o666); err != nil {
		t.Fatal(err)
	}
	must(t, exitDone, "report", output)
	if !bytes.Equal(page, readFile(t, output, reportFile+".old-2")) {
		t.Error("the notes are gone")
	}
	if _, err := os.Stat(filepath.Join(output, reportFile+".old-3")); err == nil {
		t.Error("a page of ours was kept")
	}
}

// TestOutputHoldsInputs: an output folder that holds spec or tables is refused, by
// way of a link as well, before anything is made.
func TestOutputHoldsInputs(t *testing.T) {
	for _, c := range []struct{ output, files, want string }{
		{".", "inputs/lenses-mine.csv", "job.toml and inputs/lenses-mine.csv"},
		{"out", "out/inputs/lenses-1.csv", "contains out/inputs/lenses-1.csv"},
		{"..", "lenses.csv", "job.toml and lenses.csv"},
		{"linked", "there/lenses.csv", "contains there/lenses.csv"},
		{"there", "link.csv", "contains link.csv"},
	} {
		spec := newJob(t, `name = "small"`, fmt.Sprintf("name = \"small\"\noutput = %q", c.output), `files = ["lenses.csv"]`, fmt.Sprintf("files = [%q]", c.files))
		folder := filepath.Dir(spec)
		lenses := readFile(t, folder, "lenses.csv")
		for _, name := range []string{"inputs/lenses-mine.csv", "out/inputs/lenses-1.csv", "there/lenses.csv"} {
			putFiles(t, folder, name)
			if err := os.WriteFile(filepath.Join(folder, name), lenses, 0o666); err != nil {
				t.Fatal(err)
			}
		}
		for link, to := range map[string]string{"linked": "there", "link.csv": "there/lenses.csv"} {
			if err := os.Symlink(to, filepath.Join(folder, link)); err != nil {
				t.Fatal(err)
			}
		}
		for _, command := range []string{"run", "check"} {
			leftNothing(t, folder, func() {
				o := must(t, exitWrong, command, spec)
				if !strings.Contains(o.stderr, "job.toml:3: job.output") || !strings.Contains(o.stderr, c.want) {
					t.Errorf("%s: %s", c.output, o.stderr)
				}
			})
		}
	}
}

// TestUnknownResults: results that are damaged, or that nobody can tell whose they
// are, are neither shown nor replaced; with --restart they are kept beside the new.
func TestUnknownResults(t *testing.T) {
	spec := newJob(t)
	output := outputOf(spec)
	must(t, exitDone, "run", spec)
	want := parquetOf(t, spec)
	for _, name := range []string{rankedFile, setpointsFile, manifestFile, "inputs/spec.toml", "inputs/lenses-1.csv"} {
		path := filepath.Join(output, name)
		bad := readFile(t, path)
		bad[len(bad)/2] ^= 1
		if err := os.WriteFile(path, bad, 0o666); err != nil {
			t.Fatal(err)
		}
		for _, args := range [][]string{{"run", spec}, {"show", output, "--rank", "1"}, {"report", output}} {
			leftNothing(t, output, func() {
				if args[0] == "show" && strings.HasPrefix(name, inputsFolder) {
					// The rows are whole: only what they were made from is not.
					o := must(t, exitDone, args...)
					if !strings.Contains(o.stderr, "warning: ") || !strings.Contains(o.stderr, "can't be traced again") {
						t.Errorf("%s: show says %s", name, o.stderr)
					}
					return
				}
				o := must(t, exitFailed, args...)
				if !strings.Contains(o.stderr, path) || !strings.Contains(o.stderr, "--restart") {
					t.Errorf("%s: %s says %s", name, args[0], o.stderr)
				}
			})
		}
		o := must(t, exitDone, "run", "--restart", spec)
		if !strings.Contains(o.stderr, path) || !bytes.Equal(bad, readFile(t, path+".old-1")) {
			t.Errorf("%s: was not kept: %s", name, o.stderr)
		}
		sameParquet(t, name, want, parquetOf(t, spec))
		must(t, exitDone, "report", output)
	}
	// Tables without a run.json.
	if err := os.Remove(filepath.Join(output, manifestFile)); err != nil {
		t.Fatal(err)
	}
	if o := must(t, exitFailed, "run", spec); !strings.Contains(o.stderr, rankedFile) || !strings.Contains(o.stderr, "--restart") {
		t.Errorf("says %s", o.stderr)
	}
	if o := must(t, exitFailed, "merge", output); !strings.Contains(o.stderr, "no parts") || !strings.Contains(o.stderr, "--restart") {
		t.Errorf("merge says %s", o.stderr)
	}
}

// journalOf kills a run before it writes results, so that its journal holds all.
func journalOf(t testing.TB, spec string) {
	t.Helper()
	p := program(t, "run", "--quiet", spec)
	p.Env = append(p.Env, killedAt+"=1")
	if o := ended(t, p); o.code != -1 || len(readIfThere(outputOf(spec), sweep.JournalFile)) == 0 {
		t.Fatalf("ended with %d: %s", o.code, o.stderr)
	}
}

// isWhole tells which of two runs' results a folder holds, all of which has to be
// whole: what show prints of it is what it printed then.
func isWhole(t testing.TB, output string, prints []string) int {
	t.Helper()
	o := invoke(t, "show", output, "--rank", "1")
	i := slices.Index(prints, o.stdout)
	if o.code != exitDone || o.stderr != "" || i < 0 {
		t.Fatalf("show ended with %d and printed\n%s%s", o.code, o.stdout, o.stderr)
	}
	return i
}

// TestKilledAtEachChange kills a run before each change that it makes to a folder
// with older results: these or the new ones stand there whole, and the same command
// goes on to the end. Likewise a merge.
func TestKilledAtEachChange(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name    string
		prepare func(spec string)
		command func(spec string) []string
	}{
		{"run", func(spec string) { journalOf(t, spec) }, func(spec string) []string { return []string{"run", "--quiet", spec} }},
		{"merge", func(spec string) {
			for _, part := range []string{"1/2", "2/2"} {
				must(t, exitDone, "run", "--quiet", "--part", part, spec)
			}
		}, func(spec string) []string { return []string{"merge", outputOf(spec)} }},
	} {
		// The old run had one table more, so that a copy has to go.
		spec := newJob(t, `files = ["lenses.csv"]`, `files = ["lenses.csv", "more.csv"]`)
		more := strings.NewReplacer("pc4", "more", "bc4", "less").Replace(smallLenses(fewFocals))
		if err := os.WriteFile(filepath.Join(filepath.Dir(spec), "more.csv"), []byte(more), 0o666); err != nil {
			t.Fatal(err)
		}
		output := outputOf(spec)
		must(t, exitDone, "run", "--quiet", spec)
		prints := []string{must(t, exitDone, "show", output, "--rank", "1").stdout}
		old := contents(t, output)
		editSpec(t, spec, `["lenses.csv", "more.csv"]`, `["lenses.csv"]`)
		editSpec(t, spec, "width_deg = 10", "width_deg = 9.5")
		must(t, exitDone, "run", "--quiet", spec)
		prints = append(prints, must(t, exitDone, "show", output, "--rank", "1").stdout)
		if prints[0] == prints[1] {
			t.Fatal("both runs print the same")
		}
		restore(t, output, old)
		c.prepare(spec)
		before := contents(t, output)
		for kill := 1; ; kill++ {
			restore(t, output, before)
			p := program(t, c.command(spec)...)
			p.Env = append(p.Env, fmt.Sprintf("%s=%d", killedAt, kill))
			o := ended(t, p)
			if o.code == exitDone {
				if kill < 12 {
					t.Errorf("%s: has only %d changes", c.name, kill-1)
				}
				t.Logf("%s: %d kills", c.name, kill-1)
				break
			}
			if o.code != -1 {
				t.Fatalf("%s: ended with %d: %s", c.name, o.code, o.stderr)
			}
			isWhole(t, output, prints)
			if o := invoke(t, c.command(spec)...); o.code != exitDone {
				t.Fatalf("%s, killed before change %d: then ended with %d: %s", c.name, kill, o.code, o.stderr)
			}
			if isWhole(t, output, prints) != 1 {
				t.Errorf("%s, killed before change %d: the old results are there in the end", c.name, kill)
			}
			onlyResults(t, spec)
		}
	}
}

// fullDisk is what a test of a full disk has: a folder with the results of a run,
// and those of another one that are to take their place.
type fullDisk struct {
	output string
	rows   *jobRows
	inputs []inputCopy
	old    map[string]string
}

func newFullDisk(t *testing.T, output string) *fullDisk {
	t.Helper()
	spec := newJob(t, `name = "small"`, fmt.Sprintf("name = \"small\"\noutput = %q", output))
	must(t, exitDone, "run", "--quiet", spec)
	// Another spec, and a catalog that is 300 kB longer.
	editSpec(t, spec, "top = 8", "top = 7")
	table := filepath.Join(filepath.Dir(spec), "lenses.csv")
	lenses := append(readFile(t, table), bytes.Repeat([]byte("# a shop's notes, on and on and on and on\n"), 7500)...)
	if err := os.WriteFile(table, lenses, 0o666); err != nil {
		t.Fatal(err)
	}
	job, err := sweep.Open(t.Context(), spec)
	if err != nil {
		t.Fatal(err)
	}
	outcomes, err := job.Run(t.Context(), sweep.Attempt{})
	if err != nil {
		t.Fatal(err)
	}
	d := &fullDisk{output: output, rows: rowsFrom(job, outcomes, origin()), old: contents(t, output)}
	if d.inputs, err = readInputs(job); err != nil {
		t.Fatal(err)
	}
	return d
}

// write writes the new results. Where that fails the old ones are there to the
// byte, and nothing else is.
func (d *fullDisk) write(t *testing.T, what string) (written bool) {
	t.Helper()
	err := writeAll(d.output, d.inputs, d.rows, io.Discard)
	run, errRun := openRun(d.output)
	if errRun != nil {
		t.Fatalf("%s: results are lost: %v, after %v", what, errRun, err)
	}
	if run.job.Spec.Job.Top == 7 {
		return true
	}
	if err == nil {
		t.Errorf("%s: no error, and the old results", what)
	}
	if now := contents(t, d.output); len(now) != len(d.old) {
		t.Errorf("%s: %d files, not %d", what, len(now), len(d.old))
	}
	unchanged(t, what, d.old)
	return false
}

// TestFullAtEachChange lets the disk be full from each change of a folder on.
func TestFullAtEachChange(t *testing.T) {
	defer func(f func(string) error) { beforeChange = f }(beforeChange)
	d := newFullDisk(t, filepath.Join(t.TempDir(), "out"))
	failed, done := 0, 0
	for full := 1; ; full++ {
		left, reached := full, false
		beforeChange = func(what string) error {
			// What removes something goes on.
			if left--; left <= 0 && !strings.HasPrefix(what, "remove") {
				reached = true
				return syscall.ENOSPC
			}
			return nil
		}
		if d.write(t, fmt.Sprintf("full at change %d", full)) {
			done++
		} else {
			failed++
		}
		beforeChange = func(string) error { return nil }
		if err := settle(d.output, io.Discard); err != nil {
			t.Error(err)
		}
		if stages, err := temporaries(d.output, stageBase); err != nil || len(stages) > 0 {
			t.Errorf("full at change %d: left %v", full, stages)
		}
		restore(t, d.output, d.old)
		if !reached {
			break
		}
	}
	if failed < 6 || done < 2 {
		t.Errorf("failed %d times and wrote %d times", failed, done)
	}
}

// flip damages a file by one or two bytes at random places.
func flip(t testing.TB, r *rand.Rand, path string, whole []byte) {
	t.Helper()
	bad := bytes.Clone(whole)
	for range 1 + r.IntN(2) {
		bad[r.IntN(len(bad))] ^= byte(1 + r.IntN(255))
	}
	if bytes.Equal(bad, whole) {
		bad[0] ^= 1
	}
	if err := os.WriteFile(path, bad, 0o666); err != nil {
		t.Fatal(err)
	}
}

// TestFlippedResults damages each file of a run's results: no command tells
// anything of it without saying so.
func TestFlippedResults(t *testing.T) {
	spec := newJob(t)
	output := outputOf(spec)
	must(t, exitDone, "run", spec)
	r := rand.New(rand.NewPCG(3, 4))
	flips := effort(12, 300)
	for _, name := range []string{rankedFile, setpointsFile, manifestFile, "inputs/spec.toml", "inputs/lenses-1.csv"} {
		path := filepath.Join(output, name)
		whole := readFile(t, path)
		for range flips {
			flip(t, r, path, whole)
			for _, args := range [][]string{{"show", output}, {"show", output, "--rank", "1"}, {"setpoints", output, "--depths", "0.5"}, {"run", spec}, {"report", output}} {
				if args[0] == "show" && strings.HasPrefix(name, inputsFolder) {
					continue // shows rows, which are whole
				}
				if o := invoke(t, args...); o.code != exitFailed || o.stdout != "" || !strings.Contains(o.stderr, path) || !strings.Contains(o.stderr, "--restart") {
					t.Fatalf("%s: %v ended with %d and printed\n%s%s", name, args, o.code, o.stdout, o.stderr)
				}
			}
		}
		if err := os.WriteFile(path, whole, 0o666); err != nil {
			t.Fatal(err)
		}
		t.Logf("%s: %d flips, all of them told", name, flips)
	}
	must(t, exitDone, "report", output)
}

// TestFlippedJournals damages the journals of a job and of its parts: the results
// are those of a whole one, or the command says what to do.
func TestFlippedJournals(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	flips := effort(6, 300)
	spec := newJob(t)
	output := outputOf(spec)
	must(t, exitDone, "run", spec)
	want := parquetOf(t, spec)
	for _, c := range []struct {
		name    string
		prepare func()
		journal string
		command []string
	}{
		{"run", func() { journalOf(t, spec) }, sweep.JournalFile, []string{"run", spec}},
		{"merge", func() {
			for _, part := range []string{"1/2", "2/2"} {
				must(t, exitDone, "run", "--part", part, spec)
			}
		}, "parts/2-of-2/journal", []string{"merge", output}},
	} {
		if err := os.RemoveAll(output); err != nil {
			t.Fatal(err)
		}
		c.prepare()
		before := contents(t, output)
		path := filepath.Join(output, c.journal)
		done, told := 0, 0
		for range flips {
			restore(t, output, before)
			flip(t, r, path, []byte(before[path]))
			switch o := invoke(t, c.command...); {
			case o.code == exitDone:
				done++
				sameParquet(t, c.name, want, parquetOf(t, spec))
			case (o.code == exitFailed || o.code == exitWrong) && (strings.Contains(o.stderr, "--restart") || strings.Contains(o.stderr, "unfinished")):
				told++
			default:
				t.Fatalf("%s: ended with %d: %s", c.name, o.code, o.stderr)
			}
		}
		t.Logf("%s: %d flips of a journal, %d of them told, %d mended", c.name, flips, told, done)
		if told+done != flips {
			t.Errorf("%s: %d and %d of %d", c.name, told, done, flips)
		}
	}
}

// TestForged has a run.json that fits by its digest and tables that don't belong to
// it: errors, no panics.
func TestForged(t *testing.T) {
	output := finishedJob(t)
	designs := readRanked(t, output)
	designs[0].Point = 3
	if err := results.WriteRanked(filepath.Join(output, rankedFile), nil, nil, designs); err != nil {
		t.Fatal(err)
	}
	seal(t, output)
	for _, text := range []string{"", "{}", "null", `{"points": []}`} {
		if text != "" {
			if err := os.WriteFile(filepath.Join(output, manifestFile), []byte(text), 0o666); err != nil {
				t.Fatal(err)
			}
		}
		for _, args := range [][]string{{"show", output}, {"show", output, "--rank", "1"}, {"report", output}, {"setpoints", output, "--depths", "1"}} {
			if o := must(t, exitFailed, args...); !strings.Contains(o.stderr, output) || !strings.Contains(o.stderr, "--restart") {
				t.Errorf("%q: %s says %s", text, args[0], o.stderr)
			}
		}
	}
}
