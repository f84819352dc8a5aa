package spec

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"relaysweep/catalog"
)

// slipped is a spec with one line as a person may write it; the line is the 3rd.
func slipped(line string) string { return "[job]\nname = \"bench\"\n" + line + "\n[eye]\nbox_mm = 2\n" }

// Each slip of the notation is one plain sentence with the line and the mend.
func TestNotationSlips(t *testing.T) {
	for _, c := range []struct{ line, found, want string }{
		{"width_mm = 12mm", "width_mm = 12mm: a unit", "write 12"},
		{"width_mm = 12 mm # wide", "width_mm = 12 mm: a unit", "write 12"},
		{"near_m = 0,3", "near_m = 0,3: a decimal comma", "write 0.3"},
		{"x = −3", "x = −3: a typographic minus", "write -3"},
		{"x = .5", "x = .5: no digit before its point", "write 0.5"},
		{"x = 5.", "x = 5.: no digit behind its point", "write 5"},
		{`output = "out/a`, `output = "out/a: no quote at the end of the text`, `"out/a"`},
		{`output = 'out/a`, `output = 'out/a: no quote at the end of the text`, `"out/a"`},
		{`output = out/a"`, `output = out/a": a quote at one end of the text only`, `"out/a"`},
		{`output = out/a`, `output = out/a: a text without quotes`, `"out/a"`},
		{`output = "C:\lenses\a"`, `output = "C:\lenses\a": a backslash`, `'lenses\stock.csv'`},
		{`files = ["C:\lenses\a.csv"]`, `files = ["C:\lenses\a.csv"]: a backslash`, `'lenses\stock.csv'`},
		{`files = ["a.csv" "b.csv"]`, `files = ["a.csv" "b.csv"]: no list`, "with a comma between"},
		{`output = “out”`, "output = “out”: typographic quotes", `straight quotes`},
		{"x = 99999999999999999999", "x = 99999999999999999999: the number is too large", "at most 1000000000"},
		{"x = 007", "x = 007: a number that begins with 0", "without zeros"},
		{"x = True", "x = True: capital letters", "write true"},
		{"far_m = Inf", "far_m = Inf: capital letters", "write inf"},
		{"x =", "x: no value behind the =", "or the line left out"},
		{"x = # later", "x: no value behind the =", "or the line left out"},
		{"x = ?", "x = ?: no value", "a number as 0.3"},
		{"width_deg 15", "width_deg 15: no = between key and value", "key = value"},
		{"width: 15", "width: 15: no = between key and value", "key = value"},
		{"// note", "// note: no = between key and value", "comments begin with #"},
		{"width deg = 3", "width deg: no such key can be", "letters, digits, - and _"},
		{"= 3", "= 3: no key before the =", "key = value"},
		{`"eye.box_mm = [1]`, `"eye.box_mm = [1]: the key lacks one of its quotes`, `"field.width_deg"`},
		{"[field", "[field: no section header", "[field]"},
		{"field]", "field]: no section header", "[field]"},
		{"name = 'again'", "name = 'again': is there for the second time", "once"},
		{`output = "a" b`, `output = "a" b: something stands behind the text`, "comment"},
		{"x = [1, 2", "what begins here with a bracket, a brace or quotes is not closed", "each closed"},
		{`x = """abc`, "what begins here with a bracket, a brace or quotes is not closed", "each closed"},
		{"vendor = \"caf\xe9\"", "the byte 0xE9 is not UTF-8 (in Latin-1 it is é)", "encoding UTF-8"},
		{"x = \"a\x01\"", `x = "a\x01": a control character in the line`, "written anew"},
	} {
		_, err := parse("job.toml", []byte(slipped(c.line)))
		var faults catalog.Faults
		if !errors.As(err, &faults) || len(faults) != 1 {
			t.Errorf("%s: %v, want one fault", c.line, err)
			continue
		}
		f := faults[0]
		if f.Line != 3 || !strings.HasPrefix(f.Found, c.found) || !strings.Contains(f.Want, c.want) ||
			!strings.HasSuffix(f.Want, "the rest of the file was not checked") {
			t.Errorf("%s: %v\nwant %q and %q on line 3", c.line, f.Error(), c.found, c.want)
		}
	}
	// Inside a list of several lines it is the element's line.
	for _, c := range []struct{ list, want string }{
		{"files = [\n  \"a.csv\",\n  b.csv,\n]", "job.toml:5: files = b.csv: a text without quotes"},
		{"files = [\n  \"a.csv\",\n  \"b.csv,\n]", "job.toml:5: files = \"b.csv: no quote at the end of the text"},
		{"weights = [\n 1,\n 2mm,\n]", "job.toml:3: what begins here with a bracket, a brace or quotes is not closed, or lacks a comma"},
		{"weights = [\n 1,\n −2,\n]", "job.toml:5: weights = −2: a typographic minus"},
		{"files = [\n \"a\"\n \"b\"\n]", "job.toml:3: what begins here with a bracket, a brace or quotes is not closed, or lacks a comma"},
	} {
		if _, err := parse("job.toml", []byte(slipped(c.list))); err == nil || !strings.HasPrefix(err.Error(), c.want+"\n") {
			t.Errorf("%q: %v\nwant %s", c.list, err, c.want)
		}
	}
	// Escapes make control characters of a path: the key's rule names them.
	_, err := parse("job.toml", []byte(slipped(`output = "C:\new"`)))
	if err == nil || !strings.Contains(err.Error(), `job.toml:3: job.output: "C:\new" holds a control character (a backslash makes them`) {
		t.Errorf("an escape in a path: %v", err)
	}
	for _, output := range []string{"~/out", "out\u202egnp", "a\x7f"} {
		_, err := parse("job.toml", []byte(slipped(fmt.Sprintf("output = %q", output))))
		if err == nil || !strings.Contains(err.Error(), "job.toml:3: job.output: ") {
			t.Errorf("%q as an output: %v", output, err)
		}
	}
}

// What no spec holds is one sentence that names the limit, and costs no time.
func TestSpecsAreBounded(t *testing.T) {
	lines := func(n int, format string) string {
		var b strings.Builder
		for i := range n {
			fmt.Fprintf(&b, format, i)
		}
		return b.String()
	}
	for _, c := range []struct{ name, doc, want string }{
		{"dotted key", strings.Repeat("a.", 200_000) + "a = 1", "job.toml:1: a key has more than 8 parts"},
		{"dotted header", "[" + strings.Repeat("a . ", 200_000) + "a]", "job.toml:1: a key has more than 8 parts"},
		{"dotted key in a table", "\nx = {" + strings.Repeat("a.", 200_000) + "a=1}", "job.toml:2: a key has more than 8 parts"},
		{"quoted parts", strings.Repeat(`"a".`, 100_000) + "a = 1", "job.toml:1: a key has more than 8 parts"},
		{"dotted keys", lines(60_000, "a.b%d = 1\n"), "job.toml:10001: the spec has more than 10000 keys"},
		{"200000 dotted keys", lines(200_000, "a.b%d=1\n"), "job.toml: the spec holds 2288890 bytes\n    expected at most 1048576"},
		{"nested tables", "x = " + strings.Repeat("{a=", 100_000), "job.toml:1: brackets stand more than 16 deep"},
		{"nested lists", "x = " + strings.Repeat("[", 100_000), "job.toml:1: brackets stand more than 16 deep"},
		{"headers", lines(50_000, "[a.t%d]\n"), "job.toml:10001: the spec has more than 10000 keys"},
		{"long list", leastSpec + "[light]\nwavelengths_nm = [" + strings.Repeat("500,", 100_000) + "]", "a list of 100000, more than the 1000"},
		{"long texts", leastSpec + "[train]\nlayouts = [" + strings.Repeat(`"a",`, 1001) + "]", ""},
		{"workers", slipped("workers = 1000000000"), "job.toml:3: job.workers: 1000000000\n    expected a whole number from 0 to 1024"},
		{"top", slipped("top = 2000000000"), "job.toml:3: job.top: 2000000000\n    expected a whole number from 1 to 100000"},
		{"count", slipped("[search]\nchecks_max = 2000000000"), "2000000000 is more than 1000000000, the most that a count may be"},
		{"digits", slipped("top = " + strings.Repeat("9", 500_000)), "job.toml:3: top = 999999"},
	} {
		_, err := parse("job.toml", []byte(c.doc))
		var faults catalog.Faults
		if !errors.As(err, &faults) || !strings.Contains(err.Error(), c.want) || len(err.Error()) > 3000 {
			t.Errorf("%s: %.600v\nwant %q", c.name, err, c.want)
		}
	}
	// Within the bounds nothing changes: a sweep of many values, texts with
	// points and brackets in them, comments.
	fine := leastSpec + "# [[[[[[[[[[[[[[[[[[[[[[[[ a.a.a.a.a.a.a.a.a.a.a.a\n[sweep]\n\"eye.box_mm\" = [" + lines(5000, "0.%d, ") + "]\n"
	if _, err := parse("job.toml", []byte(fine)); err == nil || strings.Contains(err.Error(), "deep") || strings.Contains(err.Error(), "parts") {
		t.Errorf("%.300v", err) // 0.1 and 0.10 are the same value, which is all that is wrong
	}
}
