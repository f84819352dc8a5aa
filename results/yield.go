package results

import "fmt"

// Yield is one row of yield.parquet: what the builds of a design tell.
type Yield struct {
	Point, Rank int
	DesignID    string
	Seed        string // a whole number of up to 64 bits
	Builds      int
	Passed      int
	YieldPct    float64
	// YieldLoPct and YieldHiPct are the ends of Wilson's 95 % interval.
	YieldLoPct, YieldHiPct float64
	// UncompensatedPct is the share of the same builds that pass before anything is
	// adjusted.
	UncompensatedPct float64
	// EyesHeightArcmin and EyesVergenceD are the 95th percentiles of what the views of two
	// builds differ by, the builds taken two by two.
	EyesHeightArcmin, EyesVergenceD float64
	Failed                          []YieldFailure
	Figures                         []YieldFigure
	Contributions                   []YieldContribution
	Sensitivities                   []YieldSensitivity
}

// YieldFailure is how many builds fail a limit before any other.
type YieldFailure struct {
	Limit  string
	Builds int
}

// YieldFigure is a figure over all builds, by its magnitude.
type YieldFigure struct {
	Figure, Unit string
	Limit        *float64 // nil where the spec sets none
	Nominal      float64  // of the design
	P5, P50, P90 float64
	P95, P99     float64
	// UncompensatedP95 is the 95th percentile before anything is adjusted.
	UncompensatedP95 float64
}

// YieldContribution is the part of one tolerance in the variance of a figure.
type YieldContribution struct {
	Figure, Tolerance string
	First, FirstError float64
	Total, TotalError float64
}

// YieldSensitivity is by how much a figure's magnitude grows when one error alone goes to
// its tolerance.
type YieldSensitivity struct {
	Figure, Tolerance, Part string
	Change                  float64
}

var yieldColumns = []column[Yield]{
	count("point", "sweep point, from 0", func(y *Yield) *int { return &y.Point }),
	count("rank", "rank of the design at its sweep point, from 1", func(y *Yield) *int { return &y.Rank }),
	label("design_id", "the design: layout, seat, and its lenses from world to eye", func(y *Yield) *string { return &y.DesignID }),
	label("seed", "seed of the draws", func(y *Yield) *string { return &y.Seed }),
	count("builds", "builds made", func(y *Yield) *int { return &y.Builds }),
	count("passed", "builds that meet every limit of the spec on a figure of tolerance.parquet; other limits are judged of the design alone", func(y *Yield) *int { return &y.Passed }),
	number("yield_pct", "%", "share of builds that pass", func(y *Yield) *float64 { return &y.YieldPct }).to(1),
	number("yield_lo_pct", "%", "lower end of Wilson's 95 % interval of yield_pct", func(y *Yield) *float64 { return &y.YieldLoPct }).to(1),
	number("yield_hi_pct", "%", "upper end of Wilson's 95 % interval of yield_pct", func(y *Yield) *float64 { return &y.YieldHiPct }).to(1),
	number("uncompensated_pct", "%", "share of the same builds that pass before anything is adjusted", func(y *Yield) *float64 { return &y.UncompensatedPct }).to(1),
	number("eyes_height_arcmin", "arcmin", "how much higher the view of one eye stands than that of the other, 95th percentile over builds taken two by two", func(y *Yield) *float64 { return &y.EyesHeightArcmin }).to(1),
	number("eyes_vergence_D", "D", "difference in vergence on the axis of the far views of two eyes, 95th percentile likewise", func(y *Yield) *float64 { return &y.EyesVergenceD }),
	list("failed", "builds that fail, by the first limit that they fail", "one limit", func(y *Yield) *[]YieldFailure { return &y.Failed }, []column[YieldFailure]{
		label("limit", "name of the limit", func(f *YieldFailure) *string { return &f.Limit }),
		count("builds", "builds that fail it before any other", func(f *YieldFailure) *int { return &f.Builds }),
	}),
	list("figures", "every figure of the builds, by its magnitude", "one figure", func(y *Yield) *[]YieldFigure { return &y.Figures }, []column[YieldFigure]{
		label("figure", "column of tolerance.parquet", func(f *YieldFigure) *string { return &f.Figure }),
		label("unit", "its unit", func(f *YieldFigure) *string { return &f.Unit }),
		maybe("limit", "varies", "limit of the spec; null where it sets none", func(f *YieldFigure) **float64 { return &f.Limit }),
		number("nominal", "varies", "magnitude in the design without errors", func(f *YieldFigure) *float64 { return &f.Nominal }),
		number("p5", "varies", "5th percentile", func(f *YieldFigure) *float64 { return &f.P5 }),
		number("p50", "varies", "median", func(f *YieldFigure) *float64 { return &f.P50 }),
		number("p90", "varies", "90th percentile", func(f *YieldFigure) *float64 { return &f.P90 }),
		number("p95", "varies", "95th percentile", func(f *YieldFigure) *float64 { return &f.P95 }),
		number("p99", "varies", "99th percentile", func(f *YieldFigure) *float64 { return &f.P99 }),
		number("uncompensated_p95", "varies", "95th percentile before anything is adjusted", func(f *YieldFigure) *float64 { return &f.UncompensatedP95 }),
	}),
	list("contributions", "part of each tolerance in the variance of a figure's magnitude", "one tolerance and figure", func(y *Yield) *[]YieldContribution { return &y.Contributions }, []column[YieldContribution]{
		label("figure", "column of tolerance.parquet", func(c *YieldContribution) *string { return &c.Figure }),
		label("tolerance", "key of [tolerance]", func(c *YieldContribution) *string { return &c.Tolerance }),
		number("first", unitOne, "share of the variance by this tolerance alone (first-order Sobol index)", func(c *YieldContribution) *float64 { return &c.First }),
		number("first_error", unitOne, "its standard error", func(c *YieldContribution) *float64 { return &c.FirstError }),
		number("total", unitOne, "share of the variance in which this tolerance has a part (total Sobol index)", func(c *YieldContribution) *float64 { return &c.Total }),
		number("total_error", unitOne, "its standard error", func(c *YieldContribution) *float64 { return &c.TotalError }),
	}),
	list("sensitivities", "what one error alone does at its tolerance, to the worse side", "one error and figure", func(y *Yield) *[]YieldSensitivity { return &y.Sensitivities }, []column[YieldSensitivity]{
		label("figure", "column of tolerance.parquet", func(s *YieldSensitivity) *string { return &s.Figure }),
		label("tolerance", "key of [tolerance]", func(s *YieldSensitivity) *string { return &s.Tolerance }),
		label("part", "what is off: a lens by group and place, a gap, a group, the mask or the stage", func(s *YieldSensitivity) *string { return &s.Part }),
		number("change", "varies", "by how much the figure's magnitude grows", func(s *YieldSensitivity) *float64 { return &s.Change }),
	}),
}

// YieldColumnDocs are the columns of yield.parquet.
func YieldColumnDocs() []ColumnDoc { return docsOf(nil, "", fieldsOf(yieldColumns)) }

// rankedDigestKey is the file's key for the digest of the ranked.parquet whose designs were
// built.
const rankedDigestKey = "ranked_sha256"

// builtFrom is meta with the digest of the ranked.parquet whose designs were built.
func builtFrom(ranked string, meta map[string]string) map[string]string {
	all := map[string]string{rankedDigestKey: ranked}
	for k, v := range meta {
		all[k] = v
	}
	return all
}

// WriteYields writes yield.parquet, whole or not at all. ranked is the digest of the
// ranked.parquet whose designs were built; the keys of meta become key-values of the file
// beside it.
func WriteYields(path, ranked string, meta map[string]string, rows []Yield) error {
	return writeRows(path, yieldColumns, builtFrom(ranked, meta), rows, func(y *Yield) string {
		return fmt.Sprintf("point %d, rank %d, design %q", y.Point, y.Rank, y.DesignID)
	})
}

// ReadYields reads what WriteYields wrote, and the digest of the ranked.parquet that it
// belongs to.
func ReadYields(path string) (rows []Yield, ranked string, err error) {
	err = openRows(path, func(f *rowFile) (err error) {
		ranked = f.meta[rankedDigestKey]
		rows, err = readRows(f, yieldColumns)
		return err
	})
	return rows, ranked, err
}

// TableOf is the digest of the ranked.parquet that a table of builds or yields belongs to,
// false where the file at path is no such table of this program.
func TableOf(path string) (ranked string, ours bool) {
	err := openRows(path, func(f *rowFile) error {
		ranked, ours = f.meta[rankedDigestKey], f.meta["program"] == "relaysweep"
		return nil
	})
	return ranked, err == nil && ours && ranked != ""
}
