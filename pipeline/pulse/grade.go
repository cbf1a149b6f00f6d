package pulse

import "math"

// Rules that lower the grade of a recording, in the order in which they are
// reported.
const (
	GradeAcceptedShare = "accepted_share"      // few of the complete beats were accepted
	GradeFewBeats      = "few_beats"           // few beats entered the average
	GradeAmplitude     = "amplitude_variation" // accepted beats differ in pulse pressure
	GradeBaseline      = "baseline_variation"  // feet of accepted beats differ in pressure
	GradeRhythm        = "rhythm"              // periods vary
	GradeShape         = "shape"               // beats correlate poorly with the template, on average
	GradeSaturation    = "saturation"          // beats rest at the extreme of the range
	GradeFlatLine      = "flat_line"           // beats hold one value
	GradeDropouts      = "dropouts"            // samples are missing
)

// Limits of the grade. Mean correlation: Orphanidou 2015, IEEE JBHI 19:832-8
// (0.86 from memory). The others are own choices.
const (
	doubtfulShare     = 0.8
	unusableShare     = 0.5
	doubtfulBeats     = 10
	doubtfulAmplitude = 0.2  // standard deviation over mean
	doubtfulBaseline  = 0.2  // standard deviation over mean pulse pressure
	doubtfulRhythm    = 0.15 // interquartile range of the periods over 1.349 times their median: a coefficient of variation that a missed beat does not move
	doubtfulShape     = 0.86
	doubtfulBadBeats  = 0.05 // share of the complete beats
	doubtfulMissing   = 0.05 // share of the samples
	unusableMissing   = 0.5
)

// grade judges the recording as a whole.
func (a *Analyser) grade() (string, []string) {
	var pulses, feet, shapes spread
	saturated, flat := 0.0, 0.0
	complete := float64(len(a.complete))
	for _, i := range a.complete {
		b := &a.beats[i]
		switch b.reason {
		case "":
			pulses.add(b.maximum - b.minimum)
			feet.add(b.minimum)
		case RuleSaturated:
			saturated++
		case RuleFlatLine:
			flat++
		}
		shapes.add(b.correlation)
	}
	missing := float64(a.missing) / float64(len(a.samples))
	share := pulses.n / complete
	var reasons []string
	doubt := func(rule string, yes bool) {
		if yes {
			reasons = append(reasons, rule)
		}
	}
	doubt(GradeAcceptedShare, share < doubtfulShare)
	doubt(GradeFewBeats, pulses.n < doubtfulBeats)
	doubt(GradeAmplitude, pulses.sd() > doubtfulAmplitude*pulses.mean)
	doubt(GradeBaseline, feet.sd() > doubtfulBaseline*pulses.mean)
	doubt(GradeRhythm, a.irregularity() > doubtfulRhythm)
	doubt(GradeShape, shapes.mean < doubtfulShape)
	doubt(GradeSaturation, saturated > doubtfulBadBeats*complete)
	doubt(GradeFlatLine, flat > doubtfulBadBeats*complete)
	doubt(GradeDropouts, missing > doubtfulMissing)
	switch {
	case share < unusableShare || missing > unusableMissing:
		return Unusable, reasons
	case len(reasons) > 0:
		return Doubtful, reasons
	}
	return Usable, nil
}

// irregularity returns the robust coefficient of variation of the periods of
// all complete beats.
func (a *Analyser) irregularity() float64 {
	a.scratch = a.scratch[:0]
	for _, i := range a.complete {
		a.scratch = append(a.scratch, a.beats[i].period)
	}
	middle := median(a.scratch) // sorts
	n := len(a.scratch)
	return (a.scratch[n-1-n/4] - a.scratch[n/4]) / (1.349 * middle)
}

// spread gathers mean and standard deviation in one pass (Welford 1962,
// Technometrics 4:419-20).
type spread struct{ n, mean, squares float64 }

func (s *spread) add(v float64) {
	s.n++
	d := v - s.mean
	s.mean += d / s.n
	s.squares += float64(d * (v - s.mean))
}

// sd returns the sample standard deviation, 0 for fewer than two values.
func (s *spread) sd() float64 {
	if s.n < 2 {
		return 0
	}
	return math.Sqrt(s.squares / (s.n - 1))
}
