package pipeline

import (
	"math"

	"tonocohort/pipeline/central"
	"tonocohort/pipeline/pulse"
	"tonocohort/schema"
)

// uncertainColumn is a value with a standard error: where it stands in the values,
// and where its error does.
type uncertainColumn struct {
	name      string
	value, se int
}

// uncertainColumns are all of them.
var uncertainColumns = findUncertainColumns()

func findUncertainColumns() []uncertainColumn {
	var all []uncertainColumn
	for _, name := range schema.UncertainColumns() {
		all = append(all, uncertainColumn{name: name, value: columnAt(name), se: columnAt(name + "_se")})
	}
	return all
}

// valueErrors are the components of each of uncertainColumns.
type valueErrors []valueError

// valueError is not known where a recording does not have it; its components may
// be NaN where it does.
type valueError struct {
	components
	known bool
}

func newErrors() valueErrors { return make(valueErrors, len(uncertainColumns)) }

func (e valueErrors) set(i int, c components) { e[i] = valueError{components: c, known: true} }

// known counts those that a recording has.
func (e valueErrors) known() int {
	n := 0
	for i := range e {
		if e[i].known {
			n++
		}
	}
	return n
}

// components are the independent parts of one standard error, in the unit of
// its value; NaN where a part is unknown.
type components struct{ beats, cuff, calibration, transfer float64 }

// combined adds the parts in quadrature; an unknown part makes it unknown.
func (c components) combined() float64 {
	return math.Sqrt(float64(c.beats*c.beats) + float64(c.cuff*c.cuff) + float64(c.calibration*c.calibration) + float64(c.transfer*c.transfer))
}

// scaled is the components of a·x.
func (c components) scaled(a float64) components {
	a = math.Abs(a)
	return components{c.beats * a, c.cuff * a, c.calibration * a, c.transfer * a}
}

// errorModel holds what the components of one recording and calibration rest on.
type errorModel struct {
	settings       schema.UncertaintySettings
	kind           string  // sbp_dbp, map_dbp, as_recorded
	sbp, dbp, mean float64 // cuff, mmHg
	sdSBP, sdDBP   float64 // of the combined readings, mmHg
	stepSD         float64 // mmHg, of the systolic step between cuff and sensor
	none           bool    // the wave went through no transfer
}

func (w *worker) errorModel(r *recordingResult, kind string) errorModel {
	u := w.settings.Uncertainty
	m := errorModel{settings: u, kind: kind, none: r.centralMethod == central.None,
		sbp: r.cuff.SBP, dbp: r.cuff.DBP, mean: r.values[atBrachialMAP]}
	root := math.Sqrt(float64(r.cuff.Used))
	m.sdSBP, m.sdDBP = u.CuffSBPSDMmHg/root, u.CuffDBPSDMmHg/root
	switch r.row.Artery {
	case "radial":
		m.stepSD = u.RadialStepSDMmHg
	case "carotid", "aortic":
		m.stepSD = u.CentralStepSDMmHg
	}
	return m
}

// pressure gives the components of a pressure x: its offset follows the cuff.
func (m errorModel) pressure(x, beats, spread float64) components {
	u := (x - m.dbp) / (m.sbp - m.dbp)
	return m.components(x-m.dbp, u, 1-u, beats, spread)
}

// difference gives the components of a difference of two pressures of one wave.
func (m errorModel) difference(x, beats, spread float64) components {
	u := x / (m.sbp - m.dbp)
	return m.components(x, u, -u, beats, spread)
}

// components: rise is the part of the value that scales with the wave; gs and
// gd are its derivatives by cuff SBP and DBP. A mean pressure from the cuff or
// by formula follows both readings, so that its derivatives are the same.
func (m errorModel) components(rise, gs, gd, beats, transfer float64) components {
	c := components{beats: beats, transfer: transfer}
	switch m.kind {
	case pulse.AsRecorded:
		return c
	case pulse.BySBPDBP:
		c.calibration = math.Abs(gs) * m.stepSD
	default:
		c.calibration = math.Abs(rise) * m.settings.FormFactorSD * (m.sbp - m.dbp) / (m.mean - m.dbp)
	}
	covariance := m.settings.CuffCorrelation * m.sdSBP * m.sdDBP
	variance := float64(gs*gs*m.sdSBP*m.sdSBP) + float64(gd*gd*m.sdDBP*m.sdDBP) + float64(2*gs*gd*covariance)
	c.cuff = math.Sqrt(max(0, variance))
	return c
}

// transfer is the spread of what the transfer function does to a value: that of
// its numbers between people and that of the mean pressure, which it takes as
// equal, but no less than was found against catheters. A wave that went through
// none has none; where the first is unknown, so is the whole.
func (m errorModel) transfer(spread, meanFall, least float64) float64 {
	if m.none {
		return 0
	}
	return max(math.Hypot(spread, meanFall), least)
}

// uncertain fills the components of the values of one calibration, which stand at.
func (w *worker) uncertain(r *recordingResult, kind string, at *pressures, e *central.Errors, spread central.Spread, scale float64) {
	m := w.errorModel(r, kind)
	get := func(i int) float64 { return r.values[uncertainColumns[i].value] }
	scale = math.Abs(scale)
	u := m.settings
	r.errors.set(at.sbp, m.pressure(get(at.sbp), e.SBP, m.transfer(scale*spread.SBP, u.MeanFallSDMmHg, u.TransferSBPSDMmHg)))
	r.errors.set(at.dbp, m.pressure(get(at.dbp), e.DBP, m.transfer(scale*spread.DBP, u.MeanFallSDMmHg, u.TransferDBPSDMmHg)))
	r.errors.set(at.mean, m.pressure(get(at.mean), e.MAP, m.transfer(0, u.MeanFallSDMmHg, 0)))
	r.errors.set(at.pp, m.difference(get(at.pp), e.PP, m.transfer(scale*spread.PP, 0, u.TransferPPSDMmHg)))
}

// uncertainIndices fills the components of what only the primary calibration has.
func (w *worker) uncertainIndices(r *recordingResult, e *central.Errors, spread central.Spread) {
	m, v := w.errorModel(r, r.calibration), r.values
	r.errors.set(errorOfAugmentationPressure, m.difference(v[atAugmentationPressure], e.AugmentationPressure, math.Abs(r.scale)*spread.AugmentationPressure))
	index := components{beats: e.AugmentationIndexPct, transfer: spread.AugmentationIndexPct} // no scale in it
	r.errors.set(errorOfIndex, index)
	r.errors.set(errorOfIndexHR75, index)
	pp := r.errors[errorOfCentral.pp].components
	ratio := v[atRatio]
	amplification := pp.scaled(ratio / v[atCentral.pp])
	if m.kind == pulse.AsRecorded {
		brachial := math.Sqrt(max(0, float64(m.sdSBP*m.sdSBP)+float64(m.sdDBP*m.sdDBP)-float64(2*m.settings.CuffCorrelation*m.sdSBP*m.sdDBP)))
		amplification.cuff = ratio * brachial / v[atBrachialPP]
	} else {
		amplification.cuff = 0 // both pulse pressures scale with the same readings
	}
	r.errors.set(errorOfRatio, amplification)
	step := r.errors[errorOfCentral.sbp].components
	if m.kind == pulse.AsRecorded {
		step.cuff = m.sdSBP
	} else {
		u := (v[atCentral.sbp] - m.dbp) / (m.sbp - m.dbp)
		step.cuff = m.components(0, 1-u, u-1, 0, 0).cuff
	}
	r.errors.set(errorOfSBPAmplification, step)
}

// fillErrors writes the combined errors into the columns that end in _se; a
// value that is missing has none.
func (v values) fillErrors(errors valueErrors) {
	for i, c := range uncertainColumns {
		if e := &errors[i]; e.known && !math.IsNaN(v[c.value]) {
			v[c.se] = e.combined()
		}
	}
}

// combineErrors gives the components of the mean over replicates: beats are
// independent from recording to recording; cuff, calibration and transfer are
// the person's and are shared.
func combineErrors(used []*recordingResult) valueErrors {
	out := newErrors()
	for i := range out {
		var sum components
		n := 0.0
		for _, r := range used {
			c := &r.errors[i]
			if !c.known {
				continue
			}
			n++
			sum.beats += float64(c.beats * c.beats)
			sum.cuff += c.cuff
			sum.calibration += c.calibration
			sum.transfer += c.transfer
		}
		if n > 0 {
			out.set(i, components{math.Sqrt(sum.beats) / n, sum.cuff / n, sum.calibration / n, sum.transfer / n})
		}
	}
	return out
}
