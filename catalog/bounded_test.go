package catalog

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
)

// A line or a header without end is one fault that names the limit.
func TestTablesAreBounded(t *testing.T) {
	var wide strings.Builder
	wide.WriteString("part")
	for i := range columnsMost {
		fmt.Fprintf(&wide, ",c%d", i)
	}
	for _, c := range []struct {
		data []byte
		want string
	}{
		{append([]byte("# table\n"), bytes.Repeat([]byte("a,"), 8<<20)...), "t.csv:2: the line is longer than 64 kB"},
		{bytes.Repeat([]byte(`"`), 100_000), "t.csv:1: the line is longer than 64 kB"},
		{[]byte(wide.String() + "\nx\n"), "t.csv:1: the table has 501 columns\n    expected at most 500 columns"},
	} {
		_, _, faults := ReadLenses(c.data, "t.csv", BuiltinGlasses())
		if len(faults) != 1 || !strings.HasPrefix(faults[0].Error(), c.want) {
			t.Errorf("%d faults, want only %q: %.300v", len(faults), c.want, faults)
		}
	}
}

// Nothing that stands in a file reaches a terminal as a command to it, or turns
// what stands around it.
func TestVisible(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"plain, µm and é", "plain, µm and é"},
		{"a\x1b[31mb", `a\x1b[31mb`},
		{"a\u202eb\u2066c\u200fd", `a\u202eb\u2066c\u200fd`},
		{"a\xffb\x00", `a\xffb\x00`},
		{"می\u200cخواهم", "می\u200cخواهم"}, // Persian is written with the non-joiner
	} {
		if got := Visible(c.text); got != c.want {
			t.Errorf("Visible(%q) = %q, want %q", c.text, got, c.want)
		}
	}
	f := Fault{File: "a\x1bb", Key: "\u202ekey", Found: "two\nlines\r", Want: "\x07"}
	if got, want := f.Error(), `a\x1bb: \u202ekey: two`+"\n"+`lines\r`+"\n    expected "+`\a`; got != want {
		t.Errorf("fault %q, want %q", got, want)
	}
}

func TestMendNumber(t *testing.T) {
	for _, c := range []struct{ text, mended, slip, unit string }{
		{"12", "", "", ""}, {"12mm", "12", "a unit", "mm"}, {"1e3 mm", "1e3", "a unit", "mm"},
		{"0,3", "0.3", "a decimal comma", ""}, {"−3", "-3", "a typographic minus", ""},
		{".5", "0.5", "no digit before its point", ""}, {"-5.", "-5", "no digit behind its point", ""},
		{"5e", "5", "a unit", "e"}, {`2"`, "2", "a unit", `"`},
		{"", "", "", ""}, {"mm", "", "", ""}, {"1/2", "", "", ""}, {"1,2,3", "", "", ""}, {"ten", "", "", ""}, {"0x12", "", "", ""}, {"--3mm", "", "", ""},
	} {
		mended, slip, unit := MendNumber(c.text)
		if mended != c.mended || slip != c.slip || unit != c.unit {
			t.Errorf("%q: %q, %q, %q, want %q, %q, %q", c.text, mended, slip, unit, c.mended, c.slip, c.unit)
		}
	}
}
