// Package sweep runs a job: it reads the spec, lays out its sweep points, and
// searches each exactly.
//
// The search (search.go) walks the designs of a space in ascending ranked
// length, a window of lengths at a time. For each layout and seat a finder
// (find.go) goes through pairs of nodes of two trees (tree.go), one over the
// groups that can stand in front and one over those at the eye, for pair relays
// of four (product.go), and leaves out all whose lower bound lies beyond the
// window; stacks.go makes the groups, and holds those that can matter. Designs are then checked by rays in order until enough have passed,
// and the proof counts what became of all others. When nothing passes, fit.go
// finds how far each requirement is from letting something pass. Where a space is
// too large for that a population search (optimize.go, its trains bred in
// optimizebreed.go, graded in optimizegrade.go and bounded in optimizebound.go) looks for short designs without a proof. On request the
// leading designs are then re-optimised by exact rays (refine.go, refineunit.go).
//
// All goroutines of the program are started here, by errgroup in find.go,
// search.go, stacks.go, optimize.go, refineunit.go and job.go, or by the optimisers of refine.go, and end before the call that started them returns.
// Nothing depends on their number. The optics are those of package objective;
// what a result looks like on disk is not known here.
package sweep
