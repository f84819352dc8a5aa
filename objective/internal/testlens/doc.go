// Package testlens makes the lenses of tests, by hand or at random, and holds an
// independent paraxial trace through surfaces.
package testlens
