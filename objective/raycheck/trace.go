package raycheck

import (
	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/raycheck/lanes"
)

// The exact trace runs from the eye to the world, in a frame that is mirrored
// so that rays advance: w = -z, slopes are dx/dw and dy/dw, and a surface shows
// its other side (opposite curvature and aspheric terms). Positions are kept
// relative to the vertex of the surface that was met last.

// step is one surface on the way from the eye to the world, with the space
// before it.
type step struct {
	lanes.Surface         // the distance is physical, from the eye for the first
	plate         float64 // thickness of a plane plate in that space; 0 for none
	plateIndex    float64
	clear         float64 // clear semi-diameter
}

// trainSteps lays out the surfaces of t in the order in which the trace meets them.
// It also gives for each gap between groups the surface before which it lies: of a gap
// that holds a mask the first one beyond it. It reuses both buffers.
func trainSteps(p *objective.Problem, t *objective.Train, buf []step, gapBuf []int) (steps []step, gapSteps []int) {
	steps = buf[:0]
	gapSteps = append(gapBuf[:0], make([]int, len(t.Gaps))...)
	distance, plate, plateIndex := t.EyeRelief, p.CombinerMM, p.CombinerIndex
	for g := len(t.Groups) - 1; g >= 0; g-- {
		group := t.Groups[g]
		for e := len(group.Elements) - 1; e >= 0; e-- {
			element := group.Elements[e]
			for s := len(element.Surfaces) - 1; s >= 0; s-- {
				surface := &element.Surfaces[s]
				n := len(steps)
				if n < cap(steps) {
					steps = steps[:n+1] // keeps the room of its aspheric terms
				} else {
					steps = append(steps, step{})
				}
				st := &steps[n]
				*st = step{
					Surface: lanes.Surface{
						DistanceMM: distance, Curvature: -surface.Curvature(), Conic: surface.Conic, Asphere: st.Asphere[:0],
						Faceted: surface.IsFaceted(),
					},
					plate: plate, plateIndex: plateIndex, clear: element.Lens.ClearMM / 2,
				}
				if len(surface.Asphere) > 0 && !surface.IsSpherical() {
					for _, a := range surface.Asphere {
						st.Asphere = append(st.Asphere, -a)
					}
				}
				plate = 0
				if s > 0 {
					distance = element.Thickness[s-1]
				}
			}
			if e > 0 {
				distance = group.GapsMM[e-1]
			}
		}
		if g > 0 {
			distance = t.Gaps[g-1]
			gapSteps[g-1] = len(steps)
			if t.HoldsMask(g - 1) {
				plate, plateIndex = p.MaskGlass, p.MaskGlassIndex
			}
		}
	}
	return steps, gapSteps
}

// indexRatios appends to ratios, by wavelength, for each of steps the index
// before it over that after it. indices tells the indices of a glass at all
// wavelengths.
func indexRatios(t *objective.Train, indices func(*catalog.Glass) []float64, ratios [][]float64) {
	for g := len(t.Groups) - 1; g >= 0; g-- {
		elements := t.Groups[g].Elements
		for e := len(elements) - 1; e >= 0; e-- {
			glasses := elements[e].Glasses
			var before []float64 // nil for air
			for s := len(glasses) - 1; s >= 0; s-- {
				after := indices(glasses[s])
				for w := range ratios {
					index := 1.0
					if before != nil {
						index = before[w]
					}
					ratios[w] = append(ratios[w], index/after[w])
				}
				before = after
			}
			for w := range ratios {
				ratios[w] = append(ratios[w], before[w])
			}
		}
	}
}

// through takes rays across the space before st and through its surface. ratio is the
// index before the surface over that after it, margin as for [lanes.Rays.Through].
func (st *step) through(r *lanes.Rays, ratio float64) (margin float64) {
	if st.plate > 0 {
		r.ThroughPlate(st.plate, st.plateIndex)
	}
	return r.Through(&st.Surface, ratio)
}
