// Package bench is a train as it is really built: lenses whose focal lengths,
// thicknesses and glasses are off, in seats that are decentred and tilted, with
// a stage whose zero is wrong, and put right by what a bench can adjust.
//
// Real skew rays are traced through surfaces that each stand in a frame of
// their own; nothing is linearised. A [Bench] measures [Build] after [Build] of
// one train, and its figures for a build without errors are those of the ray
// check.
//
// Lengths are in mm. Inside, x and y are as in the ray check, and w grows from
// the eye towards the world.
package bench
