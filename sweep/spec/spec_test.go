package spec

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"relaysweep/catalog"
	"relaysweep/objective"
)

// leastSpec has the mandatory keys only.
const leastSpec = `
[job]
name = "least"
[catalog]
files = ["lenses.csv"]
[field]
width_deg = 15
height_deg = 11.3
[depth]
near_m = 0.25
[mask]
width_mm = 36
height_mm = 24
pixel_um = 20
[stage]
travel_mm = 15
`

func mustParse(t testing.TB, text string) *Spec {
	t.Helper()
	s, err := parse("jobs/test.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestSpecDefaults(t *testing.T) {
	want := &Spec{
		File:    "jobs/test.toml",
		Job:     JobSection{Name: "least", Output: "out/least", Top: 50, Seed: 1},
		Catalog: CatalogSection{Files: []string{"lenses.csv"}},
		Train: TrainSection{
			Layouts: []objective.Layout{objective.ErectorSingle}, LensesPerGroup: 2,
			Magnification: 1, MagnificationTol: 0.01, AirGapMinMM: 0.2, GroupGapMinMM: 1,
		},
		Field:  FieldSection{WidthDeg: 15, HeightDeg: 11.3, Shape: "rectangle"},
		Eye:    EyeSection{PupilMM: 4, BoxMM: 2, ReliefMinMM: 20, ReliefMaxMM: 80, AccommodationD: 8, RefocusMaxD: 1, CombinerIndex: 1.5168, Colour: "none"},
		Depth:  DepthSection{NearM: 0.25, FarM: math.Inf(1), Steps: 5},
		Mask:   MaskSection{WidthMM: 36, HeightMM: 24, PixelUM: 20, GlassIndex: 1.52, ClearanceMM: 3, Seat: "rear", Transmission: 1},
		Stage:  StageSection{TravelMM: 15, ResolutionUM: 10, SpeedMMS: 20},
		Light:  LightSection{WavelengthsNM: []float64{479.99, 546.07, 643.85}, Weights: []float64{1, 2, 1}},
		Limits: LimitsSection{FieldFraction: 1},
		Search: SearchSection{Method: "enumerate", RankBy: "length_mm", OnePer: "design", ThirdOrder: 1, EvaluationsMax: 200_000},
		Refine: RefineSection{Method: "simplex", NearMissFactor: 2, Audit: 200},
		Tolerance: ToleranceSection{
			Designs: 5, Distribution: "uniform", FocalPct: 1, ThicknessMM: 0.1, Index: 0.001, AbbePct: 0.8, GapMM: 0.1,
			LensDecentreMM: 0.1, LensTiltArcmin: 6, GroupDecentreMM: 0.1, GroupTiltArcmin: 6, MaskRollArcmin: 30, StageZeroMM: 0.1,
			Compensators: []string{"last_gap", "front_gap", "stage_zero", "picture_shift"},
		},
	}
	got := mustParse(t, leastSpec)
	if diff := cmp.Diff(want, got, sameSpec...); diff != "" {
		t.Errorf("defaults (-want +got):\n%s", diff)
	}
}

// sameSpec compares what specs say and not how they say it.
var sameSpec = cmp.Options{
	cmpopts.IgnoreFields(Spec{}, "SHA256"), cmpopts.IgnoreUnexported(Spec{}), cmpopts.EquateEmpty(),
}

func TestRead(t *testing.T) {
	path := filepath.Join(t.TempDir(), "job.toml")
	text := "\ufeff" + strings.ReplaceAll(leastSpec, "\n", "\r\n")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := Read(path)
	if err != nil {
		t.Fatal(err)
	}
	digest := sha256.Sum256([]byte(text))
	if want := hex.EncodeToString(digest[:]); s.SHA256 != want {
		t.Errorf("SHA256 %s, want %s", s.SHA256, want)
	}
	if diff := cmp.Diff(mustParse(t, leastSpec), s, append(sameSpec, cmpopts.IgnoreFields(Spec{}, "File"))...); diff != "" {
		t.Errorf("a byte order mark and CRLF change the spec:\n%s", diff)
	}
	for _, absent := range []string{filepath.Join(filepath.Dir(path), "absent.toml"), filepath.Dir(path)} {
		_, err := Read(absent)
		var faults catalog.Faults
		if !errors.As(err, &faults) || len(faults) != 1 || faults[0].File != absent || !strings.HasPrefix(faults[0].Found, "cannot be read: ") {
			t.Errorf("%s: got %v, want one fault that the file cannot be read", absent, err)
		}
	}
}

func TestSpecPaths(t *testing.T) {
	s := mustParse(t, strings.Replace(leastSpec, `["lenses.csv"]`, `["../lenses/a.csv", "/data/b.csv"]
glasses = ["glasses.csv"]`, 1))
	if got, want := s.OutputDir(), filepath.Join("jobs", "out", "least"); got != want {
		t.Errorf("OutputDir %s, want %s", got, want)
	}
	s.Job.Output = "/var/out/x"
	if got := s.OutputDir(); got != "/var/out/x" {
		t.Errorf("OutputDir of an absolute path %s", got)
	}
	files := []catalog.File{{Path: filepath.Join("lenses", "a.csv"), Shown: "../lenses/a.csv"}, {Path: "/data/b.csv", Shown: "/data/b.csv"}}
	if diff := cmp.Diff(files, s.LensFiles()); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff([]catalog.File{{Path: filepath.Join("jobs", "glasses.csv"), Shown: "glasses.csv"}}, s.GlassFiles()); diff != "" {
		t.Error(diff)
	}
}

func TestCatalogFilter(t *testing.T) {
	s := mustParse(t, strings.Replace(leastSpec, `["lenses.csv"]`, `["lenses.csv"]
exclude_kinds = ["fresnel"]
exclude_parts = ["X*"]
diameter_max_mm = 25.4
price_max = 60
focal_min_mm = 20
focal_max_mm = 100
aperture_ratio_max = 0.8`, 1))
	want := catalog.Filter{
		ExcludeKinds: []string{"fresnel"}, ExcludeParts: []string{"X*"},
		DiameterMaxMM: 25.4, PriceMax: 60, FocalMinMM: 20, FocalMaxMM: 100, ApertureRatioMax: 0.8,
	}
	if diff := cmp.Diff(want, s.CatalogFilter()); diff != "" {
		t.Error(diff)
	}
}

func TestDepthSteps(t *testing.T) {
	for _, c := range []struct {
		depth string
		want  int
	}{
		{"near_m = 0.25", 5},
		{"near_m = 0.25\nsteps = 2", 2},
		{"near_m = inf", 1},
		{"near_m = 0.5\nfar_m = 0.5", 1},
		{"near_m = 0.5\nfar_m = 0.5\nsteps = 1", 1},
	} {
		if s := mustParse(t, strings.Replace(leastSpec, "near_m = 0.25", c.depth, 1)); s.Depth.Steps != c.want {
			t.Errorf("%q: %d steps, want %d", c.depth, s.Depth.Steps, c.want)
		}
	}
}

// TestEnds reads values at the ends of their ranges that are still right.
func TestEnds(t *testing.T) {
	s := mustParse(t, `
job = { name = "A-z_09", top = 1, seed = -9223372036854775808 }
catalog.files = ["a"]
field = { width_deg = 179.9, height_deg = 1e-3 }
depth = { near_m = inf, far_m = inf }
mask = { width_mm = 0.1, height_mm = 0.1, pixel_um = 0.1, transmission = 1, glass_index = 1, clearance_mm = 0 }
stage = { travel_mm = 0 }
[train]
lenses_per_group = 6
lenses_max = 3
magnification_tol = 0
[eye]
box_mm = 0
relief_min_mm = 0
relief_max_mm = 0
[light]
wavelengths_nm = [300, 2500]
weights = [1e-9, 1]
[limits]
field_fraction = 0
vignetted_pct = 100
transmission_min = 1
mask_blur_arcmin = 0
`)
	if s.Job.Seed != math.MinInt64 || s.Depth.Steps != 1 || *s.Limits.MaskBlurArcmin != 0 || *s.Limits.TransmissionMin != 1 {
		t.Errorf("misread: %+v", s)
	}
}

// writeSpec writes all that a spec says as TOML.
func writeSpec(t interface{ Fatal(...any) }, keys map[string]map[string]any) string {
	var b bytes.Buffer
	if err := toml.NewEncoder(&b).Encode(keys); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// TestSpecRoundTrip writes every key of a random spec out, defaults included,
// and expects the same spec when it is read again.
func TestSpecRoundTrip(t *testing.T) {
	// Ranges in which no relation between keys can fail.
	ranges := map[string][2]float64{
		"depth.far_m": {1, 10}, "eye.relief_max_mm": {80, 100}, "eye.combiner_mm": {0, 1},
		"mask.glass_index": {1, 2}, "eye.combiner_index": {1, 2}, "depth.steps": {2, 9},
		"train.lenses_max": {3, 9}, "catalog.focal_max_mm": {1, 2}, "train.lenses_per_group": {1, 6},
		"job.workers": {0, workersMost}, "job.top": {1, topMost},
		"light.wavelengths_nm": {400, 700}, "train.distinct_parts_max": {0, 3}, "refine.near_miss_factor": {1, 5},
		"tolerance.index": {0, 0.1}, "tolerance.builds": {0, buildsMost}, "tolerance.designs": {1, 1000}, "tolerance.radius_pct": {0, 0},
	}
	words := map[string][]string{
		"eye.colour": {"none", "published"}, "field.shape": {"rectangle", "ellipse"}, "mask.seat": {"front", "rear", "either", "both"},
		"search.method": {"enumerate"}, "search.rank_by": {"length_mm", "length_to_eye_mm"},
		"tolerance.distribution": {"uniform", "truncated-normal", "normal"},
		"search.one_per":         {"design", "parts"}, "refine.method": {"none", "simplex", "bfgs", "cma-es"},
	}
	rapid.Check(t, func(t *rapid.T) {
		draw := func(k *specKey) any {
			name := k.String()
			limits, ok := ranges[name]
			if !ok {
				limits = [2]float64{0.01, 0.99}
			}
			switch k.kind() {
			case kindNumber:
				return rapid.Float64Range(limits[0], limits[1]).Draw(t, name)
			case kindInteger:
				if !ok {
					limits = [2]float64{1, 1e6}
				}
				return rapid.Int64Range(int64(limits[0]), int64(limits[1])).Draw(t, name)
			case kindFlag:
				return rapid.Bool().Draw(t, name)
			case kindNumbers:
				return rapid.SliceOfN(rapid.Float64Range(limits[0], limits[1]), 3, 3).Draw(t, name)
			case kindTexts:
				if name == "train.layouts" {
					return rapid.Permutation([]string{"erector-single", "erector-pair"}).Draw(t, name)[:1]
				}
				if name == "tolerance.compensators" {
					return rapid.SliceOfDistinct(rapid.SampledFrom(Compensators), rapid.ID).Draw(t, name)
				}
				return rapid.SliceOfNDistinct(rapid.StringMatching(`[ -~µ]{1,9}`), 1, 3, rapid.ID).Draw(t, name)
			}
			if w, ok := words[name]; ok {
				return rapid.SampledFrom(w).Draw(t, name)
			}
			return rapid.StringMatching(`[a-zA-Z0-9_-]{1,9}`).Draw(t, name)
		}
		file := map[string]map[string]any{}
		write := func(file map[string]map[string]any, k *specKey, v any) {
			if file[k.section] == nil {
				file[k.section] = map[string]any{}
			}
			file[k.section][k.name] = v
		}
		for i := range allKeys {
			if k := &allKeys[i]; k.required() || rapid.Bool().Draw(t, "written") {
				v := draw(k)
				if k.String() == "train.lenses_max" && v.(int64) < 4 {
					v = int64(0)
				}
				if k.String() == "limits.yield_min_pct" && file["train"]["given"] != nil {
					continue // the one asks for a search, the other for none
				}
				write(file, k, v)
			}
		}
		if _, limited := file["limits"]["ghost_pct"]; limited {
			write(file, keyByName["mask.fill_pct"], 50.0)
		}
		first, err := parse("a.toml", []byte(writeSpec(t, file)))
		if err != nil {
			t.Fatal(err)
		}
		for section, keys := range file {
			for name, want := range keys {
				if got := keyByName[section+"."+name].get(first); !cmp.Equal(got, want) {
					t.Fatalf("%s.%s: read %v, written %v", section, name, got, want)
				}
			}
		}
		whole := map[string]map[string]any{}
		for i := range allKeys {
			if v := allKeys[i].get(first); v != nil {
				write(whole, &allKeys[i], v)
			}
		}
		second, err := parse("a.toml", []byte(writeSpec(t, whole)))
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(first, second, sameSpec...); diff != "" {
			t.Fatalf("written and read again (-first +second):\n%s", diff)
		}
	})
}

// TestKeysAreDistinct makes sure that no two keys share a name or a field.
func TestKeysAreDistinct(t *testing.T) {
	if len(keyByName) != len(allKeys) {
		t.Errorf("%d names for %d keys", len(keyByName), len(allKeys))
	}
	var s Spec
	fields := map[any]string{}
	for i := range allKeys {
		k := &allKeys[i]
		field := k.at(&s)
		if other, ok := fields[field]; ok {
			t.Errorf("%s and %s share a field", k, other)
		}
		fields[field] = k.String()
		if k.def == nil || k.required() {
			continue
		}
		if p := k.rule.problem(k.def); p != "" {
			t.Errorf("the default of %s breaks its own rule: %s", k, p)
		}
	}
}

func TestNearest(t *testing.T) {
	for _, c := range []struct {
		word string
		want []string
	}{
		{"travel", []string{"travel_mm"}},
		{"relief", []string{"relief_min_mm", "relief_max_mm"}},
		{"PUPIL_MM", []string{"pupil_mm"}},
		{"pupli_mm", []string{"pupil_mm"}},
		{"colour", nil},
		{"", nil},
	} {
		known := []string{"travel_mm", "relief_min_mm", "relief_max_mm", "pupil_mm"}
		if got := nearest(c.word, known); !slices.Equal(got, c.want) {
			t.Errorf("nearest to %q: %q, want %q", c.word, got, c.want)
		}
	}
}

// FuzzRead expects of any bytes either faults that name file, problem and
// hint, the same every time, or a spec whose grid and problems hold numbers.
func FuzzRead(f *testing.F) {
	f.Add([]byte(leastSpec))
	f.Add([]byte(leastSpec + "[sweep]\n\"eye.box_mm\" = { from = 1, to = 4, steps = 3, scale = \"log\" }\n\"mask.seat\" = [\"front\", \"rear\"]\n"))
	seeds, err := filepath.Glob("testdata/*.toml")
	if err != nil {
		f.Fatal(err)
	}
	for _, path := range seeds {
		data, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	for _, line := range []string{
		"x = 12mm", "x = −0,3", "x = \"a", "x = [1, 2", "[eye", "x = \"C:\\l\"", "x = \"caf\xe9\"", "a.b.c.d.e.f.g.h.i = 1",
		"x = [[[[[[[[[[[[[[[[[1]]]]]]]]]]]]]]]]]", "output = \"~/a\"", "x = “a”", "name = 'twice'", "\"x = 1", "x =", "= 1", "x = 99999999999999999999",
	} {
		f.Add([]byte(slipped(line)))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := parse("fuzz.toml", data)
		if err != nil {
			var faults catalog.Faults
			if !errors.As(err, &faults) || len(faults) == 0 {
				t.Fatalf("%T is no list of faults", err)
			}
			lines := bytes.Count(data, []byte("\n")) + 1
			for _, fault := range faults {
				if fault.File != "fuzz.toml" || fault.Found == "" || fault.Want == "" || fault.Line < 0 || fault.Line > lines {
					t.Errorf("not a whole fault: %#v", fault)
				}
				if text := strings.ReplaceAll(fault.Error(), "\n", ""); strings.ContainsFunc(text, catalog.IsHidden) {
					t.Errorf("fault %q could drive a terminal", fault.Error())
				}
			}
			if _, again := parse("fuzz.toml", data); again == nil || again.Error() != err.Error() {
				t.Errorf("read again:\n%v\nbefore:\n%v", again, err)
			}
			return
		}
		for _, doubt := range s.Doubts(nil) {
			if doubt.File != "fuzz.toml" || doubt.Found == "" || doubt.Want == "" || doubt.Line < 0 {
				t.Errorf("not a whole doubt: %#v", doubt)
			}
		}
		points := s.Grid()
		if len(points) == 0 {
			t.Fatal("no sweep points")
		}
		for _, i := range []int{0, len(points) / 2, len(points) - 1} {
			p := points[i].Spec.Problem()
			if !(p.TanMax > 0) || math.IsInf(p.TanMax, 0) || !(p.VergenceFar >= 0) || !(p.VergenceNear >= p.VergenceFar) ||
				p.DepthSteps < 1 || len(p.Weights) != len(p.WavelengthsNM) || len(p.Weights) == 0 ||
				!(p.ReliefMax >= p.ReliefMin) || len(points[i].Spec.Train.Layouts) == 0 {
				t.Errorf("point %d asks the impossible: %+v", i, p)
			}
			if points[i].Index != i || len(points[i].Values) != len(s.Axes) {
				t.Errorf("point %d is %+v", i, points[i])
			}
		}
	})
}
