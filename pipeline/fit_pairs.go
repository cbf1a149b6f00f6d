package pipeline

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"tonocohort/pipeline/central"
	"tonocohort/pipeline/pulse"
	"tonocohort/pipeline/recording"
	"tonocohort/pipeline/store"
	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// Limits on what is taken for a pair; own choices.
const (
	periodChange   = 0.10  // relative difference of the two mean periods
	leastAmplified = 0.95  // peripheral / central pulse pressure: arms amplify, by 1.2 or so in the old (McEniery 2005, JACC 46:1753-60) and more in the young
	leastDelayS    = -0.01 // foot at the artery − foot of the central wave: the pulse reaches the heart first
)

// pairResult is what one pair leaves behind.
type pairResult struct {
	table    string
	row      *study.Pair
	status   string
	reason   string
	pair     central.Pair
	meanStep float64 // mmHg, peripheral − central mean pressure
	delayS   float64 // NaN where the two were not recorded at once
	key      string  // of the two signals
	inputs   []recording.Input
	issues   []schema.Issue
	periodS  [2]float64
}

// pairWorker is what one goroutine reuses from pair to pair.
type pairWorker struct {
	table     string // file name of the table of pairs
	reader    *recording.Reader
	analysers [2]*pulse.Analyser
}

func newPairWorker(files *store.Root, table string) *pairWorker {
	b := schema.DefaultSettings().Beats
	s := pulse.Settings{LowpassHz: b.LowpassHz, MinAccepted: b.MinAccepted, MinSeconds: b.MinSeconds}
	return &pairWorker{table: table, reader: newReader(files, schema.DefaultSettings()), analysers: [2]*pulse.Analyser{pulse.NewAnalyser(s), pulse.NewAnalyser(s)}}
}

// leave marks the pair as left out and says why, with its place in the table.
func (r *pairResult) leave(status, code, column, message, hint string) {
	if r.status == statusUsed {
		r.status, r.reason = status, code
	}
	r.issues = append(r.issues, schema.Issue{Size: schema.SizeRecording, File: r.table, Row: r.row.Line, Name: column, Code: code, Message: message, Hint: hint,
		SubjectID: r.row.SubjectID, RecordingID: r.row.ID})
}

// pair carries one pair from its files to two average beats. Both sides are
// read whatever the other one is like, so that every problem is shown.
func (w *pairWorker) pair(row *study.Pair) *pairResult {
	r := &pairResult{table: w.table, row: row, status: statusUsed, delayS: math.NaN()}
	if row.Fault != "" {
		r.status, r.reason = statusFailed, row.Fault
		return r
	}
	sides := [2]study.PairSide{row.Central, row.Peripheral}
	var found [2]pulse.Result
	var keys [2]string
	for i, name := range []string{"central", "peripheral"} {
		var ok bool
		if found[i], keys[i], ok = w.side(r, i, name, sides[i]); !ok {
			r.status = statusFailed
		}
	}
	if r.status != statusUsed {
		return r
	}
	r.key = strings.Join(keys[:], " ")
	if keys[0] == keys[1] {
		r.leave(statusExcluded, "same_signal", "", "both sides are the same signal", "name two channels, or two files")
		return r
	}
	if t := r.periodS; math.Abs(t[0]-t[1]) > periodChange*t[1] {
		r.leave(statusExcluded, "heart_rates_differ", "", fmt.Sprintf("%.0f beats per minute in the central recording, %.0f in the peripheral one", 60/t[0], 60/t[1]),
			"a pair is one state of one person")
	}
	if r.status == statusUsed {
		w.join(r, found)
	}
	return r
}

// side reads one recording and finds its beats; false where there is none to use.
func (w *pairWorker) side(r *pairResult, i int, name string, s study.PairSide) (pulse.Result, string, bool) {
	fail := func(issue schema.Issue) {
		issue.SubjectID, issue.RecordingID = r.row.SubjectID, r.row.ID
		r.issues = append(r.issues, issue)
		if r.reason == "" {
			r.reason = issue.Code
		}
	}
	read, err := w.reader.Read(recording.Request{File: s.File, Format: r.row.Format, Channel: s.Channel, SamplingHz: r.row.SamplingHz, Unit: r.row.Unit})
	for _, note := range read.Notes {
		if note.Code == recording.CodeColumnsIgnored && r.row.Central.File == r.row.Peripheral.File {
			continue // the other columns are the other side
		}
		note.SubjectID, note.RecordingID = r.row.SubjectID, r.row.ID
		r.issues = append(r.issues, note)
	}
	if err != nil {
		var issue *schema.Issue
		if !errors.As(err, &issue) {
			issue = &schema.Issue{Size: schema.SizeRecording, File: s.File, Code: "unreadable", Message: err.Error()}
		}
		fail(*issue)
		return pulse.Result{}, "", false
	}
	r.inputs = append(r.inputs, read.Inputs...)
	key := s.Channel
	for _, in := range read.Inputs {
		key += " " + in.SHA256
	}
	found, err := w.analysers[i].Analyse(read.Samples, read.SamplingHz)
	if err != nil {
		issue := schema.Issue{Size: schema.SizeRecording, File: s.File, Name: name, Code: "no_beats", Message: err.Error()}
		var failure *pulse.Failure
		if errors.As(err, &failure) {
			issue.Code = failure.Code
		}
		fail(issue)
		return found, key, false
	}
	r.periodS[i] = found.PeriodS
	if found.Grade == pulse.Unusable {
		fail(schema.Issue{Size: schema.SizeRecording, File: s.File, Name: name, Code: "quality_unusable", Message: "the recording is unusable: " + strings.Join(found.GradeReasons, ", ")})
		return found, key, false
	}
	return found, key, true
}

// join makes two average beats of what both recordings have.
func (w *pairWorker) join(r *pairResult, found [2]pulse.Result) {
	rows := [2][][]float64{found[0].Stack, found[1].Stack}
	if r.row.Simultaneous {
		var delays []float64
		rows, delays = commonBeats(found)
		if least := w.leastBeats(); len(delays) < least {
			r.leave(statusExcluded, "too_few_common_beats", "", fmt.Sprintf("%d beats were accepted in both recordings, %d are needed", len(delays), least), "")
			return
		}
		slices.Sort(delays)
		r.delayS = delays[len(delays)/2]
		if r.delayS < leastDelayS {
			r.leave(statusExcluded, "channels_swapped", "", fmt.Sprintf("the pulse reaches the artery %.0f ms before the central place: the two look swapped", -1000*r.delayS), "exchange central and peripheral")
		}
	}
	scaled, ok := w.scaled(r, rows)
	if !ok {
		return
	}
	averages := [2][]float64{average(scaled[0]), average(scaled[1])}
	r.pair = central.Pair{SubjectID: r.row.SubjectID, Peripheral: averages[1], StepS: found[1].StepS, Beats: scaled[1],
		Central: central.Retimed(averages[0], found[0].StepS, len(averages[1]), found[1].StepS)}
	r.judge()
}

func (w *pairWorker) leastBeats() int { return schema.DefaultSettings().Beats.MinAccepted }

// scaled gives the beats of both sides their scale, in memory of their own.
func (w *pairWorker) scaled(r *pairResult, rows [2][][]float64) ([2][][]float64, bool) {
	kind := pulse.AsRecorded
	if r.row.Unit != "mmHg" {
		kind = pulse.ByMAPDBP
	}
	var out [2][][]float64
	for i := range rows {
		scale, offset, err := pulse.Calibrate(average(rows[i]), kind, math.NaN(), r.row.DBP, r.row.MAP)
		if err != nil {
			r.leave(statusExcluded, pulse.CodeCalibration, "", err.Error(), "")
			return out, false
		}
		for _, row := range rows[i] {
			var beat []float64
			out[i] = append(out[i], affine(&beat, row, scale, offset))
		}
	}
	return out, true
}

// judge looks at the two waves in mmHg.
func (r *pairResult) judge() {
	mean, pp := [2]float64{}, [2]float64{}
	for i, wave := range [][]float64{r.pair.Central, r.pair.Peripheral} {
		name := []string{"central", "peripheral"}[i]
		if broken := pulse.Implausible(wave); broken != "" {
			r.leave(statusExcluded, "implausible_pressure", "", fmt.Sprintf("%s: %s, from %.0f to %.0f mmHg", name, broken, slices.Min(wave), slices.Max(wave)), "is the unit mmHg?")
		}
		for _, p := range wave {
			mean[i] += p / float64(len(wave))
		}
		pp[i] = slices.Max(wave) - slices.Min(wave)
	}
	if pp[1] < leastAmplified*pp[0] {
		r.leave(statusExcluded, "channels_swapped", "", fmt.Sprintf("pulse pressure is %.0f mmHg at the artery and %.0f at the central place: the two look swapped", pp[1], pp[0]), "exchange central and peripheral, or leave the pair out")
	}
	r.meanStep = mean[1] - mean[0]
}

// commonBeats pairs the accepted beats of two recordings on one clock: of each
// central beat the accepted peripheral one whose foot is nearest, if it is nearer
// than half a period. The rows belong to the analysers.
func commonBeats(found [2]pulse.Result) (rows [2][][]float64, delays []float64) {
	var feet [2][]float64
	for i := range found {
		for _, b := range found[i].Beats {
			if b.Accepted {
				feet[i] = append(feet[i], b.FootS)
			}
		}
	}
	j, used := 0, -1
	for i, foot := range feet[0] {
		for j+1 < len(feet[1]) && math.Abs(feet[1][j+1]-foot) < math.Abs(feet[1][j]-foot) {
			j++
		}
		if j < len(feet[1]) && j != used && math.Abs(feet[1][j]-foot) < found[1].PeriodS/2 {
			used = j
			rows[0], rows[1] = append(rows[0], found[0].Stack[i]), append(rows[1], found[1].Stack[j])
			delays = append(delays, feet[1][j]-foot)
		}
	}
	return rows, delays
}

func average(rows [][]float64) []float64 {
	out := make([]float64, len(rows[0]))
	for _, row := range rows {
		for j, v := range row {
			out[j] += v
		}
	}
	for j := range out {
		out[j] /= float64(len(rows))
	}
	return out
}
