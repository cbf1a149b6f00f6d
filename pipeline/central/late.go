package central

import "math"

// LateShoulderMethod is the name of the estimate by the late systolic shoulder.
const LateShoulderMethod = "late_shoulder"

// The notes of the late shoulder.
const (
	NoteNoLateShoulder = "central_sbp:no_late_shoulder"
	NoteNotPeripheral  = "central_sbp:not_a_peripheral_wave"
)

// lateShoulder takes the pressure of the second systolic shoulder of the
// peripheral wave for central SBP.
type lateShoulder struct{}

func (lateShoulder) Name() string { return LateShoulderMethod }

func (lateShoulder) Source() string {
	return "Takazawa 2012 (J Hypertens: r 0.93 with catheters in 66 patients); Hickson 2009 (1 ± 4 mmHg from a transfer function in 1,880 people)"
}

func (lateShoulder) Limits() string {
	return "radial and brachial waves that have a late shoulder, which many young people do not; it lay 1 to 14 mmHg below central SBP depending on the instrument (Zhang 2011, J Hypertens 29:676-81); a peak without a wave"
}

func (lateShoulder) Estimate(w *Workspace, b Beat, _ []float64) (Estimate, error) {
	e := Estimate{Method: LateShoulderMethod, SBP: math.NaN()}
	if b.Artery != Radial && b.Artery != Brachial {
		e.Notes = append(e.Notes, NoteNotPeripheral)
		return e, nil
	}
	var ok bool
	if e.SBP, ok = w.LateShoulder(b.Wave, b.StepS); !ok {
		e.Notes = append(e.Notes, NoteNoLateShoulder)
	}
	return e, nil
}

func (lateShoulder) Spread(*Workspace, Beat, Estimate) Spread { return unknownSpread() }

// LateShoulder returns the pressure at the late systolic shoulder of one period
// of a peripheral wave: of the second systolic peak where the wave has two,
// whichever is the higher; else where its fall between peak and end of ejection
// is slowest. NaN and false where there is none.
func (w *Workspace) LateShoulder(wave []float64, stepS float64) (float64, bool) {
	if len(wave) < 16 || !finite(wave) || !(stepS > 0) {
		return math.NaN(), false
	}
	p := period{wave: wave, step: stepS, length: float64(len(wave)) * stepS}
	highest := p.extreme(+1)
	if !(highest.value > p.extreme(-1).value) {
		return math.NaN(), false
	}
	c := w.curve(wave, p.length)
	foot, _, _ := c.foot(&p)
	peak := p.since(foot, highest.at)
	if early := c.firstCrossing(c.slope, -1, foot, 0, peak-peakFromShoulderS); !math.IsNaN(early) {
		return highest.value, true
	}
	end, _ := c.endOfEjection(&p, foot, peak)
	if math.IsNaN(end) {
		return math.NaN(), false
	}
	at, _ := c.lateShoulder(foot, peak, end)
	if math.IsNaN(at) {
		return math.NaN(), false
	}
	return p.at(foot + at), true
}
