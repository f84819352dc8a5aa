package results

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
)

// StageRow is one row of a corrected stage table.
type StageRow struct {
	Eye       string // both, left or right
	DepthM    float64
	VergenceD float64
	// StageMM is the corrected reading, and LowMM and HighMM its 95 % band; PredictedMM is
	// the design's.
	StageMM, LowMM, HighMM float64
	PredictedMM            float64
}

var stageRowColumns = []column[StageRow]{
	label("eye", "which eye's stage: both, left or right", func(s *StageRow) *string { return &s.Eye }),
	number("depth_m", "m", "apparent distance before the eye at which the mask looks sharp; infinite for far", func(s *StageRow) *float64 { return &s.DepthM }),
	number("vergence_D", "D", "one over the depth", func(s *StageRow) *float64 { return &s.VergenceD }),
	number("stage_mm", "mm", "corrected reading of the stage, positive towards the eye", func(s *StageRow) *float64 { return &s.StageMM }),
	number("low_mm", "mm", "lower end of the reading's 95 % band", func(s *StageRow) *float64 { return &s.LowMM }),
	number("high_mm", "mm", "upper end of the reading's 95 % band", func(s *StageRow) *float64 { return &s.HighMM }),
	number("predicted_mm", "mm", "reading by the design", func(s *StageRow) *float64 { return &s.PredictedMM }),
}

// StageRowColumnDocs are the columns of a corrected stage table.
func StageRowColumnDocs() []ColumnDoc { return docsOf(nil, "", fieldsOf(stageRowColumns)) }

// WriteStageRows writes a corrected stage table as Parquet, whole or not at all.
func WriteStageRows(path, ranked string, meta map[string]string, rows []StageRow) error {
	return writeRows(path, stageRowColumns, builtFrom(ranked, meta), rows, func(s *StageRow) string {
		return fmt.Sprintf("eye %s, %v D", s.Eye, s.VergenceD)
	})
}

// WriteStageCSV writes a corrected stage table as CSV, whole or not at all.
func WriteStageCSV(path string, rows []StageRow) error {
	return WriteWhole(path, func(w io.Writer) error {
		var names []string
		for _, c := range stageRowColumns {
			names = append(names, c.field.Name)
		}
		if _, err := fmt.Fprintln(w, strings.Join(names, ",")); err != nil {
			return err
		}
		for i := range rows {
			cells := []string{rows[i].Eye}
			for _, c := range stageRowColumns[1:] {
				x, _ := c.value(&rows[i])
				cells = append(cells, csvNumber(x))
			}
			if _, err := fmt.Fprintln(w, strings.Join(cells, ",")); err != nil {
				return err
			}
		}
		return nil
	})
}

// csvNumber is a number without the noise of its last digits.
func csvNumber(x float64) string {
	if math.IsInf(x, 1) {
		return "inf"
	}
	return strconv.FormatFloat(x, 'g', 10, 64)
}

// Calibration is what is kept of a calibration, for the stage table of a design.
type Calibration struct {
	Program      string           `json:"program"`
	Version      string           `json:"version"`
	RankedSHA256 string           `json:"ranked_sha256"`
	Point        int              `json:"point"`
	Rank         int              `json:"rank"`
	DesignID     string           `json:"design_id"`
	Seat         string           `json:"seat"` // of the mask whose stage it is: front or rear
	Eyes         []CalibrationEye `json:"eyes"`
}

// CalibrationEye is the fit of one eye's stage.
type CalibrationEye struct {
	Eye          string  `json:"eye"` // both, left or right
	ZeroMM       float64 `json:"zero_mm"`
	FRearMM      float64 `json:"f_rear_mm"`
	EyeMM        float64 `json:"eye_mm"`
	ZeroErrorMM  float64 `json:"zero_error_mm"`
	FRearErrorMM float64 `json:"f_rear_error_mm"`
	EyeErrorMM   float64 `json:"eye_error_mm"`
	Errors       string  `json:"errors"` // as given or scaled
	ChiSquared   float64 `json:"chi_squared"`
	Freedom      int     `json:"freedom"`
	Measurements int     `json:"measurements"`
	OutlierLines []int   `json:"outlier_lines"`
	MeasuredSHA  string  `json:"measured_sha256"`
}

// Of is the fit of an eye's stage: that of both eyes where they have one, and the first where
// there is none of its name.
func (c *Calibration) Of(eye string) *CalibrationEye {
	for i := range c.Eyes {
		if of := &c.Eyes[i]; of.Eye == eye || of.Eye == "both" {
			return of
		}
	}
	return &c.Eyes[0]
}

// WriteCalibration keeps a calibration, whole or not at all.
func WriteCalibration(path string, c *Calibration) error {
	return WriteWhole(path, func(w io.Writer) error {
		e := json.NewEncoder(w)
		e.SetIndent("", "  ")
		return e.Encode(c)
	})
}

// ReadCalibration reads what WriteCalibration wrote. An error names the file and what is
// wrong with it; it is fs.ErrNotExist where there is none.
func ReadCalibration(path string) (*Calibration, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	var c Calibration
	if err := json.Unmarshal(data, &c); err != nil {
		return nil, fmt.Errorf("%s: is no calibration: %w", path, err)
	}
	if c.Program != "relaysweep" || len(c.Eyes) == 0 || len(c.Eyes) > 2 {
		return nil, fmt.Errorf("%s: is no calibration of relaysweep", path)
	}
	for _, e := range c.Eyes {
		if !(e.FRearMM > 0) {
			return nil, fmt.Errorf("%s: f_rear_mm is %v, where a focal length stands", path, e.FRearMM)
		}
	}
	return &c, nil
}

// CalibrationPlot is what is drawn of an eye's calibration.
type CalibrationPlot struct {
	Eye  string
	Rows []StageRow // the curve
	// Measured are readings over vergence, and Residuals what they are off the corrected
	// curve; Left is which were left out as outliers.
	Measured, Residuals []ReportPoint
	Left                []bool
}

// WriteCalibrationPlot draws predicted, measured and corrected readings with their residuals
// below, for each eye, as an SVG of its own, whole or not at all. It fails where MayDraw
// does.
func WriteCalibrationPlot(path, title string, plots []CalibrationPlot) error {
	if err := MayDraw(path); err != nil {
		return err
	}
	var charts [][2]*chart
	for _, p := range plots {
		of := ""
		if len(plots) > 1 {
			of = ", " + p.Eye + " eye"
		}
		curve := &chart{title: "Readings of the stage" + of, x: chartAxis{"vergence", "D"}, y: chartAxis{"stage", "mm"}}
		predicted := chartSeries{label: "predicted", style: 1, noMarks: true}
		corrected := chartSeries{label: "corrected", style: 0, noMarks: true}
		low, high := chartSeries{label: "95 % band", style: 3, noMarks: true}, chartSeries{style: 3, noMarks: true}
		below := &chart{title: "Measured less corrected" + of, x: chartAxis{"vergence", "D"}, y: chartAxis{"residual", "mm"}}
		for _, r := range p.Rows {
			predicted.points = append(predicted.points, xy{r.VergenceD, r.PredictedMM})
			corrected.points = append(corrected.points, xy{r.VergenceD, r.StageMM})
			low.points = append(low.points, xy{r.VergenceD, r.LowMM - r.StageMM})
			high.points = append(high.points, xy{r.VergenceD, r.HighMM - r.StageMM})
		}
		kept, left := chartSeries{label: "measured", style: 0, noLine: true}, chartSeries{label: "outlier", style: 2, noLine: true}
		keptOff, leftOff := kept, left
		for i, m := range p.Measured {
			if p.Left[i] {
				left.points, leftOff.points = append(left.points, xy{m.X, m.Y}), append(leftOff.points, xy{p.Residuals[i].X, p.Residuals[i].Y})
			} else {
				kept.points, keptOff.points = append(kept.points, xy{m.X, m.Y}), append(keptOff.points, xy{p.Residuals[i].X, p.Residuals[i].Y})
			}
		}
		curve.series, below.series = []chartSeries{corrected, predicted, kept}, []chartSeries{low, high, keptOff}
		if len(left.points) > 0 {
			curve.series, below.series = append(curve.series, left), append(below.series, leftOff)
		}
		charts = append(charts, [2]*chart{curve, below})
	}
	return WriteWhole(path, func(w io.Writer) error {
		_, err := io.WriteString(w, drawingMark+chartsFile(title, charts))
		return err
	})
}

// chartsFile is an SVG of its own with columns of charts above each other.
func chartsFile(title string, columns [][2]*chart) string {
	s := &svgDrawing{decimals: 1}
	s.b.WriteString("<style>" + chartFileStyle + "</style>")
	width, height, most := float64(len(columns))*(chartWidth+20)+20, 0.0, 0.0
	for _, column := range columns {
		height = 20
		for _, c := range column {
			height += chartHeight + float64(c.legendRows())*chartLegendLine + 20
		}
		most = max(most, height)
	}
	s.element("rect", "sheet", "x", 0.0, "y", 0.0, "width", width, "height", most)
	for i, column := range columns {
		y := 20.0
		for k, c := range column {
			high := chartHeight + float64(c.legendRows())*chartLegendLine
			place := fmt.Sprintf(`<svg x="%g" y="%g" width="%g" height="%g" `, 20+float64(i)*(chartWidth+20), y, chartWidth, high)
			s.b.WriteString(strings.Replace(c.svg(fmt.Sprintf("c%d%d", i, k)), "<svg ", place, 1))
			y += high + 20
		}
	}
	return s.named("t", "charts", title, title, fmt.Sprintf(` width="%d" height="%d"`, int(2*width), int(2*most)), [4]float64{0, 0, width, most}) + "\n"
}

// chartFileStyle is what the page's style sheet says of charts, in plain numbers, as not
// every program that shows SVG can reckon in a style.
const chartFileStyle = `.sheet{fill:#fff}.chart text{font:11px sans-serif;fill:#566270}.chart .label,.chart .chart-title{fill:#1b1f24}` +
	`.chart .chart-title{font-weight:600;font-size:12.5px}.grid{stroke:#d5dae0;stroke-width:.6}.frame{fill:none;stroke:#566270;stroke-width:.8}` +
	`.line{fill:none;stroke-width:1.5}.mark{stroke-width:1.3}.mark.open{fill:#fff}.line.s1{stroke-dasharray:7 3}.line.s2{stroke-dasharray:8 3 1.5 3}` +
	`.line.s3{stroke-dasharray:2 2.5}.s0{stroke:#1b4f8a;fill:#1b4f8a}.s1{stroke:#9a4b00;fill:#9a4b00}.s2{stroke:#8a1b3d;fill:#8a1b3d}` +
	`.s3{stroke:#4d6b1b;fill:#4d6b1b}.line.s0,.line.s1,.line.s2,.line.s3{fill:none}`
