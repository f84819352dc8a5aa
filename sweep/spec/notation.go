package spec

import (
	"bytes"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/BurntSushi/toml"

	"relaysweep/catalog"
)

// textFault tells of bytes that are no text in UTF-8, nil for none.
func textFault(file string, data []byte) *catalog.Fault {
	const rest = "; the rest of the file was not checked"
	switch {
	case bytes.HasPrefix(data, []byte("\xff\xfe")), bytes.HasPrefix(data, []byte("\xfe\xff")):
		return &catalog.Fault{File: file, Found: "the file is in UTF-16", Want: catalog.WantUTF8 + rest}
	case bytes.IndexByte(data, 0) >= 0:
		return &catalog.Fault{File: file, Found: "the file holds zero bytes, so it is no text", Want: "a spec file in TOML"}
	}
	if line, found := catalog.NotUTF8(data); line > 0 {
		return &catalog.Fault{File: file, Line: line, Found: found, Want: catalog.WantUTF8 + rest}
	}
	return nil
}

// notationFault describes a document that the decoder refused: on which line,
// what stands there, and how it is written. The decoder's own words are for
// those who know the notation.
func notationFault(file, doc string, err error) catalog.Fault {
	fault := catalog.Fault{File: file, Found: "the file is not in TOML notation", Want: `lines as [section] and key = value`}
	var parse toml.ParseError
	if errors.As(err, &parse) {
		fault.Line = max(0, min(parse.Position.Line, strings.Count(doc, "\n")+1))
		begun := statementLine(doc, fault.Line)
		line := strings.TrimRight(lineOf(doc, begun), "\r")
		key, _, _ := strings.Cut(line, "=")
		says := func(what string) bool { return strings.Contains(parse.Message, what) }
		switch {
		case begun == fault.Line, strings.HasPrefix(strings.TrimSpace(line), "["):
			fault.Found, fault.Want = notationSlip(line, parse.Message)
			fault.Line = begun
		case says("comma") || says("terminator") || says("EOF"):
			fault.Found = "what begins here with a bracket, a brace or quotes is not closed, or lacks a comma"
			fault.Want = "a list as [1, 2], a text as \"bench\", each closed"
			fault.Line = begun
		default:
			element := strings.TrimSuffix(strings.TrimSpace(lineOf(doc, fault.Line)), ",")
			fault.Found, fault.Want = valueSlip(strings.TrimSpace(key), element)
		}
	}
	fault.Want += "; the rest of the file was not checked"
	return fault
}

// lineOf is a line of a document, from 1; empty beyond its end.
func lineOf(doc string, line int) string {
	for range line - 1 {
		_, doc, _ = strings.Cut(doc, "\n")
	}
	this, _, _ := strings.Cut(doc, "\n")
	return this
}

// statementLine is the line on which the key or header began that reaches over
// the line given.
func statementLine(doc string, line int) int {
	c := cursor{text: strings.TrimPrefix(doc, "\ufeff"), line: 1}
	begun := line
	for c.skipBlank(); !c.end() && c.line <= line; c.skipBlank() {
		begun = c.line
		c.skipStatement()
	}
	return min(begun, line)
}

// notationSlip says what is wrong with a line, and what would be right. The
// decoder's message tells apart only what a line by itself does not show.
func notationSlip(line, message string) (found, want string) {
	text := strings.TrimSpace(line)
	shown := showLine(text)
	switch {
	case strings.ContainsFunc(line, func(c rune) bool { return catalog.IsHidden(c) && c != '\t' && c != '\ufeff' }):
		return shown + ": a control character in the line", "the line written anew"
	case strings.Contains(message, "already"):
		return shown + ": is there for the second time", "each section and each key in it once"
	case strings.ContainsAny(text, "“”„‘’«»"):
		return shown + ": typographic quotes", `straight quotes, as "bench"`
	case strings.HasPrefix(text, "["):
		return shown + ": no section header", "a section as [field], its name between brackets, alone on its line"
	}
	key, value, assigned := strings.Cut(text, "=")
	switch {
	case !assigned && strings.HasSuffix(text, "]"):
		return shown + ": no section header", "a section as [field], its name between brackets, alone on its line"
	case !assigned:
		return shown + ": no = between key and value", "key = value; comments begin with #"
	case strings.Count(key, `"`) == 1 || strings.Count(key, "'") == 1:
		return shown + ": the key lacks one of its quotes", `a swept key as "field.width_deg", in quotes at both ends`
	case strings.TrimSpace(key) == "":
		return shown + ": no key before the =", "key = value"
	case strings.ContainsFunc(strings.TrimSpace(key), func(c rune) bool { return !strings.ContainsRune(bareCharacters+".\"'", c) }):
		return showLine(strings.TrimSpace(key)) + ": no such key can be", "a key of letters, digits, - and _, then = and its value"
	}
	return valueSlip(strings.TrimSpace(key), strings.TrimSpace(value))
}

// valueSlip says what is wrong with a value on one line.
func valueSlip(key, value string) (found, want string) {
	shown := key + " = " + showLine(value)
	if value != "" && !strings.ContainsAny(value[:1], `"'`) {
		value, _, _ = strings.Cut(value, "#")
		value = strings.TrimSpace(value)
		shown = key + " = " + showLine(value)
	}
	mended, slip, _ := catalog.MendNumber(value)
	lower := strings.ToLower(value)
	switch {
	case value == "":
		return key + ": no value behind the =", key + " = and a value, or the line left out"
	case mended != "":
		return shown + ": " + slip, "a number in the key's unit, with a decimal point: write " + mended
	case value[0] == '"' && strings.Contains(value, `\`) && closed(value, '"'):
		return shown + ": a backslash, which has a meaning of its own between double quotes",
			`a path with /, or between single quotes, as 'lenses\stock.csv'`
	case (value[0] == '"' || value[0] == '\'') && !closed(value, value[0]):
		return shown + ": no quote at the end of the text", "the text between two quotes of the same kind: " + quoteMend(value)
	case value[0] == '[' || value[0] == '{':
		if strings.ContainsAny(value, `\`) {
			return shown + ": a backslash, which has a meaning of its own between double quotes",
				`paths with /, or between single quotes, as 'lenses\stock.csv'`
		}
		return shown + ": no list", `a list as [1, 2] or ["a", "b"], with a comma between, and points in numbers`
	case value[0] == '"' || value[0] == '\'':
		return shown + ": something stands behind the text", "one value on a line; a comment behind it begins with #"
	case strings.ContainsAny(value, `"'`):
		return shown + ": a quote at one end of the text only", "the text between two quotes: " + quoteMend(value)
	case lower != value && (lower == "true" || lower == "false" || lower == "inf" || lower == "nan"):
		return shown + ": capital letters", "write " + lower
	case strings.Trim(value, "+-0123456789_") == "":
		return wholeSlip(value, shown)
	}
	first, _ := utf8.DecodeRuneInString(value)
	if unicode.IsLetter(first) || first == '/' || first == '.' || first == '~' {
		return shown + ": a text without quotes", "a text between quotes: " + quoteMend(value)
	}
	return shown + ": no value", `a number as 0.3, a text as "bench", or a list as [1, 2]`
}

// showLine is a piece of a line, cut short where it is long.
func showLine(text string) string {
	const most = 60
	if r := []rune(text); len(r) > most {
		text = string(r[:most]) + "…"
	}
	return catalog.Visible(text)
}

// wholeSlip says what is wrong with a whole number.
func wholeSlip(value, shown string) (found, want string) {
	digits := strings.TrimLeft(value, "+-")
	switch {
	case len(digits) > 1 && digits[0] == '0':
		return shown + ": a number that begins with 0", "a number without zeros before it"
	case strings.Contains(digits, "_"):
		return shown + ": a _ without digits on both sides", "a number of digits"
	case len(value)-len(digits) < 2 && digits != "":
		return shown + ": the number is too large", fmt.Sprintf("a whole number of at most %d", integerMost)
	}
	return shown + ": no number", "a number as 0.3 or -2"
}

// closed reports whether a text that begins with a quote has another one.
func closed(value string, quote byte) bool {
	return strings.IndexByte(value[1:], quote) >= 0
}

// quoteMend is a value as a text between quotes.
func quoteMend(value string) string {
	text := strings.Trim(value, `"' `)
	if strings.Contains(text, `\`) {
		return "'" + text + "'"
	}
	return strconv.Quote(text)
}
