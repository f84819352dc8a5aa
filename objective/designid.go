package objective

import (
	"fmt"
	"strings"
)

// DesignName is what a design_id says: layout and seat, and which part stands in
// which place and which way round. [Train.DesignID] is its text.
type DesignName struct {
	Space
	Groups [][]LensName // from the world to the eye
}

// LensName is a part in an orientation.
type LensName struct {
	Part     string
	Reversed bool
}

// Slip is one thing wrong in a text: what stands there, and what would be right.
type Slip struct{ Found, Want string }

// Layouts and Seats are all there are, in the order of their values.
var (
	Layouts = []Layout{Keplerian, ErectorSingle, ErectorPair}
	Seats   = []Seat{SeatFront, SeatRear, SeatBoth}
)

// exampleID is how a design is named, for messages.
const exampleID = `"erector-single:rear:A+B|C/r|D"`

// ParseDesignID reads a design_id, layout:seat: and the groups from world to eye
// joined by |, their lenses by +, a reversed lens with /r behind its part. Spaces
// around names are passed over. The slips are all that is wrong with it; the name
// then holds what could be read. Whether the parts exist is not its affair.
func ParseDesignID(id string) (DesignName, []Slip) {
	var name DesignName
	var slips []Slip
	slip := func(found, want string) { slips = append(slips, Slip{found, want}) }
	layout, rest, ok := strings.Cut(id, ":")
	seat, lenses, okSeat := strings.Cut(rest, ":")
	if !ok || !okSeat {
		slip("no layout and seat before the lenses", "layout:seat: and the groups, as "+exampleID)
		return name, slips
	}
	layout, seat = strings.TrimSpace(layout), strings.TrimSpace(seat)
	known := false
	for _, l := range Layouts {
		if l.String() == layout {
			name.Layout, known = l, true
		}
	}
	if !known {
		slip(fmt.Sprintf("%q is no layout", layout), "one of "+joined(Layouts))
	}
	switch seat {
	case SeatFront.String():
		if name.Seat = SeatFront; known && name.Layout == Keplerian {
			slip(`the seat "front"`, `"rear": the one image of a keplerian counts as the rear seat`)
		}
	case SeatBoth.String():
		if name.Seat = SeatBoth; known && name.Layout == Keplerian {
			slip(`the seat "both"`, `"rear": a keplerian has one image`)
		}
	case SeatRear.String():
		name.Seat = SeatRear
	default:
		slip(fmt.Sprintf("%q is no seat", seat), "one of "+joined(Seats))
	}
	groups := strings.Split(lenses, "|")
	if names := name.Layout.GroupNames(); known && len(groups) != len(names) {
		slip(fmt.Sprintf("%d groups joined by |", len(groups)), fmt.Sprintf("the %d of a train of layout %s: %s", len(names), name.Layout, strings.Join(names, "|")))
	}
	for i, group := range groups {
		var stack []LensName
		for k, text := range strings.Split(group, "+") {
			part, reversed := strings.CutSuffix(strings.TrimSpace(text), "/r")
			part = strings.TrimSpace(part)
			if part == "" {
				slip(fmt.Sprintf("lens %d of group %d has no name", k+1, i+1), "a part between | and +, with /r behind it where it is reversed")
				continue
			}
			stack = append(stack, LensName{part, reversed})
		}
		name.Groups = append(name.Groups, stack)
	}
	return name, slips
}

// joined are names in quotes, for messages.
func joined[T fmt.Stringer](all []T) string {
	quoted := make([]string, len(all))
	for i, x := range all {
		quoted[i] = fmt.Sprintf("%q", x.String())
	}
	return strings.Join(quoted, ", ")
}

// String is the design_id.
func (n DesignName) String() string {
	groups := make([]string, len(n.Groups))
	for i, stack := range n.Groups {
		lenses := make([]string, len(stack))
		for k, l := range stack {
			lenses[k] = l.String()
		}
		groups[i] = strings.Join(lenses, "+")
	}
	return n.Layout.String() + ":" + n.Seat.String() + ":" + strings.Join(groups, "|")
}

func (l LensName) String() string {
	if l.Reversed {
		return l.Part + "/r"
	}
	return l.Part
}

// DesignID names the train: layout:seat: and the groups joined by |. It is read by
// [ParseDesignID].
func (t *Train) DesignID() string {
	var b strings.Builder
	b.WriteString(t.Layout.String())
	b.WriteByte(':')
	b.WriteString(t.Seat.String())
	b.WriteByte(':')
	for i, g := range t.Groups {
		if i > 0 {
			b.WriteByte('|')
		}
		b.WriteString(g.ID())
	}
	return b.String()
}
