package pipeline

import (
	"math"
	"slices"
	"strings"

	"tonocohort/pipeline/central"
	"tonocohort/pipeline/sheets"
)

// sheet gathers what one recording shows, but for its trace.
func (r *sheetsReader) sheet(book *sheets.Book, row int, place map[int]int) *sheets.Sheet {
	text := func(name string) string { return r.recordings.TextAt(row, name) }
	id := text("recording_id")
	s := &sheets.Sheet{
		Recording: id, Subject: text("subject_id"), Visit: text("visit_id"), Centre: r.centreOf(row), Operator: text("operator_id"), Device: text("device_id"),
		Artery: text("artery"), Side: text("side"), Status: text("status"), Reason: text("reason"), Detail: r.detail[id],
		Grade: text("quality"), GradeReasons: strings.Fields(text("quality_reasons")), Reviews: r.reviews[id], Calibration: text("calibration"),
		ProgramDecision: programDecision(text("quality"), r.source.manifest.Settings.Quality), Beats: r.beats[id],
		IndexNotes: strings.Fields(text("index_notes")), Scale: math.NaN(), Offset: math.NaN(),
		TraceMissing: "the results hold average waves alone, and the study was not given",
	}
	from, to := r.visitRows(row)
	for k := from; k < to; k++ {
		if k == row {
			s.This = k - from
		}
		s.Replicates = append(s.Replicates, r.replicate(book, k, place))
	}
	if w := s.Waves(); w != nil {
		low, high := float64(slices.Min(w.Peripheral)), float64(slices.Max(w.Peripheral))
		s.Scale = (high - low) / r.recordings.Number(row, "wave_amplitude")
		s.Offset = low - s.Scale*r.recordings.Number(row, "wave_minimum")
	}
	return s
}

// visitRows are the rows of the same visit, which stand together.
func (r *sheetsReader) visitRows(row int) (from, to int) {
	same := func(k int) bool {
		return r.recordings.TextAt(k, "subject_id") == r.recordings.TextAt(row, "subject_id") && r.recordings.TextAt(k, "visit_id") == r.recordings.TextAt(row, "visit_id")
	}
	for from = row; from > 0 && same(from-1); from-- {
	}
	for to = row + 1; to < r.recordings.N && same(to); to++ {
	}
	return from, to
}

func (r *sheetsReader) replicate(book *sheets.Book, row int, place map[int]int) sheets.Replicate {
	text := func(name string) string { return r.recordings.TextAt(row, name) }
	out := sheets.Replicate{Recording: text("recording_id"), Grade: text("quality"), Status: text("status")}
	if i, ok := place[row]; ok {
		out.Link = sheets.Link(book, i)
	}
	for _, q := range book.Quantities {
		v := sheets.Value{Estimate: r.recordings.Number(row, q.Column), Error: math.NaN()}
		if r.recordings.Has(q.Column + "_se") {
			v.Error = r.recordings.Number(row, q.Column+"_se")
		}
		out.Values = append(out.Values, v)
	}
	at, ok := r.waveAt[out.Recording]
	if !ok {
		return out
	}
	out.Waves = &sheets.Waves{StepS: r.waves.Number(at, "step_s"), Peripheral: r.waves.Waves("radial_mmhg")[at], ShoulderS: math.NaN(), EjectionS: math.NaN()}
	if wave := r.waves.Waves("central_mmhg")[at]; len(wave) > 0 {
		fromFoot(out.Waves, wave)
		out.Waves.ShoulderS = out.Waves.FootS + r.recordings.Number(row, "shoulder_ms")/1000
		out.Waves.EjectionS = out.Waves.FootS + r.recordings.Number(row, "ejection_duration_ms")/1000
	}
	return out
}

// fromFoot turns the aortic wave so that it begins at its own foot, which comes
// before that of the peripheral wave by the time that the pulse travels. The foot
// is found as it was when the indices were measured.
func fromFoot(w *sheets.Waves, aortic []float32) {
	wave := make([]float64, len(aortic))
	for i, v := range aortic {
		wave[i] = float64(v)
	}
	w.Aortic = aortic
	period := float64(len(wave)) * w.StepS
	foot := math.Mod(central.Measure(wave, w.StepS).FootS, period)
	if math.IsNaN(foot) {
		return
	}
	if foot < 0 {
		foot += period
	}
	first := int(foot/w.StepS) % len(wave)
	w.Aortic = slices.Concat(aortic[first:], aortic[:first])
	w.AorticS, w.FootS = float64(first)*w.StepS, foot
	if foot > period/2 {
		w.AorticS, w.FootS = w.AorticS-period, foot-period
	}
}
