package catalog

import "slices"

// LensColumns are the usual columns of a lens table, in their usual order.
// Aspheric terms of higher order or of other surfaces come besides, see
// [IsLensColumn].
func LensColumns() []string { return slices.Clone(lensColumns) }

// IsLensColumn reports whether a lens table may have a column of this name.
func IsLensColumn(name string) bool { return knownLensColumn(name) }

// MatchesName reports whether a whole name fits a pattern as those of [Filter]:
// * stands for any text, ? for any one character, everything else for itself.
func MatchesName(pattern, name string) bool { return matchName(pattern, name) }
