package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/calibrate"
	"relaysweep/results"
	"relaysweep/sweep/spec"
)

// calibrateOptions are how measurements are taken.
type calibrateOptions struct {
	point, rank  int
	seat         string
	hold         []string
	keepOutliers bool
	scaled       bool
	keep         bool
	implausible  bool
	stepD        float64
}

// heldNames are the words of --hold, by parameter.
var heldNames = []string{"zero", "f_rear", "eye"}

func newCalibrateCommand() *cobra.Command {
	var o calibrateOptions
	cmd := &cobra.Command{
		Use:   "calibrate OUTPUT --rank N MEASURED.csv [RIGHT.csv]",
		Short: "fit the stage table of a design to setpoints measured on the bench",
		Long: `calibrate fits the zero of the stage, the effective focal length of the rear
group and the place of the eye to setpoints found by looking, by weighted least
squares on exact predictions. MEASURED.csv has a header row and the columns

  depth_m or vergence_D  distance before the eye at which the mask was sharp
  stage_mm               reading of the stage, positive towards the eye
  sigma_mm               its standard error; without it the stage's resolution

Repeats are welcome. A second file is the right eye's, the first then the left
eye's. Outliers are found by the generalised test of extreme studentized
deviates, named, and left out. Standard errors are those given with the
measurements; --scale-errors takes those that the scatter about the fit shows.

It writes into the output folder, named by point and rank: the corrected stage
table with its 95 % band as CSV and Parquet, and a plot of predicted, measured
and corrected readings. --keep also keeps the fit there, and setpoints then uses
it; from then on these files change with --keep only. Measurements that do not determine the parameters are refused, with the
depth at which another one would help most; --hold leaves a parameter as it was
designed.

A fit is implausible where the focal length or the eye is off by more than five
standard deviations of builds within [tolerance] of the spec and of the fit
itself, or where readings scatter about the fit by more than the depth of focus
of an eye. It is then most likely the file of another mask or design. --keep refuses
it, with code 1; --implausible keeps it all the same.`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 2 && len(args) != 3 {
				return usageError{fmt.Errorf("calibrate takes the output folder of a run and one or two files of measurements; found %d arguments", len(args))}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if !cmd.Flags().Changed("rank") {
				return usageError{errors.New("calibrate takes --rank: which design was built")}
			}
			if o.implausible && !o.keep {
				return usageError{errors.New("--implausible goes with --keep")}
			}
			return runCalibrate(cmd, args[0], args[1:], o)
		},
	}
	cmd.Flags().IntVar(&o.point, "point", 0, "sweep point, from 0")
	cmd.Flags().IntVar(&o.rank, "rank", 1, "rank of the design, from 1")
	cmd.Flags().StringVar(&o.seat, "seat", "", "which mask's stage was measured, front or rear; needed where a mask stands at each image")
	cmd.Flags().StringSliceVar(&o.hold, "hold", nil, "parameters to leave as designed: zero, f_rear, eye")
	cmd.Flags().BoolVar(&o.keepOutliers, "keep-outliers", false, "leave no measurement out")
	cmd.Flags().BoolVar(&o.scaled, "scale-errors", false, "errors from the scatter about the fit in place of those given")
	cmd.Flags().BoolVar(&o.keep, "keep", false, "keep the fit in the output folder; setpoints then uses it")
	cmd.Flags().BoolVar(&o.implausible, "implausible", false, "with --keep: keep the fit also where it is not plausible")
	cmd.Flags().Float64Var(&o.stepD, "step-D", 0.1, "steps of the corrected stage table in dioptres")
	return cmd
}

// eyeFit is the calibration of one eye.
type eyeFit struct {
	eye      string
	file     string
	digest   string
	rows     []measured
	hasSigma bool
	doubts   []string // what makes the fit implausible
	*calibrate.Calibration
}

// calibrationBase is the beginning of the names of a design's calibration: of that of one mask
// where it has two.
func calibrationBase(point, rank int, d *results.Design, seat string) string {
	base := fmt.Sprintf("calibration-point%d-rank%d", point, rank)
	if len(d.Masks()) > 1 {
		base += "-" + seat
	}
	return base
}

// maskMeasured is the mask whose stage was measured, by its place among the design's.
func (b *reopened) maskMeasured(seat string) (int, error) {
	seats := b.design.Masks()
	k := slices.Index(seats, seat)
	switch {
	case k >= 0:
		return k, nil
	case seat == "" && len(seats) == 1:
		return 0, nil
	case seat == "":
		return 0, usageError{errors.New("calibrate takes --seat front or --seat rear for this design: it has a mask at each image, each with a stage of its own")}
	}
	return 0, usageError{fmt.Errorf("--seat: %q; the masks of this design stand at: %s", seat, strings.Join(seats, ", "))}
}

func runCalibrate(cmd *cobra.Command, folder string, files []string, o calibrateOptions) error {
	options := calibrate.Options{KeepOutliers: o.keepOutliers, Scaled: o.scaled}
	for _, name := range o.hold {
		k := slices.Index(heldNames, strings.TrimSpace(name))
		if k < 0 || slices.Contains(options.Held, k) {
			return usageError{fmt.Errorf("--hold: %q; it takes each of %s once", name, strings.Join(heldNames, ", "))}
		}
		options.Held = append(options.Held, k)
	}
	if len(options.Held) == len(heldNames) {
		return usageError{errors.New("--hold leaves nothing to fit")}
	}
	b, err := reopenRank(cmd, folder, o.point, o.rank)
	if err != nil {
		return err
	}
	mask, err := b.maskMeasured(o.seat)
	if err != nil {
		return err
	}
	asked, err := depthSteps(b.problem, o.stepD)
	if err != nil {
		return usageError{err}
	}
	var fits []*eyeFit
	for i, file := range files {
		f := &eyeFit{eye: "both", file: file}
		if len(files) == 2 {
			f.eye = []string{"left", "right"}[i]
		}
		if f.rows, f.hasSigma, err = readMeasured(file, b.problem.StageResolution); err != nil {
			return err
		}
		if err := withinRange(b.problem, file, f.rows); err != nil {
			return err
		}
		data, err := os.ReadFile(file)
		if err != nil {
			return err
		}
		digest := sha256.Sum256(data)
		f.digest = hex.EncodeToString(digest[:])
		var all []calibrate.Measurement
		for _, row := range f.rows {
			all = append(all, row.Measurement)
		}
		f.Calibration, err = untilInterrupted(cmd.Context(), func() (*calibrate.Calibration, error) {
			return calibrate.NewStage(b.problem, b.train, mask).Calibrate(all, options)
		})
		var undetermined *calibrate.Undetermined
		switch {
		case errors.As(err, &undetermined) && undetermined.Depths >= undetermined.Parameters:
			// Depths enough: the fit went where the readings say nothing.
			return usageError{fmt.Errorf("%s: %w; or --hold leaves a parameter as designed\n    %s", file, err, whatToCheck)}
		case errors.As(err, &undetermined):
			return usageError{fmt.Errorf("%s: %w; or --hold leaves a parameter as designed", file, err)}
		case errors.Is(err, calibrate.ErrDiverged):
			return fmt.Errorf("%s: %w\n    %s", file, err, whatToCheck)
		case err != nil:
			return fmt.Errorf("%s: %w", file, err)
		}
		if o.scaled && f.Fit.Freedom < 1 {
			return usageError{fmt.Errorf("%s: --scale-errors: %s leave no scatter about %s", file, counted(len(f.Kept), "measurement"), counted(len(f.Free), "parameter"))}
		}
		f.doubts = f.implausible(b)
		fits = append(fits, f)
	}
	out := cmd.OutOrStdout()
	for _, f := range fits {
		if err := printFit(out, b, f); err != nil {
			return err
		}
	}
	if len(fits) == 2 {
		if err := printEyes(out, b, fits, asked); err != nil {
			return err
		}
	}
	for _, f := range fits {
		if len(f.doubts) > 0 && o.keep && !o.implausible {
			return fmt.Errorf("%s: the fit is implausible, and nothing is kept\n    %s\n    %s\n    --implausible keeps it all the same", f.file, strings.Join(f.doubts, "\n    "), whatToCheck)
		}
	}
	return writeCalibration(cmd, folder, b, mask, fits, asked, o)
}

// withinRange refuses measurements outside the range that the design was made for.
func withinRange(p *objective.Problem, file string, rows []measured) error {
	var faults catalog.Faults
	near, far := 1/(1000*p.VergenceNear), 1/(1000*p.VergenceFar)
	for i := range rows {
		row := &rows[i]
		if depth := 1 / row.VergenceD; depth < near*(1-depthSlack) || depth > far*(1+depthSlack) {
			faults = append(faults, catalog.Fault{
				File: file, Line: row.line, Found: fmt.Sprintf("a depth of %s m", rounded(depth)),
				Want: fmt.Sprintf("a depth from %s to %s m, the range of the spec", shortest(near), shortest(far)),
			})
		}
		row.VergenceD = min(max(row.VergenceD, 1000*p.VergenceFar), 1000*p.VergenceNear)
	}
	if len(faults) > 0 {
		return faults
	}
	return nil
}

// printFit prints the fit of one eye's stage.
func printFit(w io.Writer, b *reopened, f *eyeFit) error {
	var text bytes.Buffer
	eyes := ""
	if f.eye != "both" {
		eyes = ", " + f.eye + " eye"
	}
	fmt.Fprintf(&text, "rank %d%s: %s from %s\n", b.design.Rank, eyes, counted(len(f.rows), "measurement"), f.file)
	for _, i := range f.Outliers {
		fmt.Fprintf(&text, "left out as an outlier: line %d, off by %s mm\n", f.rows[i].line, results.Fixed(f.Residuals[i], 4))
	}
	text.WriteByte('\n')
	t := results.Table{Terminal: isTerminal(w), Columns: []results.Column{
		{Name: "parameter", Align: results.Left}, {Name: "design"}, {Name: "fitted"}, {Name: "standard error"}, {Name: "95 % from"}, {Name: "to"},
	}}
	design := f.Stage.Design()
	for k, name := range calibrate.ParameterNames {
		if !slices.Contains(f.Free, k) {
			t.Add(name, results.Fixed(design[k], 4), "held", results.Null, results.Null, results.Null)
			continue
		}
		t.Add(name, results.Fixed(design[k], 4), results.Fixed(f.Parameters[k], 4), results.Fixed(f.StandardError(k), 4),
			results.Fixed(f.Parameters[k]-f.Half(k), 4), results.Fixed(f.Parameters[k]+f.Half(k), 4))
	}
	if err := t.Print(&text); err != nil {
		return err
	}
	given := "sigma_mm of the file"
	if !f.hasSigma {
		given = fmt.Sprintf("the stage's resolution of %s mm, as the file has no sigma_mm", shortest(b.problem.StageResolution))
	}
	if f.Scaled {
		fmt.Fprintf(&text, "errors: scaled by %s to the scatter about the fit; as given (%s) they are that much smaller\n", results.Fixed(f.Fit.Scale(), 3), given)
	} else {
		fmt.Fprintf(&text, "errors: as given (%s)", given)
		if f.Fit.Freedom > 0 {
			fmt.Fprintf(&text, "; --scale-errors multiplies them by %s, which the scatter about the fit shows", results.Fixed(f.Fit.Scale(), 3))
		}
		text.WriteByte('\n')
	}
	if f.Fit.Freedom > 0 {
		fmt.Fprintf(&text, "chi-squared %s for %s, probability %s\n", results.Fixed(f.Fit.ChiSquared, 2), counted(f.Fit.Freedom, "degree")+" of freedom", results.Fixed(f.Fit.Probability, 3))
	} else {
		text.WriteString("as many parameters as measurements: nothing reports whether the fit is right\n")
	}
	var correlations []string
	for i := range f.Free {
		for k := range i {
			correlations = append(correlations, fmt.Sprintf("%s with %s %s", heldNames[f.Free[k]], heldNames[f.Free[i]], results.Fixed(f.Fit.Correlation(k, i), 3)))
		}
	}
	if len(correlations) > 0 {
		fmt.Fprintf(&text, "correlations: %s\n", strings.Join(correlations, ", "))
	}
	for _, line := range f.verdicts(b) {
		fmt.Fprintln(&text, line)
	}
	if len(f.doubts) > 0 {
		fmt.Fprintf(&text, "warning: the fit is implausible\n  %s\n  %s\n", strings.Join(f.doubts, "\n  "), whatToCheck)
	}
	advice := f.Stage.Advise(f.measured(), f.Free)
	fmt.Fprintf(&text, "a further measurement would help most at %s D\n\n", rounded(math.Round(1000*advice.VergenceD)/1000))
	table := results.Table{Terminal: isTerminal(w), Columns: []results.Column{
		{Name: "line"}, {Name: "depth", Unit: "m"}, {Name: "vergence", Unit: "D"}, {Name: "measured", Unit: "mm"}, {Name: "predicted", Unit: "mm"},
		{Name: "corrected", Unit: "mm"}, {Name: "residual", Unit: "mm"}, {Name: "over error"},
	}}
	for i, row := range f.rows {
		table.Add(fmt.Sprint(row.line), rounded(math.Round(1e6/row.VergenceD)/1e6), rounded(math.Round(1e6*row.VergenceD)/1e6), results.Fixed(row.StageMM, 4),
			results.Fixed(f.Predicted[i], 4), results.Fixed(f.Corrected[i], 4), results.Fixed(f.Residuals[i], 4), results.Fixed(f.Residuals[i]/row.SigmaMM, 2))
	}
	if err := table.Print(&text); err != nil {
		return err
	}
	text.WriteByte('\n')
	_, err := w.Write(text.Bytes())
	return err
}

// verdicts say whether the prediction holds within the tolerances of the spec.
func (f *eyeFit) verdicts(b *reopened) []string {
	t := &b.tolerances
	var lines []string
	add := func(parameter int, what string, off, half, tolerance float64, unit, key string) {
		if !slices.Contains(f.Free, parameter) {
			return
		}
		verdict := "beyond"
		switch {
		case math.Abs(off)+half <= tolerance:
			verdict = "within"
		case math.Abs(off)-half <= tolerance:
			verdict = "not to be told from within"
		}
		lines = append(lines, fmt.Sprintf("%s: off by %s ± %s %s, %s tolerance.%s = %s", what, results.Fixed(off, 3), results.Fixed(half, 3), unit, verdict, key, shortest(tolerance)))
	}
	focal := f.Stage.Design()[calibrate.RearFocal]
	add(calibrate.RearFocal, "focal length of the rear group", 100*(f.Parameters[calibrate.RearFocal]/focal-1), 100*f.Half(calibrate.RearFocal)/focal, t.FocalPct, "%", "focal_pct")
	add(calibrate.Zero, "zero of the stage", f.Parameters[calibrate.Zero], f.Half(calibrate.Zero), t.StageZeroMM, "mm", "stage_zero_mm")
	return lines
}

// measured are the measurements that were not left out.
func (f *eyeFit) measured() (all []calibrate.Measurement) {
	for _, i := range f.Kept {
		all = append(all, f.rows[i].Measurement)
	}
	return all
}

// implausibleFrom is at how many standard deviations a fit is no build of the design any more:
// five, which no error but a mistake reaches (3e-7 of a normal distribution on each side), and which
// leave room for the tolerances that [calibrate.Stage.Scatter] leaves out. Of a uniform tolerance
// it is 2.9 times its width.
const implausibleFrom = 5

const whatToCheck = "check: is this the file of this mask and this design (--seat, --point, --rank)? does stage_mm grow towards the eye, in mm? are depths counted from the eye?"

// implausible says what of a fit no build within the tolerances explains. The zero is not
// judged: finding it is what the fit is for.
func (f *eyeFit) implausible(b *reopened) (doubts []string) {
	// A uniform error in ±T has the standard deviation T/√3, a normal one T/2.
	t, width := &b.tolerances, 1/math.Sqrt(3)
	if t.Distribution != spec.DistributionUniform {
		width = 0.5
	}
	kept := f.measured()
	// Radii move the focal length where it has no tolerance of its own.
	focalPct := t.FocalPct
	if focalPct == 0 {
		focalPct = t.RadiusPct
	}
	builds := f.Stage.Scatter(kept, f.Free, calibrate.Spread{FocalShare: width * focalPct / 100, GapMM: width * t.GapMM})
	// Errors as given may be too small, as the resolution of a stage is where nothing is given.
	scale := 1.0
	if f.Fit.Freedom > 0 {
		scale = max(1, f.Fit.Scale())
	}
	add := func(parameter int, what string) {
		i := slices.Index(f.Free, parameter)
		if i < 0 {
			return
		}
		off := f.Parameters[parameter] - f.Stage.Design()[parameter]
		most := implausibleFrom * math.Hypot(builds[parameter], scale*f.Fit.StandardError(i))
		if math.Abs(off) <= most {
			return
		}
		share := ""
		if parameter == calibrate.RearFocal {
			share = " (" + results.Fixed(100*off/f.Stage.Design()[parameter], 1) + " %)"
		}
		doubts = append(doubts, fmt.Sprintf("%s: off by %s mm%s; builds within [tolerance] and errors of the fit explain up to %s mm (%d standard deviations)",
			what, results.Fixed(off, 2), share, results.Fixed(most, 2), implausibleFrom))
	}
	add(calibrate.RearFocal, "focal length of the rear group")
	add(calibrate.Eye, "place of the eye")
	var at []float64
	for _, m := range kept {
		at = append(at, m.VergenceD)
	}
	// Setpoints found by looking scatter by the depth of focus of the eye, or by their errors as
	// given. The design's slopes turn mm into dioptres: those of a fit gone astray mean nothing.
	slopes := f.Stage.Slopes(f.Stage.Design(), at)
	var squares, overErrors float64
	for i, k := range f.Kept {
		squares += f.Residuals[k] / slopes[i] * f.Residuals[k] / slopes[i]
		overErrors += f.Residuals[k] / kept[i].SigmaMM * f.Residuals[k] / kept[i].SigmaMM
	}
	n := float64(len(kept))
	if off := math.Sqrt(squares / n); off > comfortD && math.Sqrt(overErrors/n) > implausibleFrom {
		doubts = append(doubts, fmt.Sprintf("readings: off the fit by %s D (root mean square), more than the depth of focus of an eye of %s D and %d times the errors as given",
			results.Fixed(off, 2), shortest(comfortD), implausibleFrom))
	}
	return doubts
}

// comfortD is the vergence by which the two eyes' pictures may differ: the depth of focus of
// an eye, ±0.3 D at a pupil of 3 mm (F. W. Campbell, thesis, Glasgow 1959, abstract).
const comfortD = 0.3

// printEyes prints how the stages of two eyes differ.
func printEyes(w io.Writer, b *reopened, fits []*eyeFit, asked []askedDepth) error {
	at := vergencesOf(asked)
	left, right := fits[0].Stage.Readings(fits[0].Parameters, at), fits[1].Stage.Readings(fits[1].Parameters, at)
	var most float64
	for i := 1; i < len(at); i++ {
		slope := ((left[i] - left[i-1]) + (right[i] - right[i-1])) / 2 / (at[i] - at[i-1])
		for k := i - 1; k <= i; k++ {
			most = max(most, math.Abs((left[k]-right[k])/slope))
		}
	}
	views := fits[0].Stage.Viewpoint(fits[0].Parameters) - fits[1].Stage.Viewpoint(fits[1].Parameters)
	verdict := "within"
	if most > comfortD {
		verdict = "beyond"
	}
	_, err := fmt.Fprintf(w, "two eyes: with both stages at the same reading the eyes see the mask up to %s D apart, %s the depth of focus of %s D (3 mm pupil)\n"+
		"their viewpoints lie %s mm apart along the axis; each stage by its own table has no such difference but for the bands\n"+
		"heights of the two views no stage tells: hold them to 3.4 arcmin (published values differ)\n\n",
		results.Fixed(most, 3), verdict, shortest(comfortD), results.Fixed(math.Abs(views), 2))
	return err
}

func vergencesOf(asked []askedDepth) []float64 {
	at := make([]float64, len(asked))
	for i, a := range asked {
		at[i] = a.vergenceD
	}
	return at
}

// writeCalibration writes the corrected table, its plot and, where asked, what setpoints
// uses. Table and plot of a fit that is kept stay with it: unless this one is to take its
// place, nothing is written.
func writeCalibration(cmd *cobra.Command, folder string, b *reopened, mask int, fits []*eyeFit, asked []askedDepth, o calibrateOptions) error {
	at, seat := vergencesOf(asked), b.design.Masks()[mask]
	var rows []results.StageRow
	var plots []results.CalibrationPlot
	kept := &results.Calibration{Program: "relaysweep", Version: version, RankedSHA256: b.ranked, Point: o.point, Rank: o.rank, DesignID: b.design.DesignID, Seat: seat}
	for _, f := range fits {
		readings, half := f.Table(at)
		predicted := f.Stage.Readings(f.Stage.Design(), at)
		plot := results.CalibrationPlot{Eye: f.eye}
		for i, v := range at {
			plot.Rows = append(plot.Rows, results.StageRow{
				Eye: f.eye, DepthM: 1 / v, VergenceD: v, StageMM: readings[i], LowMM: readings[i] - half[i], HighMM: readings[i] + half[i], PredictedMM: predicted[i],
			})
		}
		rows = append(rows, plot.Rows...)
		for i, row := range f.rows {
			plot.Measured = append(plot.Measured, results.ReportPoint{X: row.VergenceD, Y: row.StageMM})
			plot.Residuals = append(plot.Residuals, results.ReportPoint{X: row.VergenceD, Y: f.Residuals[i]})
			plot.Left = append(plot.Left, slices.Contains(f.Outliers, i))
		}
		plots = append(plots, plot)
		eye := results.CalibrationEye{
			Eye: f.eye, ZeroMM: f.Parameters[calibrate.Zero], FRearMM: f.Parameters[calibrate.RearFocal], EyeMM: f.Parameters[calibrate.Eye],
			ZeroErrorMM: f.StandardError(calibrate.Zero), FRearErrorMM: f.StandardError(calibrate.RearFocal), EyeErrorMM: f.StandardError(calibrate.Eye),
			Errors: "as given", ChiSquared: f.Fit.ChiSquared, Freedom: f.Fit.Freedom, Measurements: len(f.rows), OutlierLines: []int{}, MeasuredSHA: f.digest,
		}
		if f.Scaled {
			eye.Errors = "scaled"
		}
		for _, i := range f.Outliers {
			eye.OutlierLines = append(eye.OutlierLines, f.rows[i].line)
		}
		kept.Eyes = append(kept.Eyes, eye)
	}
	base := filepath.Join(folder, calibrationBase(o.point, o.rank, b.design, seat))
	out := cmd.OutOrStdout()
	if !o.keep {
		if _, err := os.Lstat(base + ".json"); err == nil {
			_, err := fmt.Fprintf(out, "nothing written to %s: %s keeps a fit, with its table and plot\n--keep puts this one in its place\n\n%s",
				folder, filepath.Base(base)+".json", cautionLine)
			return err
		} else if !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	title := fmt.Sprintf("stage of rank %d, design %s", b.design.Rank, b.design.DesignID)
	if len(b.stages) > 1 {
		title = b.design.MaskWords(seat) + ", " + title
	}
	meta := map[string]string{"program": "relaysweep", "version": version}
	written := []string{filepath.Base(base) + ".csv", filepath.Base(base) + ".parquet", filepath.Base(base) + ".svg"}
	if err := results.WriteStageCSV(base+".csv", rows); err != nil {
		return err
	}
	if err := results.WriteStageRows(base+".parquet", b.ranked, meta, rows); err != nil {
		return err
	}
	if err := results.WriteCalibrationPlot(base+".svg", title, plots); err != nil {
		return err
	}
	if o.keep {
		if err := results.WriteCalibration(base+".json", kept); err != nil {
			return err
		}
		written = append(written, filepath.Base(base)+".json")
	}
	fmt.Fprintf(out, "written to %s: %s\n", folder, strings.Join(written, ", "))
	if !o.keep {
		fmt.Fprintln(out, "--keep keeps the fit there too; relaysweep setpoints then uses it")
	}
	_, err := fmt.Fprint(out, "\n"+cautionLine)
	return err
}

// calibrations are what is kept of calibrations of the design's masks, each nil where nothing is,
// and the names of the files.
func (b *reopened) calibrations(folder string, notes io.Writer) (all []*results.Calibration, names []string, err error) {
	for _, seat := range b.design.Masks() {
		name := calibrationBase(b.design.Point, b.design.Rank, b.design, seat) + ".json"
		c, err := b.calibration(filepath.Join(folder, name), notes)
		if err != nil {
			return nil, nil, err
		}
		if all = append(all, c); c != nil {
			names = append(names, name)
		}
	}
	return all, names, nil
}

// calibration is what is kept in a file, nil where there is none. One of
// another run's design is told to notes, and left out.
func (b *reopened) calibration(path string, notes io.Writer) (*results.Calibration, error) {
	c, err := results.ReadCalibration(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, nil
	case err != nil:
		return nil, fmt.Errorf("%w\n    relaysweep calibrate --keep makes it again", err)
	case c.RankedSHA256 != b.ranked || c.DesignID != b.design.DesignID:
		_, err := fmt.Fprintf(notes, "warning: %s: belongs to other results than those that stand here, and is not used\n", path)
		return nil, err
	}
	return c, nil
}

// measuredStages are the stage tables of a design's masks by what calibrate has kept of them,
// each nil where it has kept nothing.
func (b *reopened) measuredStages(folder string, notes io.Writer) ([][]results.StageRow, error) {
	kept, _, err := b.calibrations(folder, notes)
	if err != nil {
		return nil, err
	}
	all := make([][]results.StageRow, len(kept))
	for k, c := range kept {
		if c == nil {
			continue
		}
		var at []float64
		for _, s := range b.stages[k] {
			at = append(at, s.VergenceD)
		}
		stage := calibrate.NewStage(b.problem, b.train, k)
		for _, of := range c.Eyes {
			for i, x := range stage.Readings([]float64{of.ZeroMM, of.FRearMM, of.EyeMM}, at) {
				s := &b.stages[k][i]
				all[k] = append(all[k], results.StageRow{Eye: of.Eye, DepthM: s.DepthM, VergenceD: at[i], StageMM: x, PredictedMM: s.StageMM})
			}
		}
	}
	return all, nil
}
