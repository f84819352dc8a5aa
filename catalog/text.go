package catalog

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// IsHidden reports whether a character is not seen as itself where text is shown:
// a control character, one that turns the direction of writing, or another
// format character. The two joiners that some scripts write with are none.
func IsHidden(c rune) bool {
	const nonJoiner, joiner = '\u200c', '\u200d'
	return unicode.IsControl(c) || c == '\u2028' || c == '\u2029' ||
		unicode.Is(unicode.Cf, c) && c != nonJoiner && c != joiner
}

// Visible is a text with its hidden characters written as escapes, so that it
// can do nothing to the terminal on which it is shown.
func Visible(s string) string {
	if utf8.ValidString(s) && !strings.ContainsFunc(s, IsHidden) {
		return s
	}
	var b strings.Builder
	for len(s) > 0 {
		c, n := utf8.DecodeRuneInString(s)
		switch {
		case c == utf8.RuneError && n == 1:
			fmt.Fprintf(&b, `\x%02x`, s[0])
		case IsHidden(c):
			b.WriteString(strings.Trim(strconv.QuoteRuneToASCII(c), "'"))
		default:
			b.WriteRune(c)
		}
		s = s[n:]
	}
	return b.String()
}

// visibleLines is Visible for a text of several lines.
func visibleLines(s string) string {
	lines := strings.Split(s, "\n")
	for i := range lines {
		lines[i] = Visible(lines[i])
	}
	return strings.Join(lines, "\n")
}

// NotUTF8 finds the first line that is not in UTF-8, and says of its first bad
// byte what it would be in Latin-1. The line is 0 for none.
func NotUTF8(data []byte) (line int, found string) {
	line = 1
	for i := 0; i < len(data); {
		c, n := utf8.DecodeRune(data[i:])
		switch {
		case c == utf8.RuneError && n == 1:
			return line, fmt.Sprintf("the byte 0x%02X is not UTF-8%s", data[i], inLatin1(data[i]))
		case c == '\n':
			line++
		}
		i += n
	}
	return 0, ""
}

// WantUTF8 is what would be right instead.
const WantUTF8 = "the file saved with the encoding UTF-8"

// inLatin1 continues a message with the letter that a byte is in ISO 8859-1,
// whose code points from 0xA0 are those of Unicode.
func inLatin1(b byte) string {
	if b < 0xa1 {
		return ""
	}
	return fmt.Sprintf(" (in Latin-1 it is %c)", rune(b))
}

// MendNumber says what keeps a text from being a number that a spec or a table
// takes, and how the number is written. It is empty where no number can be
// made out. The unit is what was written behind the number.
func MendNumber(s string) (mended, slip, unit string) {
	var slips []string
	note := func(what string) {
		slips = append(slips, what)
	}
	t := strings.TrimSpace(s)
	plain := strings.Map(func(c rune) rune {
		switch c {
		case '\u2212', '\u2010', '\u2011', '\u2012', '\u2013', '\u2014', '\ufe63', '\uff0d':
			return '-'
		}
		return c
	}, t)
	if plain != t {
		note("a typographic minus")
	}
	t = plain
	// The number is the longest beginning of digits, signs, points and commas,
	// with an exponent where one follows.
	end := len(t) - len(strings.TrimLeft(t, "+-0123456789.,"))
	if e := t[end:]; len(e) > 1 && (e[0] == 'e' || e[0] == 'E') {
		if n := len(e[1:]) - len(strings.TrimLeft(e[1:], "+-0123456789")); n > 0 {
			end += 1 + n
		}
	}
	number, rest := t[:end], strings.TrimSpace(t[end:])
	if rest != "" {
		if !isUnit(rest) {
			return "", "", ""
		}
		unit = rest
		note("a unit")
	}
	if strings.Count(number, ",") == 1 && !strings.Contains(number, ".") {
		number = strings.Replace(number, ",", ".", 1)
		note("a decimal comma")
	}
	switch sign := strings.TrimLeft(number, "+-"); {
	case strings.HasPrefix(sign, "."):
		number = strings.TrimSuffix(number, sign) + "0" + sign
		note("no digit before its point")
	case strings.HasSuffix(sign, "."):
		number = strings.TrimSuffix(number, ".")
		note("no digit behind its point")
	}
	if _, ok := parseNumber(number); !ok || len(slips) == 0 {
		return "", "", ""
	}
	return number, strings.Join(slips, " and "), unit
}

// isUnit reports whether a text can be meant as the unit behind a number.
func isUnit(s string) bool {
	if utf8.RuneCountInString(s) > 8 {
		return false
	}
	for i, c := range s {
		if !unicode.IsLetter(c) && !strings.ContainsRune(`%°'"`, c) && (i == 0 || !strings.ContainsRune("/^23²³", c)) {
			return false
		}
	}
	return true
}
