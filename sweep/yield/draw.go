package yield

import (
	"encoding/binary"
	"math/rand/v2"
)

// The streams of draws of a seed.
const (
	streamBuilds = iota // builds of a yield
	streamFirst         // the two samples of a decomposition of variances
	streamSecond
)

// drawer draws numbers by count.
type drawer struct{ generator *rand.ChaCha8 }

func newDrawer() *drawer { return &drawer{rand.NewChaCha8([32]byte{})} }

// fill sets u to the numbers of a build, each within 0 and 1, neither included. They
// depend on seed, stream and number of the build only.
func (d *drawer) fill(u []float64, seed, stream, build uint64) {
	var key [32]byte
	binary.LittleEndian.PutUint64(key[0:], seed)
	binary.LittleEndian.PutUint64(key[8:], stream)
	binary.LittleEndian.PutUint64(key[16:], build)
	d.generator.Seed(key)
	for i := range u {
		// The middle of one of 2^53 equal steps; the last rounds up to 1.
		u[i] = min((float64(d.generator.Uint64()>>11)+0.5)/(1<<53), 1-1.0/(1<<53))
	}
}
