// Package catalog holds what can be bought: lenses and the glasses that they
// are made of, read from tables that a user writes, with everything wrong in
// those tables told at once.
//
// # Lens tables
//
// A lens table is CSV in UTF-8 with a header row. Lines that start with # are
// comments. Columns may come in any order:
//
//	part                        the name to order by; unique over all tables
//	vendor, kind                text, may be left out
//	diameter_mm                 full diameter
//	clear_mm                    clear diameter; 90 % of the full one if empty
//	r1_mm, t1_mm, glass1, r2_mm two surfaces and the glass between
//	t2_mm, glass2, r3_mm        a second glass cemented to the first
//	t3_mm, glass3, r4_mm        a third
//	k1, k2, …                   conic constant of surface 1, 2, …
//	a4_1, a6_1, …, a4_2, …      even aspheric terms of surface 1, 2, …
//	loss_pct                    loss of one air-glass surface
//	density                     g/cm³, in place of the glass's
//	price                       in whatever currency all tables share
//	efl_mm, bfl_mm              as published, to check the prescription by
//	stock                       how many may be used in one train
//	pitch_mm                    width of a facet: the lens's curved surface is a Fresnel one
//	draft_deg                   angle of the draft facets from the axis
//
// A comment line such as
//
//	# ignore: coating, url
//
// names columns to pass over. A table is a regular file of at most
// [TableBytesMost] bytes.
//
// A radius is positive when the centre of curvature lies on the eye side, and
// inf for a flat. See [Surface] for the equation of a surface.
//
// # Glass tables
//
// A glass table has the columns glass, B1, B2, B3, C1, C2, C3, density, source
// (see [NewSellmeier]) or glass, nd, Vd, density, source (see [NewAbbe]). A
// column code may list the six-digit code, and nd and Vd beside Sellmeier
// coefficients are published values to check them by.
//
// Lengths are in mm, wavelengths in nm, densities in g/cm³ and masses in g.
package catalog
