// Package objective is the optics of a relay: what a group of lenses is, how
// groups stand in a train, what a train is asked to do, and whether it does it.
//
// It has two models of a train. The paraxial one (group.go, train.go,
// paraxial.go) gives gaps, eye relief and mask positions in closed form; every
// paraxial requirement becomes an interval of eye reliefs (judge.go, mask.go).
// Reduced to a few numbers a group (side.go, pair.go) it also gives lower
// bounds on the length of whole sets of trains (bound.go, pairbound.go), on
// which the exact search rests. The other one, the ray check (check.go,
// trace.go), traces skew rays exactly from the eye to the world and measures
// what limits are set on; grade.go says how far a train is from meeting what is asked,
// for a search by trial and error. screen.go tells by rays at paraxial gaps whether a train
// is worth being re-optimised, refine.go what is asked of one that is, and refineroom.go
// derives how much shorter it can become, which the walk of package sweep rests on. How
// short a train of any lenses could be is found in ideal.go.
//
// Lengths are in mm, z grows from the world to the eye, a radius is positive
// when its centre lies on the eye side, slopes are dy/dz, and vergences are in
// 1/mm but where a name ends in D (dioptres, 1/m). The package holds no files,
// no goroutines and no ranking.
package objective
