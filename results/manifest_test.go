package results

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"math"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func ptr[T any](v T) *T { return &v }

// sameManifest adds what manifests hold and rows do not.
var sameManifest = cmp.Options{sameBits, cmp.Comparer(func(a, b *big.Int) bool { return a.Cmp(b) == 0 })}

func madeManifest() *Manifest {
	return &Manifest{
		Program: "relaysweep", Version: "1.0", SpecSHA256: "00ff",
		Catalogs: []CatalogFile{{File: "höhe<1>.csv", SHA256: "aa", Lenses: 312}},
		Started:  time.Date(2024, 5, 1, 22, 30, 0, 0, time.UTC),
		Finished: ptr(time.Date(2024, 5, 2, 6, 1, 2, 500e6, time.UTC)),
		Complete: true, RankedSHA256: "bb", SetpointsSHA256: "cc",
		Points: []ManifestPoint{{
			Point: 0,
			Values: SweptValues{{"train.zeta", FloatValue(15)}, {"mask.alpha", StringValue("rear")}, {"depth.steps", IntValue(5)},
				{"depth.far_m", FloatValue(math.Inf(1))}, {"a.tiny", FloatValue(1e-30)}},
			Space:    "123456789012345678901234567890",
			SetAside: map[string]*big.Int{"length": new(big.Int).Exp(big.NewInt(10), big.NewInt(29), nil), "aperture": big.NewInt(3)},
			Examined: 1 << 60, Checked: 77, Passed: 50,
			Failed:         map[string]*big.Int{"travel": big.NewInt(20), "gap": big.NewInt(7)},
			Asked:          []Asked{{"travel_mm", AtMost, 15}, {"transmission", AtLeast, 0.5}},
			ProvenLengthMM: ptr(123.456789), SlackMM: 1e-6, Exact: true, Ended: true,
			Audit: &Audit{Drawn: 200, Passed: 3, Listed: 1, MissedShareUpper95: 0.0375}, Found: &BestFound{120.5, "population"},
			WouldFit: map[string]*float64{"travel": ptr(17.5), "price": nil}, WouldFitLengthMM: map[string]float64{"travel": 214.25},
			IdealLimit: IdealLimit{
				LengthMM: ptr(80.5), ReachedMM: ptr(80.55), ApertureRatio: ptr(0.75), Settled: true, StockMorePct: ptr(53.5),
				Train: &IdealTrain{
					Layout: "erector-single", Seat: "rear", FFrontMM: 20.5, FRelayMM: ptr(11.5), FRearMM: 21.5, Gap1MM: 40.25,
					Gap2MM: ptr(40.3), EyeReliefMM: 20,
				},
			},
			Seconds: map[string]float64{"search": 1.5, "check": 0.25},
		}},
	}
}

func TestManifestText(t *testing.T) {
	path := filepath.Join(t.TempDir(), "run.json")
	if err := WriteManifest(path, madeManifest()); err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	want := `{
  "program": "relaysweep",
  "version": "1.0",
  "spec_sha256": "00ff",
  "catalogs": [
    {
      "file": "höhe<1>.csv",
      "sha256": "aa",
      "lenses": 312
    }
  ],
  "started": "2024-05-01T22:30:00Z",
  "finished": "2024-05-02T06:01:02.5Z",
  "complete": true,
  "points": [
    {
      "point": 0,
      "values": {
        "train.zeta": 15.0,
        "mask.alpha": "rear",
        "depth.steps": 5,
        "depth.far_m": "inf",
        "a.tiny": 1e-30
      },
      "space": "123456789012345678901234567890",
      "set_aside": {
        "aperture": 3,
        "length": 100000000000000000000000000000
      },
      "examined": 1152921504606846976,
      "checked": 77,
      "passed": 50,
      "failed": {
        "gap": 7,
        "travel": 20
      },
      "screened_mm": null,
      "audit": {
        "drawn": 200,
        "passed": 3,
        "listed": 1,
        "missed_share_upper_95": 0.0375
      },
      "found": {
        "shortest_mm": 120.5,
        "by": "population"
      },
      "asked": [
        {
          "column": "travel_mm",
          "bound": "at_most",
          "value": 15
        },
        {
          "column": "transmission",
          "bound": "at_least",
          "value": 0.5
        }
      ],
      "proven_length_mm": 123.456789,
      "whole_space": false,
      "slack_mm": 0.000001,
      "exact": true,
      "ended": true,
      "would_fit": {
        "price": null,
        "travel": 17.5
      },
      "would_fit_length_mm": {
        "travel": 214.25
      },
      "ideal_length_mm": 80.5,
      "ideal_reached_mm": 80.55,
      "ideal_aperture_ratio": 0.75,
      "ideal_settled": true,
      "ideal_stock_more_pct": 53.5,
      "ideal": {
        "layout": "erector-single",
        "seat": "rear",
        "f_front_mm": 20.5,
        "f_relay_mm": 11.5,
        "f_relay2_mm": null,
        "f_rear_mm": 21.5,
        "gap1_mm": 40.25,
        "gap_inner_mm": null,
        "gap2_mm": 40.3,
        "eye_relief_mm": 20
      },
      "seconds": {
        "check": 0.25,
        "search": 1.5
      }
    }
  ],
  "ranked_sha256": "bb",
  "setpoints_sha256": "cc",
  "sha256": "DIGEST"
}
`
	// The digest is that of the text before it.
	before, _, _ := strings.Cut(want, "DIGEST")
	want = strings.Replace(want, "DIGEST", fmt.Sprintf("%x", sha256.Sum256([]byte(before))), 1)
	if diff := cmp.Diff(want, string(got)); diff != "" {
		t.Errorf("wanted -, written +\n%s", diff)
	}
}

// An unfinished run has nothing in many places: never null where a list or an
// object belongs.
func TestManifestOfNothing(t *testing.T) {
	path := filepath.Join(t.TempDir(), "run.json")
	m := &Manifest{Points: []ManifestPoint{{Space: "0", ProvenLengthMM: ptr(math.Inf(1)), WouldFit: map[string]*float64{"travel": ptr(math.Inf(1))}}}}
	if err := WriteManifest(path, m); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var flat bytes.Buffer
	if err := json.Compact(&flat, data); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"catalogs":[]`, `"finished":null`, `"values":{}`, `"set_aside":{}`, `"failed":{}`, `"asked":[]`,
		`"proven_length_mm":null`, `"screened_mm":null`, `"audit":null`, `"found":null`, `"would_fit":{"travel":null}`, `"seconds":{}`} {
		if !strings.Contains(flat.String(), want) {
			t.Errorf("no %s in %s", want, flat.String())
		}
	}
	if !math.IsInf(*m.Points[0].ProvenLengthMM, 1) {
		t.Error("writing changed the manifest")
	}
}

func TestManifestRoundTrip(t *testing.T) {
	path := filepath.Join(t.TempDir(), "run.json")
	rapid.Check(t, func(t *rapid.T) {
		m := madeManifest()
		p := &m.Points[0]
		p.Values = nil
		for _, a := range anySweep(t) {
			v := drawSwept(t, []Axis{a})[0]
			if s, ok := v.Any().(string); ok && strings.HasSuffix(s, "inf") {
				v = StringValue("finite") // reads back as a number, as documented
			}
			p.Values = append(p.Values, SweptValue{a.Key, v})
		}
		p.Failed = map[string]*big.Int{}
		for k, n := range rapid.MapOf(anyText, rapid.Int64()).Draw(t, "failed") {
			p.Failed[k] = big.NewInt(n)
		}
		p.SetAside = map[string]*big.Int{}
		for k, n := range rapid.MapOf(anyText, rapid.SliceOf(rapid.Byte())).Draw(t, "set aside") {
			p.SetAside[k] = new(big.Int).SetBytes(n)
		}
		if rapid.Bool().Draw(t, "whole") {
			p.ProvenLengthMM, p.WholeSpace = nil, true
		}
		p.SlackMM = rapid.Float64().Draw(t, "slack")
		if err := WriteManifest(path, m); err != nil {
			t.Fatal(err)
		}
		got, err := ReadManifest(path)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(m, got, sameManifest); diff != "" {
			t.Errorf("written -, read +\n%s", diff)
		}
	})
}

func TestManifestRefused(t *testing.T) {
	nan := math.NaN()
	for want, spoil := range map[string]func(*ManifestPoint){
		`space is "many"`:           func(p *ManifestPoint) { p.Space = "many" },
		"set_aside.length has":      func(p *ManifestPoint) { p.SetAside["length"] = nil },
		"failed.travel has":         func(p *ManifestPoint) { p.Failed["travel"] = nil },
		"asked.travel_mm is NaN":    func(p *ManifestPoint) { p.Asked[0].Value = nan },
		"proven_length_mm is NaN":   func(p *ManifestPoint) { p.ProvenLengthMM = &nan },
		"slack_mm is +Inf":          func(p *ManifestPoint) { p.SlackMM = math.Inf(1) },
		"would_fit.travel is NaN":   func(p *ManifestPoint) { p.WouldFit["travel"] = &nan },
		"seconds.search is NaN":     func(p *ManifestPoint) { p.Seconds["search"] = nan },
		"values: train.zeta is NaN": func(p *ManifestPoint) { p.Values[0].Value = FloatValue(nan) },
	} {
		dir := t.TempDir()
		m := madeManifest()
		spoil(&m.Points[0])
		err := WriteManifest(filepath.Join(dir, "run.json"), m)
		if err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "run.json") {
			t.Errorf("error %v does not say %q", err, want)
		}
		emptyFolder(t, dir)
	}
}

func TestReadManifestFaults(t *testing.T) {
	path := filepath.Join(t.TempDir(), "run.json")
	for text, want := range map[string]string{
		"":                                    "run.json:1: is not JSON",
		"{\n\"program\": 1,\n}":               "run.json:3: is not JSON",
		"{\n\n\"program\": 1\n}":              "run.json:3: program is a number, not string",
		`{"points":[{"values":3}]}`:           "has to be an object",
		`{"points":[{"values":{"a.b":[1]}}]}`: "a.b",
		"{}":                                  "does not end in its digest",
		"null":                                "does not end in its digest",
		"{\n\"points\": [{\"failed\": {\"gap\": " + strings.Repeat("7", 4_000_000) + "}}]}": "run.json:2: has a number of 4000000 digits",
	} {
		if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		if _, err := ReadManifest(path); err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), path) {
			t.Errorf("%.50q: error %v does not say %q", text, err, want)
		}
	}
	if _, err := ReadManifest(path + "x"); err == nil || strings.Count(err.Error(), path) != 1 {
		t.Errorf("a missing file: %v", err)
	}
}

// sealed writes a run.json of any text with a digest that fits.
func sealed(t *testing.T, path, text string) {
	t.Helper()
	text += ",\n  \"sha256\": \""
	text += fmt.Sprintf("%x\"\n}\n", sha256.Sum256([]byte(text)))
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
}

// TestUnsoundManifests: what has a digest that fits, and still is the manifest of
// no run, is refused before anything is done with it.
func TestUnsoundManifests(t *testing.T) {
	path := filepath.Join(t.TempDir(), "run.json")
	const good = `"space": "1"`
	sealed(t, path, `{"points": [{`+good+`}]`)
	if _, err := ReadManifest(path); err != nil {
		t.Error(err)
	}
	for text, want := range map[string]string{
		`{"points": []`:   "no sweep points",
		`{"points": null`: "no sweep points",
		`{"complete": true, "points": [{` + good + `}]`:        "no time",
		`{"points": [{"point": 1, ` + good + `}]`:              "point 1 stands in the place of point 0",
		`{"points": [{"space": "many"}]`:                       "not a count",
		`{"points": [{` + good + `, "failed": {"gap": null}}]`: "failed.gap has no count",
	} {
		sealed(t, path, text)
		if _, err := ReadManifest(path); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: error %v does not say %q", text, err, want)
		}
	}
}

// TestFlippedManifest flips every bit of a run.json in turn: none is read.
func TestFlippedManifest(t *testing.T) {
	path := filepath.Join(t.TempDir(), "run.json")
	if err := WriteManifest(path, madeManifest()); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for at := range whole {
		bad := bytes.Clone(whole)
		bad[at] ^= 1 << (at % 8)
		if err := os.WriteFile(path, bad, 0o666); err != nil {
			t.Fatal(err)
		}
		if _, err := ReadManifest(path); err == nil {
			t.Errorf("byte %d, %q instead of %q: was read", at, bad[at], whole[at])
		}
	}
}

// TestSpecialFiles: what would never end or never begin is refused at once.
func TestSpecialFiles(t *testing.T) {
	for _, path := range []string{t.TempDir(), os.DevNull} {
		for name, read := range map[string]func(string) error{
			"run.json":  func(p string) error { _, err := ReadManifest(p); return err },
			"ranked":    func(p string) error { _, _, err := ReadRanked(p); return err },
			"setpoints": func(p string) error { _, err := ReadSetpoints(p); return err },
		} {
			if err := read(path); err == nil || !strings.Contains(err.Error(), path+": is ") {
				t.Errorf("%s as %s: %v", path, name, err)
			}
		}
	}
}
