// Package raycheck judges trains by exact rays: it traces skew rays from the eye to the
// world and measures what limits are set on.
//
// check.go holds the [Checker] and its reports, trace.go the tracer of many rays and
// trace_many.go what gives it to others, trace_ray.go that of a single one, pupil.go and
// quadrature.go which rays are enough, vignette.go the light that apertures take, facets.go
// what Fresnel surfaces cost, and metrics.go what is measured. screen.go tells at paraxial gaps whether a train is worth
// being re-optimised, and refine.go what is asked of one that is. grade.go says how far a
// train is from meeting its limits. What is done with many rays at a time is in package
// lanes.
//
// Lengths are in mm and vergences in 1/mm but where a name ends in D (dioptres), as in
// package objective. Nothing in package objective uses this one, and it holds no files, no
// goroutines and no ranking.
package raycheck
