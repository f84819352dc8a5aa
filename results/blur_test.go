package results

import (
	"strings"
	"testing"
)

// TestBlursSayWhatTheyAre: a root-mean-square radius is easily taken for a width. A
// uniform disc of radius 1 has the RMS radius 1/sqrt(2), so that its width is
// 2·sqrt(2) times that.
func TestBlursSayWhatTheyAre(t *testing.T) {
	found := 0
	for _, c := range designColumns {
		name := c.field.Name
		about, _ := c.field.Metadata.GetValue("description")
		if !strings.HasSuffix(name, "_blur_arcmin") {
			continue
		}
		found++
		if name == "groove_blur_arcmin" { // a spread by diffraction has no RMS radius
			if !strings.Contains(about, "a half width and no RMS radius") {
				t.Errorf("%s: %q", name, about)
			}
			continue
		}
		if !strings.Contains(about, "RMS radius") || !strings.Contains(about, "2.83 times that across") {
			t.Errorf("%s: %q", name, about)
		}
	}
	if found != 4 {
		t.Errorf("%d columns of blurs", found)
	}
}
