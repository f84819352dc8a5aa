package spec

import (
	"strings"
	"testing"
)

// TestKeys: each key of a spec has a meaning of one line.
func TestKeys(t *testing.T) {
	keys := Keys()
	if len(keys) != len(allKeys) {
		t.Errorf("%d keys are told of %d", len(keys), len(allKeys))
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
}
