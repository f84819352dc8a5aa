package main

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"

	"relaysweep/catalog"
	"relaysweep/objective/calibrate"
)

// measuredMost bounds the measurements of a file: more is a slip.
const measuredMost = 10_000

// measured is a measurement with the line that it stands on.
type measured struct {
	calibrate.Measurement
	line int
}

// readMeasured reads setpoints found on the bench: a CSV with a header row and the columns
// depth_m or vergence_D, stage_mm, and sigma_mm if the errors are known; # begins a comment.
// Without sigma_mm each has the error given here. All faults of a file come at once.
func readMeasured(path string, sigmaMM float64) (rows []measured, hasSigma bool, err error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, false, err
	}
	var faults catalog.Faults
	fault := func(line int, column, found, want string) {
		faults = append(faults, catalog.Fault{File: path, Line: line, Key: column, Found: found, Want: want})
	}
	const wantHead = "a header row with depth_m or vergence_D, stage_mm, and sigma_mm where errors are known"
	in := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(data, []byte("\ufeff"))))
	in.Comment, in.TrimLeadingSpace, in.FieldsPerRecord = '#', true, -1
	var head []string
	for {
		cells, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		var broken *csv.ParseError
		if errors.As(err, &broken) {
			fault(broken.Line, "", broken.Err.Error(), "a row of a CSV table")
			break
		}
		if err != nil {
			return nil, false, fmt.Errorf("%s: %w", path, err)
		}
		line, _ := in.FieldPos(0)
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		if head == nil {
			head = cells
			for i, name := range head {
				switch {
				case !slices.Contains([]string{"depth_m", "vergence_D", "stage_mm", "sigma_mm"}, name):
					fault(line, name, "unknown column", wantHead)
				case slices.Contains(head[:i], name):
					fault(line, name, "stands in the header twice", wantHead)
				}
			}
			if slices.Contains(head, "depth_m") == slices.Contains(head, "vergence_D") || !slices.Contains(head, "stage_mm") {
				fault(line, "", "the header row has "+strings.Join(head, ", "), wantHead)
			}
			if len(faults) > 0 {
				return nil, false, faults
			}
			continue
		}
		if len(cells) != len(head) {
			fault(line, "", fmt.Sprintf("%d cells", len(cells)), fmt.Sprintf("%d, as in the header row", len(head)))
			continue
		}
		if len(rows) == measuredMost {
			fault(line, "", fmt.Sprintf("more than %d measurements", measuredMost), "fewer")
			break
		}
		one := measured{calibrate.Measurement{SigmaMM: sigmaMM}, line}
		for i, name := range head {
			x, err := strconv.ParseFloat(cells[i], 64)
			bad := err != nil || math.IsNaN(x)
			refuse := func(want string) { fault(line, name, strconv.Quote(cells[i]), want) }
			switch name {
			case "depth_m":
				if bad || !(x > 0) {
					refuse("a distance before the eye in m above 0, or inf")
					continue
				}
				one.VergenceD = 1 / x
			case "vergence_D":
				if bad || x < 0 || math.IsInf(x, 0) {
					refuse("a vergence in dioptres of at least 0")
					continue
				}
				one.VergenceD = x
			case "stage_mm":
				if bad || math.IsInf(x, 0) {
					refuse("a reading of the stage in mm, positive towards the eye")
					continue
				}
				one.StageMM = x
			case "sigma_mm":
				if bad || !(x > 0) || math.IsInf(x, 0) {
					refuse("a standard error in mm above 0")
					continue
				}
				one.SigmaMM = x
			}
		}
		rows = append(rows, one)
	}
	switch {
	case len(faults) > 0:
	case head == nil:
		fault(0, "", "holds no table", wantHead)
	case len(rows) == 0:
		fault(0, "", "holds no measurement", "a row for each setpoint that was found")
	}
	if len(faults) > 0 {
		return nil, false, faults
	}
	return rows, slices.Contains(head, "sigma_mm"), nil
}
