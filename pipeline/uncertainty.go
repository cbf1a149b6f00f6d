package pipeline

import (
	"math"

	"tonocohort/pipeline/central"
	"tonocohort/pipeline/pulse"
	"tonocohort/schema"
)

// uncertainColumns are the values with a standard error.
var uncertainColumns = schema.UncertainColumns()

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
		sbp: r.cuff.SBP, dbp: r.cuff.DBP, mean: w.layout.get(r.values, "brachial_map_mmhg")}
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

// uncertain fills the components of the values of one calibration; prefix and
// suffix name the columns.
func (w *worker) uncertain(r *recordingResult, kind, infix string, e central.Errors, spread central.Spread, scale float64) {
	m := w.errorModel(r, kind)
	get := func(name string) float64 { return w.layout.get(r.values, name) }
	set := func(name string, c components) { r.errors[name] = c }
	name := func(value string) string { return "central_" + value + infix + "_mmhg" }
	scale = math.Abs(scale)
	u := m.settings
	set(name("sbp"), m.pressure(get(name("sbp")), e.SBP, m.transfer(scale*spread.SBP, u.MeanFallSDMmHg, u.TransferSBPSDMmHg)))
	set(name("dbp"), m.pressure(get(name("dbp")), e.DBP, m.transfer(scale*spread.DBP, u.MeanFallSDMmHg, u.TransferDBPSDMmHg)))
	set(name("map"), m.pressure(get(name("map")), e.MAP, m.transfer(0, u.MeanFallSDMmHg, 0)))
	set(name("pp"), m.difference(get(name("pp")), e.PP, m.transfer(scale*spread.PP, 0, u.TransferPPSDMmHg)))
}

// uncertainIndices fills the components of what only the primary calibration has.
func (w *worker) uncertainIndices(r *recordingResult, e central.Errors, spread central.Spread) {
	m := w.errorModel(r, r.calibration)
	get := func(name string) float64 { return w.layout.get(r.values, name) }
	set := func(name string, c components) { r.errors[name] = c }
	set("augmentation_pressure_mmhg", m.difference(get("augmentation_pressure_mmhg"), e.AugmentationPressure, math.Abs(r.scale)*spread.AugmentationPressure))
	index := components{beats: e.AugmentationIndexPct, transfer: spread.AugmentationIndexPct} // no scale in it
	set("augmentation_index_pct", index)
	set("augmentation_index_hr75_pct", index)
	pp := r.errors["central_pp_mmhg"]
	ratio := get("pp_amplification_ratio")
	amplification := pp.scaled(ratio / get("central_pp_mmhg"))
	if m.kind == pulse.AsRecorded {
		brachial := math.Sqrt(max(0, float64(m.sdSBP*m.sdSBP)+float64(m.sdDBP*m.sdDBP)-float64(2*m.settings.CuffCorrelation*m.sdSBP*m.sdDBP)))
		amplification.cuff = ratio * brachial / get("brachial_pp_mmhg")
	} else {
		amplification.cuff = 0 // both pulse pressures scale with the same readings
	}
	set("pp_amplification_ratio", amplification)
	step := r.errors["central_sbp_mmhg"]
	if m.kind == pulse.AsRecorded {
		step.cuff = m.sdSBP
	} else {
		u := (get("central_sbp_mmhg") - m.dbp) / (m.sbp - m.dbp)
		step.cuff = m.components(0, 1-u, u-1, 0, 0).cuff
	}
	set("sbp_amplification_mmhg", step)
}

// fillErrors writes the combined errors into the columns that end in _se; a
// value that is missing has none.
func (l *layout) fillErrors(v values, errors map[string]components) {
	for _, name := range uncertainColumns {
		if c, ok := errors[name]; ok && !math.IsNaN(l.get(v, name)) {
			l.set(v, name+"_se", c.combined())
		}
	}
}

// combineErrors gives the components of the mean over replicates: beats are
// independent from recording to recording; cuff, calibration and transfer are
// the person's and are shared.
func combineErrors(used []*recordingResult) map[string]components {
	out := map[string]components{}
	for _, name := range uncertainColumns {
		var sum components
		n := 0.0
		for _, r := range used {
			c, ok := r.errors[name]
			if !ok {
				continue
			}
			n++
			sum.beats += float64(c.beats * c.beats)
			sum.cuff += c.cuff
			sum.calibration += c.calibration
			sum.transfer += c.transfer
		}
		if n > 0 {
			out[name] = components{math.Sqrt(sum.beats) / n, sum.cuff / n, sum.calibration / n, sum.transfer / n}
		}
	}
	return out
}
