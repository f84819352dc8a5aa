package spec

import (
	"strings"
	"testing"
)

// TestKeys: each key of a spec has a meaning of one line, and no meaning is of a key that
// does not exist.
func TestKeys(t *testing.T) {
	keys := Keys()
	if len(keys) != len(allKeys) || len(keyMeanings) != len(allKeys) {
		t.Errorf("%d keys and %d meanings for %d keys of a spec", len(keys), len(keyMeanings), len(allKeys))
	}
	for i := range keys {
		k := &keys[i]
		if strings.TrimSpace(k.Meaning) == "" || strings.Contains(k.Meaning, "\n") {
			t.Errorf("%s has the meaning %q", k, k.Meaning)
		}
		if k.Required && k.Default != "" {
			t.Errorf("%s is required and has the default %s", k, k.Default)
		}
	}
	for name := range keyMeanings {
		if keyByName[name] == nil {
			t.Errorf("%s has a meaning and is no key", name)
		}
	}
}
