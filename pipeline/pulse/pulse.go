// Package pulse turns the samples of one recording into one average beat:
// zero-phase low-pass, beat onsets by the slope sum function, feet by
// intersecting tangents, a verdict on every beat by named rules, and the
// ensemble average of the accepted beats. It also gives an average beat its
// scale in mmHg. It computes only: it reads no file and keeps no state but
// scratch memory.
//
// Tonometry has no scale before calibration, so no limit here is in mmHg
// except those of Implausible: pressures are judged relative to the pulse
// pressure of the recording itself. An upright wave is expected; an inverted
// one is not turned over.
package pulse

import (
	"fmt"
	"math"
)

// Settings says how beats are found and how many are needed.
type Settings struct {
	LowpassHz   float64 // cut-off (−3 dB for one direction) of the low-pass, Hz
	MinAccepted int     // fewest accepted beats that make an average; at least 1 is always needed
	MinSeconds  float64 // shortest sum of their periods, s
}

// Beat is one beat found. Times are seconds from the first sample of the
// recording; pressures are in the recording's own unit, after the low-pass.
type Beat struct {
	OnsetS      float64 // pressure minimum before the upstroke
	FootS       float64 // foot by intersecting tangents
	PeriodS     float64 // to the next foot; NaN where none follows in the same stretch of signal
	Minimum     float64 // pressure at the onset
	Maximum     float64 // highest pressure up to the next onset
	Correlation float64 // Pearson correlation with the template beat; NaN for a beat without a period
	Accepted    bool    // the beat entered the average
	Reason      string  // first rule that rejected it; empty where accepted
}

// Result is what one recording gave. Stack belongs to the Analyser and holds
// until its next call; everything else may be kept.
type Result struct {
	Beats        []Beat
	Average      []float64   // one period from foot to foot, N samples, recording's unit; its end joins its start
	StepS        float64     // time between its samples: PeriodS / N
	PeriodS      float64     // mean period of the accepted beats
	HeartRateBPM float64     // 60 / PeriodS
	Accepted     int         // number of accepted beats
	Stack        [][]float64 // the accepted beats in order of time, on the grid of Average
	Grade        string      // usable, doubtful or unusable
	GradeReasons []string    // the rules that lowered the grade
	Notes        []string    // what was done otherwise than asked, by name
	Resampling   string      // how Average came to its grid: BeatCubic or DecimationBeatCubic; empty without an average
}

// Grades of a recording.
const (
	Usable   = "usable"
	Doubtful = "doubtful"
	Unusable = "unusable"
)

// How samples are taken at other times than they were recorded. Nothing but the
// average of beats asks for it, since beats differ in length; a recording as a
// whole stays at its own rate, and no two recordings are brought to one rate.
const (
	// BeatCubic: each accepted beat is read at the points of the average's grid
	// by the cubic of Catmull and Rom between its samples.
	BeatCubic = "beat_cubic"
	// DecimationBeatCubic: before that, one of every so many samples was kept,
	// where the rate is far above what the low-pass leaves.
	DecimationBeatCubic = "decimation_beat_cubic"
)

// NoteNoLowpass says that the low-pass was left out because its cut-off lies
// too near to half the sampling rate.
const NoteNoLowpass = "lowpass_not_applied"

// Codes of a Failure.
const (
	CodeNoSamples     = "no_samples"
	CodeSamplingRate  = "sampling_rate"
	CodeTooShort      = "too_short"
	CodeFlat          = "flat"
	CodeTooFewBeats   = "too_few_beats"
	CodeTooFewSeconds = "too_few_seconds"
	CodeCalibration   = "calibration"
)

// Failure says why a recording gave no average beat, or an average no scale.
type Failure struct {
	Code    string // stable name
	Message string // for a person to read
}

// Error returns the message.
func (f *Failure) Error() string { return f.Message }

func fail(code, format string, args ...any) *Failure {
	return &Failure{Code: code, Message: fmt.Sprintf(format, args...)}
}

// Sampling rates that are accepted, Hz; own limits.
const (
	slowestHz = 30
	fastestHz = 20000
)

// largestSample is the magnitude above which a sample counts as missing, as a
// NaN or an infinity does: no sensor gives it, fill values of file formats do.
const largestSample = 1e12

// Analyser analyses one recording after the other and reuses its memory. It
// serves one goroutine at a time.
type Analyser struct {
	settings Settings
	filter   lowpass
	filterHz float64 // sampling rate for which filter was designed

	samples  []float64 // the recording being analysed
	hz       float64   // its sampling rate
	rate     float64   // rate of wave, Hz
	every    int       // wave keeps one of this many filtered samples
	missing  int       // samples without a value
	low      float64   // extremes of the samples
	high     float64
	segments []segment // stretches between gaps
	runs     []run     // stretches of equal samples
	work     []float64 // one segment while it is filtered
	wave     []float64 // filtered segments, one after the other

	slope    []float64   // slope sum function of wave
	rises    []float64   // of each sample over the one before, 0 where it falls, behind a window of zeros
	blocks   []block     // its maxima by block of time
	peaks    []candidate // candidates for upstrokes
	beats    []beat
	complete []int // beats that have a period
	scratch  []float64
	shapes   []float64               // normalised beats, template stage
	template [templatePoints]float64 // and the running sums of its points and of their squares
	sums     [templatePoints]float64
	squares  [templatePoints]float64
	early    []float64 // times of the points of the average, firm part, samples of wave
	late     []float64 // of those behind it, from its end on
	stack    []float64
	rows     [][]float64
}

// NewAnalyser returns an Analyser for these settings.
func NewAnalyser(s Settings) *Analyser { return &Analyser{settings: s} }

// Analyse finds and judges the beats of samples (any unit, NaN where missing)
// taken at hz per second, and averages the accepted ones. The samples are not
// changed. The error is a *Failure; what was found until then stands in the
// Result beside it: its beats with their verdicts, and the grade unusable.
func (a *Analyser) Analyse(samples []float64, hz float64) (Result, error) {
	defer func() { a.samples = nil }()
	if f := a.load(samples, hz); f != nil {
		return Result{Grade: Unusable, GradeReasons: []string{f.Code}}, f
	}
	notes := a.lowpassed()
	f := a.findUpstrokes()
	if f == nil {
		a.placeFeet()
		a.measureBeats()
		a.judgeBeats()
		f = a.enough()
	}
	result := Result{Beats: a.report(), Accepted: a.accepted(), Notes: notes}
	if f != nil {
		result.Grade, result.GradeReasons = Unusable, []string{f.Code}
		return result, f
	}
	a.average(&result)
	result.Grade, result.GradeReasons = a.grade()
	return result, nil
}

// enough reports a Failure where the accepted beats do not make an average.
func (a *Analyser) enough() *Failure {
	n, seconds := 0, 0.0
	for i := range a.beats {
		if b := &a.beats[i]; b.reason == "" {
			n++
			seconds += b.period / a.rate
		}
	}
	if n < max(1, a.settings.MinAccepted) {
		return fail(CodeTooFewBeats, "%d of %d beats accepted, %d needed%s", n, len(a.beats), max(1, a.settings.MinAccepted), a.mainReason())
	}
	if !(seconds >= a.settings.MinSeconds) {
		return fail(CodeTooFewSeconds, "accepted beats last %.1f s, %.1f s needed%s", seconds, a.settings.MinSeconds, a.mainReason())
	}
	return nil
}

// mainReason names the rule that rejected most beats; among equals the one
// that stands first in the order of the rules.
func (a *Analyser) mainReason() string {
	best, most := "", 0
	for _, rule := range ruleOrder {
		n := 0
		for i := range a.beats {
			if a.beats[i].reason == rule {
				n++
			}
		}
		if n > most {
			best, most = rule, n
		}
	}
	if most == 0 {
		return ""
	}
	return fmt.Sprintf("; %s rejected %d", best, most)
}

func (a *Analyser) accepted() int {
	n := 0
	for i := range a.beats {
		if a.beats[i].reason == "" {
			n++
		}
	}
	return n
}

// report writes the beats as the caller sees them.
func (a *Analyser) report() []Beat {
	if len(a.beats) == 0 {
		return nil
	}
	out := make([]Beat, len(a.beats))
	for i := range a.beats {
		b := &a.beats[i]
		s := &a.segments[b.segment]
		period := math.NaN()
		if b.complete {
			period = b.period / a.rate
		}
		out[i] = Beat{
			OnsetS: s.second(b.onset, a.rate, a.hz), FootS: s.second(b.foot, a.rate, a.hz), PeriodS: period,
			Minimum: b.minimum, Maximum: b.maximum, Correlation: b.correlation,
			Accepted: b.reason == "", Reason: b.reason,
		}
	}
	return out
}
