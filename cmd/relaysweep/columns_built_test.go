package main

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

// The columns of what tolerance and calibrate write, as scripts rely on them.
var (
	yieldFileColumns = []fileColumn{
		count("point"), count("rank"), label("design_id"), label("seed"), count("builds"), count("passed"),
		number("yield_pct", "%"), number("yield_lo_pct", "%"), number("yield_hi_pct", "%"), number("uncompensated_pct", "%"),
		number("eyes_height_arcmin", "arcmin"), number("eyes_vergence_D", "D"),
		listOf("failed", label("limit"), count("builds")),
		listOf("figures", label("figure"), label("unit"), number("limit", "varies").orNull(), number("nominal", "varies"), number("p5", "varies"),
			number("p50", "varies"), number("p90", "varies"), number("p95", "varies"), number("p99", "varies"), number("uncompensated_p95", "varies")),
		listOf("contributions", label("figure"), label("tolerance"), number("first", "1"), number("first_error", "1"), number("total", "1"), number("total_error", "1")),
		listOf("sensitivities", label("figure"), label("tolerance"), label("part"), number("change", "varies")),
	}
	buildsFileColumns = []fileColumn{
		count("point"), count("rank"), label("design_id"), count("build"), label("failed_by"),
		number("mask_blur_arcmin", "arcmin").orNull(), number("view_defocus_D", "D").orNull(), number("view_astigmatism_D", "D").orNull(),
		number("view_blur_arcmin", "arcmin").orNull(), number("view_refocus_D", "D").orNull(), number("axis_vergence_D", "D").orNull(),
		number("distortion_pct", "%").orNull(), number("lateral_colour_arcmin", "arcmin").orNull(), number("axial_colour_D", "D").orNull(),
		number("vignetted_pct", "%").orNull(), number("pixel_arcmin", "arcmin").orNull(), number("depth_step_D", "D").orNull(),
		number("viewpoint_shift_mm", "mm").orNull(), number("magnification_error_pct", "%").orNull(), number("registration_arcmin", "arcmin").orNull(),
		number("pointing_arcmin", "arcmin").orNull(), number("pointing_up_arcmin", "arcmin").orNull(), number("last_gap_change_mm", "mm").orNull(),
		number("front_gap_change_mm", "mm").orNull(), number("stage_zero_change_mm", "mm").orNull(), number("picture_shift_mm", "mm").orNull(),
	}
	stageFileColumns = []fileColumn{
		label("eye"), number("depth_m", "m"), number("vergence_D", "D"), number("stage_mm", "mm"), number("low_mm", "mm"), number("high_mm", "mm"),
		number("predicted_mm", "mm"),
	}
)

// checkColumns compares the columns of a file with those that scripts rely on.
func checkColumns(t *testing.T, path string, want []fileColumn) {
	t.Helper()
	if diff := cmp.Diff(want, columnsOf(t, readTable(t, path).Schema().Fields())); diff != "" {
		t.Errorf("%s: documented -, written +\n%s", path, diff)
	}
}
