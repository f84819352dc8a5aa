// Package yield draws builds of a train by their tolerances, and says what share of
// them meets the limits and which tolerance is to blame.
//
// Draws are counted, not remembered: build number n of a seed is the same whenever, by
// whomever and after whatever it is made. So a study can be stopped and continued, any
// number of goroutines gives the same result, and one build can be looked at again.
package yield
