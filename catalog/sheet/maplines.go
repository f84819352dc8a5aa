package sheet

import (
	"strings"

	"github.com/BurntSushi/toml"
)

// keyLines are the lines, from 1, on which the keys of a TOML document begin:
// by the section, a zero byte and the key. The decoder tells none. A document
// that it takes has each key at the beginning of a line; of one written in
// another way, such as with dotted keys, a line may be missing.
func keyLines(text string) map[string]int {
	lines := map[string]int{}
	section, line := "", 0
	for content := range strings.Lines(text) {
		line++
		content = strings.TrimSpace(content)
		if rest, ok := strings.CutPrefix(content, "["); ok {
			if name, _, closed := strings.Cut(rest, "]"); closed && !strings.ContainsAny(name, `,"'`) {
				section = strings.TrimSpace(name)
				note(lines, "", section, line)
			}
			continue
		}
		key, ok := leadingKey(content)
		if ok {
			note(lines, section, key, line)
		}
	}
	return lines
}

func note(lines map[string]int, section, key string, line int) {
	if name := section + "\x00" + key; lines[name] == 0 {
		lines[name] = line
	}
}

// leadingKey is the key of a line such as key = value or "a key" = value.
func leadingKey(content string) (string, bool) {
	if content == "" || content[0] == '#' {
		return "", false
	}
	end := 0
	switch quote := content[0]; quote {
	case '"', '\'':
		for end = 1; end < len(content) && content[end] != quote; end++ {
			if content[end] == '\\' && quote == '"' {
				end++
			}
		}
		end++
	default:
		end = strings.IndexAny(content, "= \t")
	}
	if end < 1 || end > len(content) || !strings.HasPrefix(strings.TrimSpace(content[end:]), "=") {
		return "", false
	}
	// The decoder knows the escapes.
	var one map[string]any
	if _, err := toml.Decode(content[:end]+" = 0", &one); err != nil {
		return "", false
	}
	for key, value := range one {
		if _, nested := value.(map[string]any); !nested {
			return key, true
		}
	}
	return "", false
}
