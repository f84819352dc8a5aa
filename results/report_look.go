package results

import (
	"encoding/base64"
	"fmt"
	"html/template"
)

// pageLook is a picture of what an eye sees.
type pageLook struct {
	Image         template.URL
	Width, Height int
	Words, Alt    string
}

// pageLooks are a design's pictures.
func pageLooks(l *ReportDesign) (looks []pageLook) {
	for _, look := range l.Looks {
		words := depthName(look.VergenceD)
		if look.Where != "" {
			words += ": " + look.Where
		}
		looks = append(looks, pageLook{
			Image: template.URL("data:image/png;base64," + base64.StdEncoding.EncodeToString(look.PNG)), Width: look.Width, Height: look.Height,
			Words: words, Alt: fmt.Sprintf("A grid of lines and the letter F, simulated as seen through the train by an eye that looks at %s.", words),
		})
	}
	return looks
}
