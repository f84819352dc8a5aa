// Package sweep runs a job: it lays out the sweep points of a spec (package spec) and
// searches the trains of each. The exact search (search.go) walks the designs of a space
// in ascending order, a window of lengths at a time (window.go). The groups come from a stream
// (groupstream.go); for each layout and seat a layoutSearch (layoutsearch.go) goes through pairs
// of nodes of two trees (tree.go), for pair relays of four (product.go), and leaves out all
// whose lower bound lies beyond the window, or, in a walk that refines, that third-order sums turn
// away box by box (boxsearch.go, thirdboxes.go). Designs are then checked as they come (check.go),
// or screened and refined by exact rays (refinewalk.go, refine.go). A population search
// (optimize.go and its kin) looks for short designs without a proof where a space is too
// large. When nothing passes, fit.go finds how far each requirement is from letting something
// pass. Each step is a unit that is kept in a journal (unitlog.go, package journal), so that a
// run goes on where it stopped. All goroutines start here and end before the call that
// started them returns, but for that with which a job is read, and nothing depends on their
// number. The optics are those of package objective; what a result looks like on disk is not
// known here.
package sweep
