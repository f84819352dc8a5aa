// Package objective is what a relay is asked to do and its paraxial optics: what a group of
// lenses is, how groups stand in a train, and which requirements a train meets.
//
// problem.go holds what is asked, group.go and train.go groups and trains at their paraxial
// gaps, paraxial.go what is true of a train at any gaps, facets.go where it has Fresnel surfaces. Every paraxial requirement becomes an
// interval of eye reliefs (judge.go, mask.go). The files reduced*.go hold the algebra of
// groups reduced to a few numbers. It gives lower bounds on the length of whole sets of trains,
// on which the exact search rests. refine_room.go derives how much shorter than at its paraxial
// gaps a train can become, and miss.go says how far a train is from its requirements. Formulas
// carry their source where they stand.
//
// Lengths are in mm, z grows from the world to the eye, a radius is positive
// when its centre lies on the eye side, slopes are dy/dz, and vergences are in
// 1/mm but where a name ends in D (dioptres, 1/m). The package traces no rays; package raycheck
// does, and package ideal finds how short a train of any lenses could be. It holds no files,
// no goroutines and no ranking.
package objective
