// Package spec reads a job's spec, a TOML file. [Read] turns the file into a [Spec] with
// all defaults filled in, or into the list of everything that is wrong with it; the
// [Point] values of [Spec.Grid] are the combinations of the swept keys. Each key is one entry of the
// list in keys.go: its default, unit, rule, field and meaning. The reader (read.go, grid.go)
// and all messages work from that list; rules.go holds what a value, and what
// two keys together, have to be. As the TOML decoder tells no places, lines.go finds
// on which line a key stands, and notation.go says what is wrong with a line. Nothing
// here searches, traces or writes; [Spec.Problem] hands the optics what they need.
// Lengths and angles have the unit that their name ends in.
package spec
