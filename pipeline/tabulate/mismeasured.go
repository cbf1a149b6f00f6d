package tabulate

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"tonocohort/schema"
	"tonocohort/stats"
	"tonocohort/stats/regress"
)

// cuffErrors are the errors of the combined cuff readings of each row.
type cuffErrors struct {
	m                   *modeller
	systolic, diastolic []float64     // by row of the frame
	count               []float64     // readings
	recorded            schema.Labels // how the wave got its scale
	settings            schema.UncertaintySettings
}

func (m *modeller) cuff() (cuffErrors, bool) {
	for _, name := range []string{"brachial_sbp_mmhg", "brachial_dbp_mmhg", "cuff_readings"} {
		if !m.c.frame.Has(name) {
			return cuffErrors{}, false
		}
	}
	c := cuffErrors{m: m, systolic: m.c.frame.Numbers("brachial_sbp_mmhg"), diastolic: m.c.frame.Numbers("brachial_dbp_mmhg"),
		count: m.c.frame.Numbers("cuff_readings"), recorded: m.c.frame.Labels("calibration"), settings: m.uncertainty}
	return c, true
}

// slopes are the derivatives of a value by the cuff's systolic and diastolic
// pressure, as its standard error takes them: a pressure moves with both readings
// by where it lies between them, a difference by its share of their difference. A
// wave recorded in true mmHg moves with neither.
func (c cuffErrors) slopes(name string, row int) (bySBP, byDBP float64) {
	if !schema.SharesCuff(name) || !schema.CuffValue(name) && c.recorded.At(row) == "as_recorded" {
		return 0, 0
	}
	value := c.m.c.frame.Numbers(name)[row]
	pulse := c.systolic[row] - c.diastolic[row]
	if name == "augmentation_pressure_mmhg" || strings.Contains(name, "_pp_") {
		share := value / pulse
		return share, -share
	}
	share := (value - c.diastolic[row]) / pulse
	return share, 1 - share
}

// covariance is that of the cuff's error in two values of a row, or with one name
// twice its variance.
func (c cuffErrors) covariance(a, b string, row int) float64 {
	u := c.settings
	n := c.count[row]
	vs, vd := float64(u.CuffSBPSDMmHg*u.CuffSBPSDMmHg)/n, float64(u.CuffDBPSDMmHg*u.CuffDBPSDMmHg)/n
	both := float64(u.CuffCorrelation*u.CuffSBPSDMmHg*u.CuffDBPSDMmHg) / n
	as, ad := c.slopes(a, row)
	bs, bd := c.slopes(b, row)
	return float64(as*bs*vs) + float64(ad*bd*vd) + float64((float64(as*bd)+float64(ad*bs))*both)
}

// errorsOfColumn returns variance of the column's error and its covariance with
// the outcome's, by row; covariance is nil where none is shared.
func (m *modeller) errorsOfColumn(model schema.Model, rows []int32) (variance, covariance []float64, source string, err error) {
	e := model.MeasurementError
	column := e.SE
	if column == "" && m.c.frame.Has(e.Column+"_se") {
		column = e.Column + "_se"
	}
	variance = make([]float64, len(rows))
	if column != "" {
		cells := m.c.frame.Numbers(column)
		for i, row := range rows {
			v := cells[row]
			variance[i] = float64(v * v)
		}
		return variance, nil, "standard errors of " + column, lacking(variance)
	}
	cuff, ok := m.cuff()
	if !ok {
		return nil, nil, "", errors.New("the columns of the cuff are not there")
	}
	covariance = make([]float64, len(rows))
	for i, row := range rows {
		variance[i] = cuff.covariance(e.Column, e.Column, int(row))
		covariance[i] = cuff.covariance(e.Column, model.Outcome, int(row))
	}
	if err := lacking(variance); err != nil {
		return nil, nil, "", err
	}
	return variance, covariance, "spreads of the cuff in uncertainty, over the readings; what it shares with the outcome is carried as covariance", lacking(covariance)
}

func lacking(x []float64) error {
	if n := missingValues(x); n > 0 {
		return fmt.Errorf("%d rows have no standard error", n)
	}
	return nil
}

// correct writes the coefficients corrected for error in a column beside the
// naive ones.
func (m *modeller) correct(a attempt) {
	e := a.f.model.MeasurementError
	if e == nil {
		return
	}
	refuse := func(statistic string, err error) {
		m.write(a.f, e.Column, stats.Result{Statistic: statistic, Estimate: math.NaN(), Unit: unitOf(a.f.unit), Method: statistic, Note: "not computed: " + err.Error()}, stats.Interval{})
	}
	variance, covariance, source, err := m.errorsOfColumn(a.f.model, a.whole.rows)
	if err != nil {
		refuse("calibrated", err)
		refuse("simex", err)
		return
	}
	m.write(a.f, e.Column, stats.Result{Statistic: "error_variance", Estimate: stats.Mean(variance), Unit: "(" + m.c.column(e.Column).Unit + ")^2", Method: "mean over the rows", Note: source}, stats.Interval{})
	if covariance != nil {
		m.write(a.f, e.Column, stats.Result{Statistic: "error_covariance", Estimate: stats.Mean(covariance), Unit: m.c.column(e.Column).Unit + " " + unitOf(a.f.unit), Method: "with the outcome's error, mean over the rows", Note: source}, stats.Interval{})
	}
	if err := m.calibrate(a, variance, covariance); err != nil {
		refuse("calibrated", err)
		m.attenuation(a, math.NaN(), "terms as measured")
	}
	if err := m.simex(a, variance, covariance); err != nil {
		refuse("simex", err)
	}
}

// errorColumn is the design column of a straight term without interactions.
func errorColumn(d design, name string) (at int, step float64, err error) {
	at = -1
	for i, b := range d.blocks {
		if !slices.Contains(b.term.Columns(), name) {
			continue
		}
		if len(b.term.Interaction) > 0 || len(b.columns) != 1 || b.curved {
			return 0, 0, fmt.Errorf("%s bends or interacts: its moments are not corrected, only its simulated error", name)
		}
		at = d.first[i]
		step, _ = per(b.term)
	}
	if at < 0 {
		return 0, 0, fmt.Errorf("%s has no column", name)
	}
	return at, step, nil
}

// calibrate writes the coefficients corrected by moments.
func (m *modeller) calibrate(a attempt, variance, covariance []float64) error {
	if a.r.least == nil {
		return errors.New("regression calibration by moments is for least squares")
	}
	at, step, err := errorColumn(a.p.design, a.f.model.MeasurementError.Column)
	if err != nil {
		return err
	}
	e := regress.ErrorsInColumn{Column: at, Variance: make([]float64, len(variance))}
	for i, v := range variance {
		e.Variance[i] = v / float64(step*step)
	}
	if covariance != nil {
		e.Covariance = make([]float64, len(covariance))
		for i, v := range covariance {
			e.Covariance[i] = v / step
		}
	}
	c, err := a.r.least.Calibrate(e, a.p.clusters)
	if err != nil {
		return err
	}
	for j, row := range c.Table(a.r.Names, confidence) {
		m.corrected(a, j, "calibrated", "regression calibration by moments (Fuller 1987), sandwich errors", row)
	}
	column := a.f.model.MeasurementError.Column
	m.write(a.f, column, stats.Result{Statistic: "reliability", Estimate: c.Reliability, Unit: "1", Method: "share of its variance, given the other terms, that is not error"}, stats.Interval{})
	m.attenuation(a, c.Explained, "terms corrected")
	return nil
}

// corrected writes one corrected coefficient with its error.
func (m *modeller) corrected(a attempt, j int, name, method string, row regress.Coefficient) {
	k := a.p.design.columns[j]
	m.write(a.f, k.name, stats.Result{Statistic: name, Estimate: row.Estimate, Method: method, Unit: k.unit, Note: k.note}, intervalOf(row))
	m.write(a.f, k.name, stats.Result{Statistic: "se_" + name, Estimate: row.SE, Method: method, Unit: k.unit, Note: k.note}, stats.Interval{})
}

// simex writes the coefficients corrected by simulation: error is added to the
// column, and its part that the outcome shares to the outcome.
func (m *modeller) simex(a attempt, variance, covariance []float64) error {
	e := a.f.model.MeasurementError
	if a.f.outcome.binary && covariance != nil && slices.ContainsFunc(covariance, func(v float64) bool { return v != 0 }) {
		return errors.New("shared_cuff_error: the error of the cuff is in the column and decides on the event, and cannot be added to an event")
	}
	m.seeds["simex of "+a.f.model.Name+"/"+a.f.model.Outcome] = "SHA-256 of study id, model, outcome and repetition; ChaCha8"
	naive := a.p.design.sample.numbers[e.Column]
	refit := func(lambda float64, repetition int) ([]float64, []float64, error) {
		p := a.p
		if lambda > 0 {
			random := namedStream(m.study, a.f.model.Name, a.f.model.Outcome, fmt.Sprint(repetition))
			s := p.design.sample
			s.numbers = make(map[string][]float64, len(a.p.design.sample.numbers))
			for column, x := range a.p.design.sample.numbers {
				s.numbers[column] = x
			}
			x, y := slices.Clone(naive), slices.Clone(a.p.y)
			for i, v := range variance {
				u := math.Sqrt(float64(lambda*v)) * random.NormFloat64()
				x[i] += u
				if covariance != nil && v > 0 {
					y[i] += float64(covariance[i] / v * u)
				}
			}
			s.numbers[e.Column] = x
			p.design, p.y = p.design.on(s, a.f.unit), y
		}
		fit, err := p.solve()
		if err != nil {
			return nil, nil, err
		}
		variances := make([]float64, len(fit.Names))
		for j := range variances {
			variances[j] = fit.main.Matrix[j][j]
		}
		return fit.Coefficients, variances, nil
	}
	b, se, err := regress.SIMEX(refit, e.Simulations)
	if err != nil {
		return err
	}
	z := stats.NormalQuantile((1 + confidence) / 2)
	for j := range b {
		half := float64(z * se[j])
		m.corrected(a, j, "simex", fmt.Sprintf("SIMEX, rational extrapolant, %d simulations a step (Cook and Stefanski 1994)", e.Simulations),
			regress.Coefficient{Estimate: b[j], SE: se[j], DF: math.Inf(1), Low: b[j] - half, High: b[j] + half})
	}
	return nil
}

// attenuation writes R² with the outcome's error taken off its variance: what the
// terms explain of the variance that is not measurement error. explained is the
// variance of the linear predictor; NaN: as it was fitted.
func (m *modeller) attenuation(a attempt, explained float64, what string) {
	column := a.f.model.Outcome + "_se"
	if a.r.least == nil || a.r.imputed() || a.p.weights != nil || !m.c.frame.Has(column) {
		return
	}
	cells := m.c.frame.Numbers(column)
	var error float64
	n := float64(len(a.whole.rows))
	for _, row := range a.whole.rows {
		error += float64(cells[row]*cells[row]) / n
	}
	if math.IsNaN(error) {
		return
	}
	fit := a.r.least
	if math.IsNaN(explained) {
		explained = (fit.TSS - fit.RSS) / n
	}
	r2, note := explained/(fit.TSS/n-error), fmt.Sprintf("%s; %.3g of %.3g of the outcome's variance is error by %s", what, error, fit.TSS/n, column)
	if !(r2 >= 0 && r2 <= 1) {
		r2, note = math.NaN(), note+": more than the terms leave, so the errors are too large"
	}
	m.write(a.f, "", stats.Result{Statistic: "r_squared_attenuation_corrected", Estimate: r2, Unit: "1", Method: "explained over variance less mean squared standard error", Note: note}, stats.Interval{})
}
