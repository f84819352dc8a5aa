// Package secondmodel is a second, deliberately simple implementation of the relay's
// paraxial model, of the enumeration of all trains and of the exact ray check.
// It exists for tests only: what the program proper computes by clever means is
// compared with what is computed here by plain ones. Everything is done train
// by train, surface by surface and ray by ray; nothing is bounded, cached
// across trains or left out.
//
// Lengths are in mm, z grows from the world to the eye, a radius is positive
// when its centre lies on the eye side, slopes are dy/dz unless said otherwise.
// Inside the package vergences are in 1/mm and angles in radians; exported
// fields carry their unit in their names.
package secondmodel
