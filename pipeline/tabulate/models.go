package tabulate

import (
	"fmt"
	"math"
	"slices"

	"tonocohort/schema"
)

// modeller writes the tables of the declared models.
type modeller struct {
	c           *cohort
	threshold   map[string]float64
	sample      schema.WeightSettings // how the people were drawn
	frame       *schema.Frame         // regression
	effects     *schema.Frame
	residuals   Residuals
	traces      *schema.Frame
	uncertainty schema.UncertaintySettings
	study       string            // id, from which random numbers follow
	seeds       map[string]string // random streams by name, and what each was made from
}

// ModelTables are what the declared models give beside their statistics.
type ModelTables struct {
	Effects   *schema.Frame // empty where every effect is a single number
	Residuals Residuals     // single persons: restricted, never released
	Traces    *schema.Frame // of imputed values: restricted; empty where nothing was imputed

	Seeds map[string]string // random streams by name, and what each was made from
}

// Restricted lists the tables of single persons beside the residuals, which are
// written and never released.
func (m ModelTables) Restricted() []*schema.Frame {
	if m.Traces != nil && m.Traces.N > 0 {
		return []*schema.Frame{m.Traces}
	}
	return nil
}

// frames lists the tables of statistics among them that have rows.
func (m ModelTables) frames() []*schema.Frame {
	if m.Effects == nil || m.Effects.N == 0 {
		return nil
	}
	return []*schema.Frame{m.Effects}
}

// fitted is a model on one outcome, with what all its rows share.
type fitted struct {
	model   schema.Model
	outcome outcome
	unit    string // of the coefficients: that of the outcome, or of log odds
	n       int    // complete rows
	missing int    // rows of the set that are not
	note    string
}

// fitModels fits every declared model, and beside a central outcome the same
// terms on its brachial twin.
func fitModels(c *cohort, settings schema.Settings, sets []set) (*schema.Frame, ModelTables) {
	plan, m := settings.Analysis, newModeller(c, settings)
	for _, model := range schema.ResolveModels(plan.Models) {
		rows := sets[slices.IndexFunc(sets, func(s set) bool { return s.name == model.Set })].rows
		kept := m.fit(model, rows, len(rows), "", false)
		twin, ok := brachialTwin(model.Outcome)
		if !ok || !c.frame.Has(twin) {
			continue
		}
		m.fitTwin(model, twin, kept, len(rows))
	}
	return m.frame, ModelTables{Effects: m.effects, Residuals: m.residuals, Traces: m.traces, Seeds: m.seeds}
}

// newModeller starts the tables.
func newModeller(c *cohort, settings schema.Settings) *modeller {
	return &modeller{c: c, threshold: settings.Analysis.Threshold, sample: drawn(c, settings.Analysis.Weights),
		study: settings.Study.ID, uncertainty: settings.Uncertainty, seeds: map[string]string{},
		traces:    schema.NewFrame(schema.ImputationTracesTable(), 0),
		frame:     schema.NewFrame(schema.RegressionTable(), 0),
		effects:   schema.NewFrame(schema.EffectsTable(), 0),
		residuals: Residuals{visits: c.frame},
	}
}

// fitTwin fits the terms of a central outcome's model on its brachial twin.
func (m *modeller) fitTwin(model schema.Model, twin string, rows []int32, total int) {
	note := "brachial twin of " + model.Outcome + ", on the same rows"
	if m.binary(model) && model.Threshold == nil {
		if _, own := m.threshold[twin]; !own {
			bound := m.threshold[model.Outcome]
			model.Threshold = &bound
			note += ", with the bound of " + model.Outcome
		}
	}
	model.Outcome = twin
	for _, t := range model.Terms {
		if slices.Contains(t.Columns(), twin) {
			m.refuse(fitted{model: model, outcome: outcome{column: m.c.frame.Column(twin)}, unit: m.c.frame.Column(twin).Unit, n: len(rows), missing: total - len(rows), note: note},
				"not fitted: "+twin+" is a term of the model")
			return
		}
	}
	m.fit(model, rows, total, note, true)
}

func (m *modeller) binary(model schema.Model) bool {
	return model.Kind == schema.LogisticModel || model.Kind == schema.PrevalenceRatio
}

// attempt is a model that was fitted, or why it could not be.
type attempt struct {
	f          fitted
	whole      completeness
	considered int // rows that were looked at
	p          problem
	r          result
	refused    string
}

// fit fits one model on the complete ones of rows, writes what it gives and
// returns these rows. Of total rows of the set the others count as missing.
func (m *modeller) fit(model schema.Model, rows []int32, total int, note string, twin bool) []int32 {
	a := m.attempt(model, rows, total, note)
	if a.refused != "" {
		m.refuse(a.f, "not fitted: "+a.refused)
		m.absences(a.f, a.whole, a.considered)
		return a.whole.rows
	}
	m.coefficients(a.f, a.p.design, a.r)
	m.terms(a.f, a.p.design, a.r)
	m.whole(a.f, a.p, a.r)
	if a.f.model.MeasurementError == nil {
		m.attenuation(a, math.NaN(), "terms as measured")
	}
	m.correct(a)
	m.absences(a.f, a.whole, a.considered)
	m.curves(a.f, a.p.design, a.r)
	if !twin && !a.r.imputed() {
		m.influence(a.f, a.p, a.r.solution, a.whole.rows)
	}
	return a.whole.rows
}

// attempt fits one model and writes nothing.
func (m *modeller) attempt(model schema.Model, rows []int32, total int, note string) attempt {
	f := fitted{model: model, outcome: m.c.outcome(model, m.threshold), note: note}
	f.unit = f.outcome.column.Unit
	if f.outcome.binary {
		f.unit = map[string]string{schema.LogisticModel: "log odds", schema.PrevalenceRatio: "log prevalence"}[model.Kind]
		f.note = join(f.note, "the event: "+f.outcome.text)
	}
	predictors := m.c.predictors(model)
	whole := complete(f.outcome, predictors, m.needs(model), rows, imputable(model))
	f.n, f.missing = len(whole.rows), total-len(whole.rows)
	a := attempt{whole: whole, considered: len(rows)}
	problems, notes, err := m.problems(f, predictors, whole.rows)
	f.note = join(append([]string{f.note, whole.note}, notes...)...)
	a.f = f
	if err != nil {
		a.refused = err.Error()
		return a
	}
	a.p = problems.first
	why, about := m.refusal(f, a.p, whole.rows)
	a.f.note = join(a.f.note, about)
	if why != "" {
		a.refused = why
		return a
	}
	fits, err := problems.solve()
	if err != nil {
		a.refused = err.Error()
		return a
	}
	a.r = newResult(fits)
	if a.r.least != nil && a.r.least.R2 > arithmeticFit {
		a.f.note = join(a.f.note, "the fit is exact")
	}
	return a
}

// refusal says why a model cannot be fitted, "" where it can, and what a reader
// should know of its terms.
func (m *modeller) refusal(f fitted, p problem, rows []int32) (why, note string) {
	switch {
	case p.design.refused != "":
		return p.design.refused, ""
	case len(rows) <= len(p.design.columns):
		return fmt.Sprintf("%d complete rows are too few for %d coefficients", len(rows), len(p.design.columns)), ""
	}
	return m.arithmetic(f, p, rows)
}

// problems are what is to be fitted: one problem, or one for each completed copy,
// of which one at a time is in memory.
type problems struct {
	first problem
	count int
	load  func(copy int) problem // uses the memory of the one before; nil for one problem
}

// solve fits them in turn. What the fits of further copies hold of single rows is
// dropped; the first problem is as it was.
func (all problems) solve() ([]solution, error) {
	fits := make([]solution, all.count)
	for i := range fits {
		p := all.first
		if i > 0 {
			p = all.load(i)
		}
		var err error
		if fits[i], err = p.solve(); err != nil {
			return nil, err
		}
		if i > 0 {
			fits[i].dropRows()
		}
	}
	if all.count > 1 {
		all.load(0)
	}
	return fits, nil
}

// problems makes what is to be fitted on the rows.
func (m *modeller) problems(f fitted, predictors []predictor, rows []int32) (problems, []string, error) {
	p := problem{model: f.model, errors: f.model.Errors, y: pick(f.outcome.values, rows)}
	notes := m.dependence(&p, rows)
	completed := completedData{copies: 1}
	if f.model.Imputes() && len(rows) > 0 {
		var err error
		if completed, err = m.impute(f, predictors, rows); err != nil {
			return problems{}, notes, err
		}
		notes = append(notes, completed.note)
	}
	if f.model.Kind == schema.LeastSquares && p.errors == schema.DesignErrors || f.outcome.binary && p.errors == schema.DesignErrors {
		p.weights = m.weights(rows)
	}
	var first sample
	if completed.load == nil {
		first = gather(predictors, rows)
	} else {
		first, p.y = completed.load(0)
	}
	if len(rows) == 0 {
		return problems{first: p, count: 1}, notes, nil
	}
	first.group = p.clusters
	p.design = newDesign(f.model, predictors, first, f.unit, p.y)
	notes = append(notes, p.design.notes...)
	return problems{first: p, count: completed.copies, load: func(i int) problem {
		next := p
		var s sample
		s, next.y = completed.load(i)
		s.group = p.clusters
		next.design = p.design.on(s, f.unit)
		return next
	}}, notes, nil
}
