// Package thirdorder has the third-order aberrations of trains without rays: those of a
// group are a handful of constants, those of a train sums over its groups.
//
// A group's constants are those of its third-order polynomial and its colour ([Group]); a
// train's estimates come from them by paraxial transfer alone ([Estimator], [Screen]). Chapters and
// sections of books are cited from memory. form.go tells the algebra. [Slopes] bounds what the screen says
// of many trains at once. Nothing here is a bound on exact metrics: estimates are held against
// exact rays by tests, and in a search by its audit. There are no rays, files or goroutines.
package thirdorder
