// Package testtrain makes the problems, groups and trains of tests, by hand or at random,
// and judges trains by an independent paraxial trace.
package testtrain
