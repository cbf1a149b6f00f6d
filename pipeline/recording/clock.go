package recording

import (
	"fmt"
	"math"
	"slices"

	"tonocohort/schema"
)

// stampTolerance is how far the times of a file may stray from an even grid,
// from the earliest to the latest, in steps (own choice: times rounded to 1 ms
// stray by a third of a step at 333 Hz, a lost or doubled sample by a whole one).
const stampTolerance = 0.35

// setClock judges the times of the samples and sets the rate: the declared one
// where the times lie on its grid, else the one with the fewest decimals that
// fits them as well as their own mean rate does. A declared rate must then
// agree with it. Where times jump by a whole number of steps, samples are
// missing: they become gaps. place gives where a time stands in the file.
func (x *reading) setClock(times []float64, place func(int) *schema.Issue) error {
	n := len(times)
	if n < 2 {
		return x.fault(CodeNoSamples, "holds one sample", askWhole)
	}
	if hz := x.SamplingHz; hz > 0 && x.onGrid(times, hz) {
		return x.setRate(hz)
	}
	if hz, ok := evenRate(times); ok && (x.SamplingHz == 0 || agrees(hz, x.SamplingHz)) {
		x.onGrid(times, hz)
		return x.setRate(hz)
	}
	at := func(i int, code, message, hint string) error {
		issue := place(i)
		issue.Size, issue.File, issue.Code, issue.Message, issue.Hint = schema.SizeRecording, x.File, code, message, hint
		return issue
	}
	for i, t := range times {
		if math.IsNaN(t) {
			return at(i, CodeTimeMissing, "the time is missing", "give every row its time")
		}
		if i > 0 && t <= times[i-1] {
			return at(i, CodeTimeBackwards, fmt.Sprintf("the time does not go on: %g after %g", t, times[i-1]), "sort the rows by time and take out doubled ones")
		}
	}
	rates, firstBad := rounded(x.steadyRate(times)), 0
	if x.SamplingHz > 0 {
		rates = append([]float64{x.SamplingHz}, rates...)
	}
	for _, hz := range rates {
		last, bad := jumps(times, hz)
		if bad == 0 {
			if err := x.fillGaps(times, hz, last); err != nil {
				return err
			}
			return x.setRate(hz)
		}
		if firstBad == 0 {
			firstBad = bad
		}
	}
	message := "the steps of time are not even"
	if step := (times[firstBad] - times[firstBad-1]) * rates[0]; step > 1.5 {
		message = fmt.Sprintf("the time jumps by %.2f steps, which is no whole number", step)
	}
	return at(firstBad, CodeTimeUneven, message, "take "+timeColumn+" out and declare sampling_hz if the samples are evenly spaced")
}

// strayNoted is how far times may stray from the grid before it is told (own
// choice: a beat onset is then off by at most a tenth of a step).
const strayNoted = 0.1

// wholeMilliseconds reports times that were rounded to 1 ms, which is why they
// stray.
func wholeMilliseconds(times []float64) bool {
	return !slices.ContainsFunc(times, func(t float64) bool { return math.Abs(t*1000-math.Round(t*1000)) > 1e-6 })
}

// onGrid reports whether the times lie on the grid of hz within the tolerance,
// and tells how far they stray from it.
func (x *reading) onGrid(times []float64, hz float64) bool {
	off := spread(times, hz, stampTolerance)
	if off > strayNoted && off <= stampTolerance && !wholeMilliseconds(times) {
		x.note(CodeTimeStrays, fmt.Sprintf("the times stray from an even grid of %.6g Hz by %.2f of a step from the earliest to the latest; the samples are taken as even", hz, off))
	}
	return off <= stampTolerance
}

// evenRate finds the rate of times without jumps.
func evenRate(times []float64) (float64, bool) {
	mean := float64(len(times)-1) / (times[len(times)-1] - times[0])
	own := spread(times, mean, stampTolerance)
	if !(own <= stampTolerance) {
		return 0, false
	}
	limit := min(stampTolerance, 1.5*own+0.01)
	for _, hz := range rounded(mean) {
		if spread(times, hz, limit) <= limit {
			return hz, true
		}
	}
	return 0, false
}

// rounded lists a rate with ever more decimals, and itself.
func rounded(rate float64) []float64 {
	rates := make([]float64, 0, 8)
	for _, ten := range tens[:7] {
		rates = append(rates, math.Round(rate*ten)/ten)
	}
	return append(rates, rate)
}

// spread tells how far the times stray from a grid of hz, from the earliest to
// the latest, in steps; it gives up above limit. NaN and infinities count as
// above.
func spread(times []float64, hz, limit float64) float64 {
	if !(hz > 0) {
		return math.Inf(1)
	}
	low, high := 0.0, 0.0
	for i, t := range times {
		off := float64((t-times[0])*hz) - float64(i)
		if off >= low && off <= high {
			continue
		}
		// The comparisons are put so that NaN gets here and no further.
		if off > high {
			high = off
		} else {
			low = off
		}
		if !(high-low <= limit) {
			return math.Inf(1)
		}
	}
	return high - low
}

// steadyRate gives the rate of the longest stretch without a jump.
func (x *reading) steadyRate(times []float64) float64 {
	n := len(times)
	steps := room(&x.scratch, n-1)
	for i := range steps {
		steps[i] = times[i+1] - times[i]
	}
	slices.Sort(steps)
	median := steps[(n-1)/2]
	rate, longest, start := 1/median, 0, 0
	for i := 1; i <= n; i++ {
		if i < n && times[i]-times[i-1] <= 1.5*median {
			continue
		}
		if steps := i - 1 - start; steps > longest {
			longest = steps
			rate = float64(steps) / (times[i-1] - times[start])
		}
		start = i
	}
	return rate
}

// jumps goes through rising times with jumps. It gives the grid place of the
// last one and 0, or the first time that is no whole number of steps from the
// others.
func jumps(times []float64, hz float64) (last float64, bad int) {
	low, high, k := 0.0, 0.0, 0.0
	for i := 1; i < len(times); i++ {
		k += wholeSteps(times, i, hz)
		off := float64((times[i]-times[0])*hz) - k
		low, high = min(low, off), max(high, off)
		if !(high-low <= stampTolerance) {
			return 0, i
		}
	}
	return k, 0
}

// wholeSteps gives the steps from the time before i to the time i.
func wholeSteps(times []float64, i int, hz float64) float64 {
	return max(1, math.Round((times[i]-times[i-1])*hz))
}

// fillGaps puts the samples on the grid and missing ones between them.
func (x *reading) fillGaps(times []float64, hz, last float64) error {
	if last >= float64(x.options.Samples) {
		return x.takes(math.MaxInt)
	}
	n := int(last) + 1
	filled := room(&x.scratch, n)
	k, gaps := 0, 0
	for i := range times {
		if i > 0 {
			next := k + int(wholeSteps(times, i, hz))
			if next > k+1 {
				gaps++
			}
			fill(filled[k+1 : next])
			k = next
		}
		filled[k] = x.rec.Samples[i]
	}
	x.samples, x.scratch = x.scratch, x.samples
	x.rec.Samples = filled
	x.note(CodeTimeGaps, fmt.Sprintf("the time has %s: %s missing", plural(gaps, "gap"), plural(n-len(times), "sample")))
	return nil
}
