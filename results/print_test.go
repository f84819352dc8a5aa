package results

import "testing"

// TestShownColumns: what tables show are columns that hold numbers, each once.
func TestShownColumns(t *testing.T) {
	check := func(list string, names []string, isNumber func(string) bool) {
		seen := map[string]bool{}
		for _, name := range names {
			if !isNumber(name) || seen[name] {
				t.Errorf("%s: %s is twice there or no column of numbers", list, name)
			}
			seen[name] = true
		}
	}
	namesOf := func(list []shownColumn) (names []string) {
		for _, shown := range list {
			names = append(names, shown.name)
		}
		return names
	}
	ofDesign := func(name string) bool { c := named(designColumns, name); return c != nil && c.value != nil }
	check("ranked", namesOf(rankedColumnsShown), ofDesign)
	check("facts", DesignFacts(), ofDesign)
	check("stage", namesOf(stageColumns), func(name string) bool {
		c := named(setpointColumns, name)
		return c != nil && c.value != nil
	})
}
