package pulse

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// scanned is what a walk from sample to sample finds: each stretch, and each run in it
// that is long enough.
func scanned(x []float64, hz float64) (segments []segment, runs []run, low, high float64, missing int) {
	shortest := max(runSamples, int(math.Ceil(saturatedS*hz)))
	low, high = math.Inf(1), math.Inf(-1)
	start, length := 0, 0
	for i := 0; i <= len(x); i++ {
		whole := i < len(x) && math.Abs(x[i]) <= largestSample
		if length > 0 && !(whole && x[i] == x[i-1]) {
			if length >= shortest {
				runs = append(runs, run{start: i - length, end: i})
			}
			length = 0
		}
		if whole {
			length++
			low, high = min(low, x[i]), max(high, x[i])
			continue
		}
		if i > start {
			segments = append(segments, segment{start: start, end: i})
		}
		if start = i + 1; i < len(x) {
			missing++
		}
	}
	return segments, runs, low, high, missing
}

// Stretches, runs and extremes are found without a look at every pair of samples:
// the same as with one, whatever stands where.
func TestScanFindsWhatAWalkFinds(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	gaps := []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e30, -1e30}
	runs := 0
	for round := range 3000 {
		hz := []float64{30, 64, 100, 256}[round%4]
		x := make([]float64, 1+random.IntN(400))
		for i := 0; i < len(x); {
			v := float64(random.IntN(5) - 2)
			if random.IntN(6) == 0 {
				v = gaps[random.IntN(len(gaps))]
			}
			length := 1 + random.IntN(3)
			if random.IntN(8) == 0 {
				length = 1 + random.IntN(60)
			}
			for end := min(len(x), i+length); i < end; i++ {
				x[i] = v
			}
		}
		a := Analyser{samples: x, hz: hz}
		a.scan()
		wantSegments, wantRuns, low, high, missing := scanned(x, hz)
		if !slices.Equal(a.segments, wantSegments) || !slices.Equal(a.runs, wantRuns) || a.low != low || a.high != high || a.missing != missing {
			t.Fatalf("%g Hz, %v:\n%v %v %g %g %d, want\n%v %v %g %g %d", hz, x, a.segments, a.runs, a.low, a.high, a.missing, wantSegments, wantRuns, low, high, missing)
		}
		runs += len(wantRuns)
	}
	if runs < 1000 {
		t.Errorf("only %d runs", runs)
	}
}
