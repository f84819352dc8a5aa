package results

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/big"
	"strings"
	"time"
)

// Manifest is run.json: what was run, and the proof of what was found.
type Manifest struct {
	Program    string        `json:"program"`
	Version    string        `json:"version"`
	Build      string        `json:"build,omitempty"` // digest of the program's file, where known
	SpecSHA256 string        `json:"spec_sha256"`
	Catalogs   []CatalogFile `json:"catalogs"`
	// GlassTables are the user's own, in the order of the spec.
	GlassTables []GlassFile `json:"glass_tables,omitempty"`
	// Owned is the table of the pieces that were there already; nil for none.
	Owned    *OwnedFile      `json:"owned,omitempty"`
	Started  time.Time       `json:"started"`
	Finished *time.Time      `json:"finished"` // null while unfinished
	Complete bool            `json:"complete"`
	Points   []ManifestPoint `json:"points"`
	// The digests of the files that belong to it.
	RankedSHA256    string `json:"ranked_sha256"`
	SetpointsSHA256 string `json:"setpoints_sha256"`
}

// CatalogFile is a lens table that a run read.
type CatalogFile struct {
	File   string `json:"file"`
	SHA256 string `json:"sha256"`
	Lenses int    `json:"lenses"`
}

// GlassFile is a glass table that a run read.
type GlassFile struct {
	File    string `json:"file"`
	SHA256  string `json:"sha256"`
	Glasses int    `json:"glasses"`
}

// OwnedFile is the table that a run read of the pieces that are there already.
type OwnedFile struct {
	File   string `json:"file"`
	SHA256 string `json:"sha256"`
	// Pieces is how many there are, by the parts of the designs listed that are there.
	Pieces map[string]int `json:"pieces"`
}

// Same reports whether two runs read the same table, or none.
func (o *OwnedFile) Same(other *OwnedFile) bool {
	if o == nil || other == nil {
		return o == other
	}
	return o.File == other.File && o.SHA256 == other.SHA256
}

// ToBuy is how many of some pieces of a part are not there.
func (o *OwnedFile) ToBuy(part string, pieces int) int {
	if o == nil {
		return pieces
	}
	return max(0, pieces-o.Pieces[part])
}

// ManifestPoint is the proof for one sweep point. Counts are of designs. The
// number of designs in a space and of those a bound set aside can be beyond 64
// bits; both are exact.
type ManifestPoint struct {
	Point    int                 `json:"point"`
	Values   SweptValues         `json:"values"`    // the swept keys, in the order of the sweep
	Space    string              `json:"space"`     // a decimal integer: designs in the whole space
	SetAside map[string]*big.Int `json:"set_aside"` // by kind of bound
	Examined int64               `json:"examined"`
	Checked  int64               `json:"checked"` // by rays
	Passed   int64               `json:"passed"`
	Failed   map[string]*big.Int `json:"failed"` // by requirement or limit
	// Refined counts what was re-optimised by exact rays; nil where nothing was to be.
	Refined *RefinedCounts `json:"refined,omitempty"`
	// ScreenedMM is a ranked length: no other design which comes within the near-miss factor
	// of its limits at its paraxial gaps is shorter when it is refined; nil (null) where nothing
	// was refined, or when the whole space was screened.
	ScreenedMM *float64 `json:"screened_mm"`
	// Audit tells what the screen turned away wrongly, of what was drawn; nil (null) for none.
	Audit *Audit `json:"audit"`
	// Found is the shortest design; nil (null) for none, and where nothing was refined.
	Found *BestFound `json:"found"`
	// Optimized tells of a population search; nil, and none of its keys written, for
	// the exact one.
	*Optimized
	// Given tells of a train that was measured in place of a search; nil, and its key not
	// written, for a search.
	Given *Given `json:"given,omitempty"`
	// Asked are the requirements and limits that a column of ranked.parquet can
	// be held against, in the order in which they are tested.
	Asked []Asked `json:"asked"`
	// AskedRefined are those besides of refined designs, see [ManifestPoint.AskedOf].
	AskedRefined []Asked `json:"asked_refined,omitempty"`
	// ProvenLengthMM is the length below which nothing else exists; nil (null)
	// when the whole space was searched, so that nothing is left unseen.
	ProvenLengthMM *float64 `json:"proven_length_mm"`
	WholeSpace     bool     `json:"whole_space"` // nothing is left unseen
	SlackMM        float64  `json:"slack_mm"`    // kept in the bounds against rounding
	// Exact tells that the ranking is proven to its end. A refined one is not, but Ended
	// tells that all of it is certain under the screen.
	Exact bool `json:"exact"`
	Ended bool `json:"ended"`
	// WouldFit gives, when nothing passes, for each requirement or limit the
	// value at which a first design would appear with the others kept; nil
	// (null) where no value does. An infinite value is written as null.
	WouldFit map[string]*float64 `json:"would_fit"`
	// WouldFitLengthMM is, for each value of WouldFit, the length in mm of a
	// design that passes there.
	WouldFitLengthMM map[string]float64 `json:"would_fit_length_mm,omitempty"`
	// WouldFitOpen are the names in WouldFit whose search ended before it had
	// seen everything: something may pass at a nearer value.
	WouldFitOpen []string `json:"would_fit_open,omitempty"`
	// Binds counts, by the requirement that each fails first, designs drawn at
	// random, when nothing passes and bounds have set all aside that Failed might
	// have counted. They are counted in SetAside too.
	Binds map[string]int64 `json:"binds,omitempty"`
	IdealLimit
	Seconds map[string]float64 `json:"seconds"` // by stage
}

// Audit is what came of refining designs that the screen turned away, drawn at random
// from those up to the last listed length.
type Audit struct {
	Drawn  int `json:"drawn"`
	Passed int `json:"passed"` // of these, once refined
	// Listed are those that passed and are no longer than ScreenedMM, or than the last
	// listed design: the ranking would lack them.
	Listed int `json:"listed"`
	// MissedShareUpper95 is the upper limit, at 95 % confidence, of the share of all of them
	// that would pass, of whatever length.
	MissedShareUpper95 float64 `json:"missed_share_upper_95"`
	// ThirdOrder is the part of it that was drawn from what third-order sums turned away without
	// rays; nil (absent) where they turned nothing away.
	ThirdOrder *AuditOfThirdOrder `json:"third_order,omitempty"`
}

// AuditOfThirdOrder is that part of an [Audit].
type AuditOfThirdOrder struct {
	Drawn              int     `json:"drawn"`
	Passed             int     `json:"passed"`
	MissedShareUpper95 float64 `json:"missed_share_upper_95"` // of what these sums turned away
}

// BestFound is the shortest design found.
type BestFound struct {
	ShortestMM float64 `json:"shortest_mm"` // its ranked length
	By         string  `json:"by"`          // "walk" or "population"
}

// RefinedCounts are the designs that were re-optimised by exact rays, and those of
// them that pass afterwards. The counts of failures are of designs at their paraxial gaps.
type RefinedCounts struct {
	Candidates int `json:"candidates"`
	Passed     int `json:"passed"`
}

// Optimized is what a population search tells beside its ranking: how good it is
// known to be, and how it came there. Lengths are ranked lengths in mm.
type Optimized struct {
	BestMM *float64 `json:"best_mm"` // of the shortest design that passes; nil (null) for none
	// LowerBoundMM is proven for the whole space: no design below it passes; nil
	// (null) where nothing is proven, or where none passes at all (WholeSpace).
	LowerBoundMM *float64 `json:"lower_bound_mm"`
	GapMM        *float64 `json:"gap_mm"` // BestMM less LowerBoundMM
	Evaluations  int64    `json:"evaluations"`
	// History has an entry each time that a shorter design was found.
	History []Improvement `json:"history"`
	Nearest *NearestMiss  `json:"nearest,omitempty"` // when nothing passes
}

// NearestMiss is the design that came nearest to passing.
type NearestMiss struct {
	DesignID string  `json:"design_id"`
	Failed   string  `json:"failed"`    // the requirement or limit that it fails first
	RankedMM float64 `json:"ranked_mm"` // 0 for one that misses a paraxial requirement
	// Exceeds is what was measured beyond its limit, by the metric's name; null for a
	// bundle of rays that is lost.
	Exceeds map[string]*float64 `json:"exceeds"`
}

// Improvement is a step of a population search: the shortest design that it had
// found after so many evaluations.
type Improvement struct {
	Evaluations int64   `json:"evaluations"`
	BestMM      float64 `json:"best_mm"`
}

// Nothing reports whether a search found no design that passes, refined or not.
func (p *ManifestPoint) Nothing() bool {
	return p.Given == nil && p.Passed == 0 && (p.Refined == nil || p.Refined.Passed == 0) && p.Found == nil
}

// The end of a run.json is a digest of all that stands before the digest.
const (
	digestKey   = "\n  \"sha256\": \""
	digestClose = "\"\n}\n"
	digestTail  = 2*sha256.Size + len(digestClose)
)

// WriteManifest writes run.json, whole or not at all, indented and with keys
// in a fixed order; the last one, sha256, is the digest of the bytes before that
// digest. A NaN is an error that names point and key.
func WriteManifest(path string, m *Manifest) error {
	c, err := m.checked()
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return WriteWhole(path, func(w io.Writer) error {
		var text bytes.Buffer
		e := json.NewEncoder(&text)
		e.SetEscapeHTML(false)
		e.SetIndent("", "  ")
		err := e.Encode(struct {
			*Manifest
			SHA256 string `json:"sha256"`
		}{c, strings.Repeat("0", 2*sha256.Size)})
		if err != nil {
			return err
		}
		data := text.Bytes()
		copy(data[len(data)-digestTail:], digestBefore(data))
		_, err = w.Write(data)
		return err
	})
}

// digestBefore is the digest of a run.json up to its digest.
func digestBefore(data []byte) string {
	sum := sha256.Sum256(data[:len(data)-digestTail])
	return hex.EncodeToString(sum[:])
}

const (
	// manifestMost bounds the bytes of a run.json: ten thousand sweep points take
	// some ten million.
	manifestMost = 1 << 28
	// digitsMost bounds the digits of a number in it. A count of designs has some
	// hundred at most, and reading one takes time that grows faster than it.
	digitsMost = 1000
)

// ReadManifest reads a run.json and holds it against its own digest. Keys that
// it does not know are passed over; an error names the file, and the line where
// it can.
func ReadManifest(path string) (*Manifest, error) {
	m, err := readManifest(path)
	if err != nil {
		return nil, fmt.Errorf("%s%w", path, err)
	}
	return m, nil
}

func readManifest(path string) (*Manifest, error) {
	f, size, err := openRegular(path)
	if err != nil {
		return nil, fmt.Errorf(": %w", err)
	}
	defer f.Close()
	if size > manifestMost {
		return nil, fmt.Errorf(": has %d bytes, where a run writes %d at most", size, manifestMost)
	}
	data, err := io.ReadAll(io.LimitReader(f, manifestMost))
	if err != nil {
		return nil, fmt.Errorf(": %w", causeOf(err))
	}
	if at, n := longestDigits(data); n > digitsMost {
		return nil, fmt.Errorf(":%d: has a number of %d digits, where %d are the most", lineAt(data, int64(at)), n, digitsMost)
	}
	var m Manifest
	if err := json.Unmarshal(data, &m); err != nil {
		var syntax *json.SyntaxError
		var kind *json.UnmarshalTypeError
		switch {
		case errors.As(err, &syntax):
			return nil, fmt.Errorf(":%d: is not JSON: %w", lineAt(data, syntax.Offset), err)
		case errors.As(err, &kind):
			return nil, fmt.Errorf(":%d: %s is a %s, not %s", lineAt(data, kind.Offset), kind.Field, kind.Value, kind.Type)
		}
		return nil, fmt.Errorf(": %w", err)
	}
	head, ok := bytes.CutSuffix(data[:max(0, len(data)-digestTail)], []byte(digestKey))
	switch {
	case !ok || len(head) == 0 || !bytes.HasSuffix(data, []byte(digestClose)):
		return nil, errors.New(": does not end in its digest: it is damaged, or of a version that wrote none")
	case string(data[len(data)-digestTail:len(data)-len(digestClose)]) != digestBefore(data):
		return nil, errors.New(": is damaged: its own digest does not fit")
	}
	if err := m.sound(); err != nil {
		return nil, fmt.Errorf(": %w", err)
	}
	return &m, nil
}

// sound tells what makes it the manifest of no run.
func (m *Manifest) sound() error {
	if len(m.Points) == 0 {
		return errors.New("has no sweep points")
	}
	if m.Complete && m.Finished == nil {
		return errors.New("is complete and has no time at which it was finished")
	}
	for i := range m.Points {
		if p := &m.Points[i]; p.Point != i {
			return fmt.Errorf("point %d stands in the place of point %d", p.Point, i)
		}
	}
	_, err := m.checked()
	return err
}

// longestDigits is the longest row of digits, and its end.
func longestDigits(data []byte) (end, longest int) {
	n := 0
	for i, c := range data {
		if c < '0' || c > '9' {
			n = 0
			continue
		}
		if n++; n > longest {
			end, longest = i, n
		}
	}
	return end, longest
}

// lineAt is the line, from 1, of the byte before offset.
func lineAt(data []byte, offset int64) int {
	end := min(max(offset-1, 0), int64(len(data)))
	return 1 + bytes.Count(data[:end], []byte("\n"))
}
