package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"relaysweep/objective"
	"relaysweep/objective/calibrate"
	"relaysweep/objective/raycheck"
	"relaysweep/results"
)

func newSetpointsCommand() *cobra.Command {
	var point, rank int
	var depths string
	var step float64
	var asDesigned bool
	cmd := &cobra.Command{
		Use:   "setpoints OUTPUT (--depths M,M,... | --step-D D)",
		Short: "print stage positions of a design at any depths, as CSV to drive the stage with",
		Long: `setpoints prints, as CSV, where the mask of one design stands for each of the
depths asked for: by exact rays, in the same way as the stage table of the run,
and not read off between its rows.

  mask_mm           from the last vertex before the mask to its layer
  stage_mm          from the far setpoint, positive towards the eye
  mask_paraxial_mm  as mask_mm, in the paraxial model
  mask_blur_arcmin  what blur remains there, the largest over the field
  seat              image at which the mask stands: front or rear; where a mask
                    stands at each, every depth has two rows, the rear one first

Where calibrate --keep has kept what was measured on the bench, positions are
those of the stage as it stands: stage_mm is its reading, with its zero, the rear
group's focal length and the eye's place as fitted. With a calibration of two eyes
a first column, eye, says left or right.`,
		Args: oneArgument("the output folder of a run"),
		RunE: func(cmd *cobra.Command, args []string) error {
			byStep := cmd.Flags().Changed("step-D")
			if byStep == cmd.Flags().Changed("depths") {
				return usageError{errors.New("setpoints takes either --depths, as 0.25,0.5,1,inf, or --step-D, as 0.05")}
			}
			b, err := reopenRank(cmd, args[0], point, rank)
			if err != nil {
				return err
			}
			var asked []askedDepth
			if byStep {
				asked, err = depthSteps(b.problem, step)
			} else {
				asked, err = parseDepths(b.problem, depths)
			}
			if err != nil {
				return usageError{err}
			}
			if !asDesigned {
				kept, names, err := b.calibrations(args[0], cmd.ErrOrStderr())
				if err != nil {
					return err
				}
				if len(names) > 0 {
					fmt.Fprintf(cmd.ErrOrStderr(), "by the calibration in %s; --as-designed does without it\n", strings.Join(names, " and "))
					return printCalibrated(cmd.OutOrStdout(), b, kept, asked)
				}
			}
			return printSetpoints(cmd.Context(), cmd.OutOrStdout(), b, asked)
		},
	}
	cmd.Flags().BoolVar(&asDesigned, "as-designed", false, "positions of the design, whatever calibrate has kept")
	cmd.Flags().IntVar(&point, "point", 0, "sweep point, from 0")
	cmd.Flags().IntVar(&rank, "rank", 1, "rank of the design, from 1")
	cmd.Flags().StringVar(&depths, "depths", "", "depths in m, as 0.25,0.5,1,inf")
	cmd.Flags().Float64Var(&step, "step-D", 0, "all depths from far to near in steps of so many dioptres; near itself is always one")
	return cmd
}

// askedDepth is a depth as text for the table, and its vergence in D.
type askedDepth struct {
	depth, vergence string
	vergenceD       float64
}

const (
	// depthSlack is by how much, as a share, a depth may lie outside the spec's
	// range and count as its end: decimals such as 0.333 are the user's affair,
	// rounding in the 15th digit is not.
	depthSlack = 1e-12
	// stepsMost bounds a table: a smaller step is a slip.
	stepsMost = 100_000
)

// parseDepths reads a list of depths in m and refuses, all at once, what is
// none or lies outside the range that the design was made for.
func parseDepths(p *objective.Problem, list string) ([]askedDepth, error) {
	near, far := 1/(1000*p.VergenceNear), 1/(1000*p.VergenceFar)
	allowed := fmt.Sprintf("a depth from %s to %s m, the range of the spec", shortest(near), shortest(far))
	var asked []askedDepth
	var wrong []error
	for i, text := range strings.Split(list, ",") {
		text = strings.TrimSpace(text)
		refuse := func(why string) {
			wrong = append(wrong, fmt.Errorf("--depths: number %d, %q, %s; it takes %s", i+1, text, why, allowed))
		}
		depth, err := strconv.ParseFloat(text, 64)
		switch {
		case err != nil && !errors.Is(err, strconv.ErrRange) || math.IsNaN(depth):
			refuse("is not a number")
		case depth <= 0:
			refuse("is not above 0")
		case depth < near*(1-depthSlack):
			refuse("is nearer than the range")
		case depth > far*(1+depthSlack):
			refuse("is farther than the range")
		default:
			v := 1000 * math.Min(math.Max(1/(1000*depth), p.VergenceFar), p.VergenceNear)
			asked = append(asked, askedDepth{shortest(depth), rounded(v), v})
		}
	}
	if err := errors.Join(wrong...); err != nil {
		return nil, err
	}
	return asked, nil
}

// depthSteps are depths in even steps of vergence from far on, and near.
func depthSteps(p *objective.Problem, step float64) ([]askedDepth, error) {
	far, near := 1000*p.VergenceFar, 1000*p.VergenceNear
	if !(step > 0) || math.IsInf(step, 0) {
		return nil, fmt.Errorf("--step-D: %s is no step; it takes a number of dioptres above 0", shortest(step))
	}
	if (near-far)/step > stepsMost {
		return nil, fmt.Errorf("--step-D: %s makes more than %d depths between %s and %s D", shortest(step), stepsMost, rounded(far), rounded(near))
	}
	var asked []askedDepth
	add := func(v float64) { asked = append(asked, askedDepth{rounded(1 / v), rounded(v), v}) }
	for i := 0; ; i++ {
		v := far + float64(float64(i)*step)
		// The last step may miss near by rounding.
		if v >= near-step*1e-9 {
			break
		}
		add(v)
	}
	add(near)
	return asked, nil
}

// setpointsAt are the exact setpoints of the masks for an apparent vergence in D: what the ray
// check gives at this depth.
func (b *reopened) setpointsAt(vergenceD float64) (masks []raycheck.Setpoint) {
	report := raycheck.NewCheckerAt(b.problem, []float64{vergenceD / 1000}).Measure(b.train)
	for k := range b.stages {
		masks = append(masks, report.Mask(k).Setpoints[0])
	}
	return masks
}

// setpointHead is the header row of the table.
const setpointHead = "depth_m,vergence_D,mask_mm,stage_mm,mask_paraxial_mm,mask_blur_arcmin,seat"

// printSetpoints prints the table. Lengths have six decimals, a nanometre: more
// than a stage knows, and so that differences of rows are not rounding. A table
// that is interrupted ends with a whole row.
func printSetpoints(ctx context.Context, w io.Writer, b *reopened, asked []askedDepth) error {
	out := bufio.NewWriter(w)
	fmt.Fprintln(out, setpointHead)
	for i, a := range asked {
		if ctx.Err() != nil {
			return errors.Join(out.Flush(), &interruptedError{fmt.Sprintf(": the table ends after %d of %d depths\n    the same command starts again", i, len(asked))})
		}
		for k, s := range b.setpointsAt(a.vergenceD) {
			fmt.Fprintf(out, "%s,%s,%s,%s,%s,%s,%s\n", a.depth, a.vergence,
				results.Fixed(s.MaskMM, 6), results.Fixed(s.MaskMM-b.stages[k][0].MaskMM, 6),
				results.Fixed(s.MaskParaxialMM, 6), results.Fixed(s.MaskBlurArcmin, 3), b.design.Masks()[k])
		}
	}
	return out.Flush()
}

// printCalibrated prints the tables of stages as they were measured, for each of their eyes. The
// stage of a mask that nothing was kept of is as designed.
func printCalibrated(w io.Writer, b *reopened, kept []*results.Calibration, asked []askedDepth) error {
	out := bufio.NewWriter(w)
	eyes, head := []string{"both"}, ""
	for _, c := range kept {
		if c != nil && len(c.Eyes) > 1 {
			eyes, head = []string{"left", "right"}, "eye,"
		}
	}
	fmt.Fprintln(out, head+setpointHead)
	for _, eye := range eyes {
		var stages [][]calibrate.Setpoint
		for k, c := range kept {
			stage := calibrate.NewStage(b.problem, b.train, k)
			parameters := stage.Design()
			if c != nil {
				of := c.Of(eye)
				parameters = []float64{of.ZeroMM, of.FRearMM, of.EyeMM}
			}
			stages = append(stages, stage.Setpoints(parameters, vergencesOf(asked)))
		}
		for i, a := range asked {
			for k := range stages {
				s := &stages[k][i]
				if head != "" {
					fmt.Fprintf(out, "%s,", eye)
				}
				fmt.Fprintf(out, "%s,%s,%s,%s,%s,%s,%s\n", a.depth, a.vergence, results.Fixed(s.MaskMM, 6), results.Fixed(s.StageMM, 6),
					results.Fixed(s.MaskParaxialMM, 6), results.Fixed(s.MaskBlurArcmin, 3), b.design.Masks()[k])
			}
		}
	}
	return out.Flush()
}

// shortest is a number in as few digits as tell it, inf for infinity.
func shortest(x float64) string {
	if math.IsInf(x, 1) {
		return "inf"
	}
	return strconv.FormatFloat(x, 'g', -1, 64)
}

// rounded is a computed number without the noise of its last digits.
func rounded(x float64) string {
	if math.IsInf(x, 1) {
		return "inf"
	}
	return strconv.FormatFloat(x, 'g', 12, 64)
}
