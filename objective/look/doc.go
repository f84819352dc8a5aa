// Package look makes pictures of a test scene as an eye sees it through a train: from every
// direction light is followed back from all over the pupil, through lenses and mask, to the world.
//
// scene.go has what is looked at, painter.go the rays, and picture.go what comes of it. Rays,
// wavelengths and weights are those of package raycheck, so that what can be measured in a picture
// agrees with the metrics. Not in it are diffraction, scattered light, reflections, and what the
// eye itself adds but, where that counts, its colour.
//
// Directions are tangents at the eye, x to the right and y up; vergences are in 1/mm. The package
// holds no files and no goroutines.
package look
