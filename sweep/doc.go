// Package sweep runs a job: it reads the spec, lays out its sweep points, and
// searches each exactly. What a key of the spec means stands in keymeaning.go.
//
// The search (search.go) walks the designs of a space in ascending order, a window of
// lengths at a time. For each layout and seat a finder (find.go) goes through pairs of
// nodes of two trees (tree.go), for pair relays of four (product.go), and leaves out all
// whose lower bound lies beyond the window; stacks.go makes the groups. A refineWalk
// (refinewalk.go) screens what comes by exact rays, re-optimises gaps and eye relief of
// what is near its limits (refine.go), and ends when nothing that remains can come into
// the ranking; audit.go tells how much the screen may have missed. Without refinement designs
// are checked as they come until enough have passed. Where a space is too large a
// population search (optimize.go and its kin) looks for short designs without a proof;
// a small one (refinebeat.go) goes before the walk. When nothing passes, fit.go finds how
// far each requirement is from letting something pass.
//
// All goroutines of the program are started here and end before the call that started
// them returns, but for that with which a job is read. Nothing depends on their number. The optics are
// those of package objective; what a result looks like on disk is not known here.
package sweep
