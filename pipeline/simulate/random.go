package simulate

import (
	"crypto/sha256"
	"encoding/binary"
	"math"
	"math/rand/v2"
)

// stream is a source of random numbers that depends on names alone: the seed,
// whose numbers they are, and what they are for. It does not depend on what
// was drawn before, so that neither the order of the work nor the number of
// workers shows in the result.
type stream struct{ *rand.Rand }

func newStream(names ...string) stream {
	hash := sha256.New()
	var length [8]byte
	for _, name := range names {
		// The length goes in first: "a", "bc" must not be "ab", "c".
		binary.BigEndian.PutUint64(length[:], uint64(len(name)))
		hash.Write(length[:])
		hash.Write([]byte(name))
	}
	var key [32]byte
	hash.Sum(key[:0])
	return stream{rand.New(rand.NewChaCha8(key))}
}

// normal draws from a normal distribution cut off at 2.5 standard deviations,
// by drawing again: no invented person is a monster.
func (s stream) normal(mean, sd float64) float64 {
	for {
		if z := s.NormFloat64(); math.Abs(z) <= 2.5 {
			return mean + sd*z
		}
	}
}

// lognormal draws a positive number with the given median; sd is that of the
// logarithm.
func (s stream) lognormal(median, sd float64) float64 {
	return median * math.Exp(s.normal(0, sd))
}

func (s stream) uniform(low, high float64) float64 {
	return low + (high-low)*s.Float64()
}

// chance is true with probability p.
func (s stream) chance(p float64) bool { return s.Float64() < p }

// pick returns one of the choices.
func (s stream) pick(choices ...string) string { return choices[s.IntN(len(choices))] }
