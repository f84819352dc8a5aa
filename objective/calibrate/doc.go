// Package calibrate fits what a stage table rests on to what was measured on the bench:
// the zero of the stage, the effective focal length of the rear group and the place of the
// eye.
//
// fit.go is weighted non-linear least squares for any model, outliers.go the search for
// measurements that do not belong, stage.go the model of the stage, whose predictions are
// exact setpoints by rays, and plausible.go by how much fits of real builds scatter.
package calibrate
