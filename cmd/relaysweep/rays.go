package main

import (
	"fmt"
	"io"
	"math"
	"strconv"

	"github.com/spf13/cobra"

	"relaysweep/objective/raycheck"
	"relaysweep/results"
)

// showRays prints how rays go through one design.
func showRays(cmd *cobra.Command, folder string, point, rank int) error {
	b, err := reopenRank(cmd, folder, point, rank)
	if err != nil {
		return err
	}
	w := cmd.OutOrStdout()
	fmt.Fprintf(w, "rank %d: %s\n", b.design.Rank, b.design.DesignID)
	if err := printRays(w, b); err != nil {
		return err
	}
	_, err = fmt.Fprint(w, "\n", cautionLine)
	return err
}

// pupilRay is one of the rays of a field sample that are drawn and listed.
type pupilRay struct {
	name  string
	share float64 // of the pupil's edge: half the pupil and half the box
}

// pupilRays are the chief ray and the two edge rays. The edge is that of the
// pupil wherever it may be in its box.
var pupilRays = []pupilRay{{"chief", 0}, {"upper edge", 1}, {"lower edge", -1}}

// tracedRay is a ray from the eye to the first vertex.
type tracedRay struct {
	ray      pupilRay
	points   []raycheck.RayPoint
	complete bool
}

// traceSample traces the rays of a field sample at an apparent vergence in
// 1/mm, the masks standing for it, at the reference wavelength.
func (b *reopened) traceSample(field, vergence float64, masksMM []float64) []tracedRay {
	p := b.problem
	var rays []tracedRay
	for _, r := range pupilRays {
		y := r.share * p.PupilEdge()
		slope := float64(field*p.TanMax) - float64(y*vergence)
		points, complete := raycheck.TraceRay(p, b.train, masksMM, raycheck.RayStart{WavelengthNM: p.WavelengthsNM[p.Reference()], YMM: y, SlopeY: slope})
		rays = append(rays, tracedRay{r, points, complete})
	}
	return rays
}

// surfacePlace is where a lens surface belongs.
type surfacePlace struct {
	group, part string
	clear       float64
}

// surfacePlaces are the design's surfaces from the world to the eye.
func (b *reopened) surfacePlaces() []surfacePlace {
	var places []surfacePlace
	names := b.train.Layout.GroupNames()
	for k, g := range b.train.Groups {
		for _, e := range g.Elements {
			for range e.Surfaces {
				places = append(places, surfacePlace{names[k], e.ID, e.Lens.ClearMM / 2})
			}
		}
	}
	return places
}

// printRays prints heights and angles of chief and edge rays at every surface,
// for each field sample at the far and the near depth.
func printRays(w io.Writer, b *reopened) error {
	p := b.problem
	places := b.surfacePlaces()
	fmt.Fprintf(w, "Rays from the eye to the world at %s nm, heights along y in mm, angles to the axis in\n"+
		"degrees behind each place, towards the world. Edge rays leave the pupil %.2f mm from the\n"+
		"axis: half the pupil and half the box. * marks a height beyond the clear half.\n",
		shortest(p.WavelengthsNM[p.Reference()]), p.PupilEdge())
	ends := []int{0}
	if last := len(b.stages[0]) - 1; last > 0 {
		ends = append(ends, last)
	}
	beyond := 0
	for _, i := range ends {
		vergence, masks := b.standing(i)
		for _, field := range raycheck.FieldFractions {
			angle := math.Atan(field*p.TanMax) * 180 / math.Pi
			fmt.Fprintf(w, "\nfield %s of the half field, %.2f deg; depth %s m", shortest(field), angle, results.Fixed(b.stages[0][i].DepthM, 3))
			var names []string
			for k, seat := range b.design.Masks() {
				names = append(names, b.design.MaskWords(seat))
				fmt.Fprintf(w, ", %s at %.3f mm", names[k], masks[k])
			}
			fmt.Fprintln(w)
			t, n := rayTable(b.traceSample(field, vergence, masks), places, names)
			beyond += n
			t.Terminal = isTerminal(w)
			if err := t.Print(w); err != nil {
				return err
			}
		}
	}
	_, err := fmt.Fprintf(w, "\n%s beyond a clear half\n", counted(beyond, "crossing"))
	return err
}

// rayTable lists the places that the rays of a sample meet, and how many
// crossings are beyond a clear half. masks are what people call them, from the eye on.
func rayTable(rays []tracedRay, places []surfacePlace, masks []string) (t *results.Table, beyond int) {
	t = &results.Table{Columns: []results.Column{
		{Name: "place", Align: results.Left}, {Name: "surface"}, {Name: "lens", Align: results.Left},
		{Name: "clear half", Unit: "mm"},
	}}
	longest, met := 0, 0
	for i, r := range rays {
		t.Columns = append(t.Columns, results.Column{Name: r.ray.name, Unit: "mm"}, results.Column{Name: "angle", Unit: "deg"})
		if len(r.points) > len(rays[longest].points) {
			longest = i
		}
	}
	// A ray that is lost lacks its last places only: all meet the same ones.
	for i, at := range rays[longest].points {
		row := []string{"", "", "", ""}
		clear := math.Inf(1)
		switch at.At {
		case raycheck.AtEye:
			row[0] = "eye"
		case raycheck.AtPlate:
			row[0] = "plate"
		case raycheck.AtMask:
			row[0] = masks[met]
			met++
		default:
			place := places[at.Surface]
			clear = place.clear
			row = []string{place.group, strconv.Itoa(at.Surface + 1), place.part, results.Fixed(clear, 2)}
		}
		for _, r := range rays {
			if i >= len(r.points) {
				row = append(row, "lost", results.Null)
				continue
			}
			at := r.points[i]
			height := results.Fixed(at.Y, 3)
			if math.Abs(at.Y) > clear {
				height += "*"
				beyond++
			}
			angle := results.Fixed(math.Atan(at.M/-at.N)*180/math.Pi, 3)
			if i == len(r.points)-1 && !r.complete {
				angle = "lost"
			}
			row = append(row, height, angle)
		}
		t.Add(row...)
	}
	return t, beyond
}
