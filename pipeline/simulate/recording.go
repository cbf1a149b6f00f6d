package simulate

import (
	"fmt"
	"math"
	"time"
)

// Recording invents one recording of an ordinary radial pulse: drift, noise and
// the unknown gain and zero of a sensor, but no artefacts and no fault. The
// same seed, length and rate give the same samples; every seed is another
// person. Seconds should be 5 or more, so that whole beats are in it, and hz
// 100 or more. The true waves are in the Truth.
func Recording(seed string, seconds, hz float64) ([]float64, Truth) {
	s := newStream(seed, "recording")
	p := newPerson(seed, s.IntN(2*len(ageBands)), publishedNorms())
	p.irregular = min(p.irregular, usualIrregularity)
	solver := newSteady()
	v := newVisit(seed, p, "v1", p.ageYears, firstDay(), solver)
	quiet := newRestlessness(s)
	quiet.bumpChance, quiet.holdChance = 0, 0
	made := take(p, v, device{hz: hz, gainLow: 0.5, gainHigh: 2}, seconds, quiet, s, newRenderer(), solver)
	made.truth.AorticWave, made.truth.RadialWave = made.traces.recorded(made.traces.aortic), made.traces.recorded(made.traces.radial)
	return made.samples, made.truth
}

// taken is a recording before it is written.
type taken struct {
	samples []float64
	truth   Truth
	traces  traces // the renderer's own until its next use
}

// take records a visit: beats, pressures, sensor.
func take(p *person, v *visit, d device, seconds float64, r restlessness, s stream, pressures *renderer, solver *steady) taken {
	c := *v.circulation
	c.heartRateBPM = v.rateBPM * (1 + s.normal(0, 0.012))
	breathing := rhythm{
		rateBPM: c.heartRateBPM, breathingHz: v.breathing, irregular: p.irregular,
		respiratory:  0.045 * math.Exp(-(v.ageYears-20)/40), // falls with age; own choice
		strokeSwing:  0.02,
		strokeSpread: 0.012 + p.irregular/4,
	}
	n := stretch(seconds, d.hz)
	beats := breathing.beats(s, float64(n)/d.hz)
	tr := pressures.render(&c, beats, n, seconds, d.hz)
	truth := truthOf(&c, solver, tr, beats)
	truth.Gain = s.uniform(d.gainLow, d.gainHigh)
	truth.Offset = s.uniform(-70, 20) + d.creep*v.day.Sub(firstDay()).Hours()/24
	samples := tr.recorded(tr.radial)
	sense(samples, d.hz, v.breathing, r, truth.Gain, truth.Offset, s)
	truth.OnsetsS = tr.arrivals(beats, c.armTravelS)
	return taken{samples: samples, truth: truth, traces: tr}
}

// session is what one visit adds to the tables of recordings, reviews and truth.
type session struct{ recordings, reviews, truth [][]string }

// record invents and writes the recordings of a visit.
func (w *worker) record(p *person, v *visit) (session, error) {
	var out session
	s := newStream(w.seed, p.id, v.id, "session")
	count := 1
	if s.chance(0.5) {
		count = 2
	}
	devices := devicesOf(p.centre)
	d := devices[s.IntN(len(devices))]
	operators := []string{"QA", "QB", "QC"}
	if p.centre == "hilltop" {
		operators = []string{"HA", "HB"}
	}
	operator := s.pick(operators...)
	began := v.day.Add(time.Duration(8*60+s.IntN(500)) * time.Minute)
	side := s.pick("left", "right", "right")
	for i := range count {
		id := fmt.Sprintf("%s_%s_%d", p.id, v.id, i+1)
		if i > 0 {
			operator = secondOperator(newStream(w.seed, id, "operator"), operators, operator)
		}
		one := newStream(w.seed, id, "samples")
		seconds := float64(13 + one.IntN(4))
		made := take(p, v, d, seconds, newRestlessness(one), one, w.pressures, w.solver)
		faults := newStream(w.seed, id, "fault")
		fault := drawFault(faults)
		spoil(fault, made.samples)
		if err := w.files.write(id, d.layout, made.samples, d.hz, fault); err != nil {
			return out, err
		}
		channel := ""
		if d.layout == layoutWFDB {
			channel = "pressure"
		}
		out.recordings = append(out.recordings, []string{id, p.id, v.id, d.layout.fileName(id), d.layout.format(), channel,
			decimal(d.hz, 0), "au", "radial", side, operator, d.id, began.Add(time.Duration(2*i) * time.Minute).Format("2006-01-02T15:04:05")})
		out.truth = append(out.truth, made.truth.row(p, v, id, fault))
		read := review(faults, id, v.day)
		if len(read) == 0 && fault != faultMissing {
			read = readTwice(newStream(w.seed, id, "readers"), id, fault != "", v.day)
		}
		out.reviews = append(out.reviews, read...)
	}
	return out, nil
}

// secondOperator takes the next recording of a visit in two visits of five; the
// operators of the scenario differ in name alone.
func secondOperator(s stream, operators []string, first string) string {
	if !s.chance(0.4) {
		return first
	}
	other := s.pick(operators...)
	for other == first {
		other = s.pick(operators...)
	}
	return other
}

// readTwice lets both readers look at one recording in twelve, without knowing
// of each other. What they reject is mostly the same.
func readTwice(s stream, id string, broken bool, day time.Time) [][]string {
	if !s.chance(1.0 / 12) {
		return nil
	}
	chance := 0.03
	switch {
	case broken:
		chance = 0.95
	case s.chance(0.12): // a trace that one may take or leave
		chance = 0.7
	}
	var rows [][]string
	for _, reader := range []string{"R1", "R2"} {
		decision, reason := "accept", "read in the second round"
		if s.chance(chance) {
			decision, reason = "reject", "trace unsteady, read in the second round"
		}
		rows = append(rows, []string{id, decision, reason, reader, day.AddDate(0, 0, 30).Format(time.DateOnly)})
	}
	return rows
}

// review lets a reader have looked at one recording in seventy.
func review(s stream, id string, day time.Time) [][]string {
	if !s.chance(1.0 / 70) {
		return nil
	}
	decision, reason := "accept", "shape is clear in most beats"
	if s.chance(0.6) {
		decision, reason = "reject", s.pick("sensor slipped", "person was talking", "wrong side noted")
	}
	return [][]string{{id, decision, reason, s.pick("R1", "R2"), day.AddDate(0, 0, 14).Format(time.DateOnly)}}
}

func recordingsHeader() []string {
	return []string{"recording_id", "subject_id", "visit_id", "file", "format", "channel", "sampling_hz", "unit", "artery", "side",
		"operator_id", "device_id", "recorded_at"}
}

func reviewsHeader() []string {
	return []string{"recording_id", "decision", "reason", "reader", "read_on"}
}
