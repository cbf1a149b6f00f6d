package tabulate

import (
	"fmt"
	"slices"

	"tonocohort/schema"
)

// modeller writes the tables of the declared models.
type modeller struct {
	c         *cohort
	threshold map[string]float64
	sample    schema.WeightSettings // how the people were drawn
	frame     *schema.Frame         // regression
	effects   *schema.Frame
	residuals *schema.Frame
}

// ModelTables are what the declared models give beside their statistics.
type ModelTables struct {
	Effects   *schema.Frame // empty where every effect is a single number
	Residuals *schema.Frame // single persons: restricted, never released
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
	twin    bool
}

// fitModels fits every declared model, and beside a central outcome the same
// terms on its brachial twin.
func fitModels(c *cohort, plan schema.Analysis, sets []set) (*schema.Frame, ModelTables) {
	m := &modeller{c: c, threshold: plan.Threshold, sample: drawn(c, plan.Weights),
		frame:     schema.NewFrame(schema.RegressionTable(), 0),
		effects:   schema.NewFrame(schema.EffectsTable(), 0),
		residuals: schema.NewFrame(schema.ResidualsTable(), 0),
	}
	for _, model := range schema.ResolveModels(plan.Models) {
		rows := sets[slices.IndexFunc(sets, func(s set) bool { return s.name == model.Set })].rows
		kept := m.fit(model, rows, len(rows), "", false)
		twin, ok := brachialTwin(model.Outcome)
		if !ok || !c.frame.Has(twin) {
			continue
		}
		m.fitTwin(model, twin, kept, len(rows))
	}
	return m.frame, ModelTables{Effects: m.effects, Residuals: m.residuals}
}

// fitTwin fits the terms of a central outcome's model on its brachial twin.
func (m *modeller) fitTwin(model schema.Model, twin string, rows []int, total int) {
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

// fit fits one model on the complete ones of rows and returns these. Of total
// rows of the set the others count as missing.
func (m *modeller) fit(model schema.Model, rows []int, total int, note string, twin bool) []int {
	f := fitted{model: model, outcome: m.c.outcome(model, m.threshold), note: note, twin: twin}
	f.unit = f.outcome.column.Unit
	if f.outcome.binary {
		f.unit = map[string]string{schema.LogisticModel: "log odds", schema.PrevalenceRatio: "log prevalence"}[model.Kind]
		f.note = join(f.note, "the event: "+f.outcome.text)
	}
	predictors := m.c.predictors(model)
	needs := m.needs(model)
	whole := complete(f.outcome, predictors, needs, rows)
	f.n, f.missing = len(whole.rows), total-len(whole.rows)
	f.note = join(f.note, whole.note)
	p, notes := m.problem(f, predictors, whole.rows)
	f.note = join(append([]string{f.note}, notes...)...)
	why, about := m.refusal(f, p, whole.rows)
	f.note = join(f.note, about)
	if why != "" {
		m.refuse(f, "not fitted: "+why)
		m.absences(f, whole, len(rows))
		return whole.rows
	}
	s, err := p.solve()
	if err != nil {
		m.refuse(f, "not fitted: "+err.Error())
		m.absences(f, whole, len(rows))
		return whole.rows
	}
	if s.least != nil && s.least.R2 > arithmeticFit {
		f.note = join(f.note, "the fit is exact")
	}
	m.coefficients(f, p.design, s)
	m.terms(f, p.design, s)
	m.whole(f, p, s)
	m.absences(f, whole, len(rows))
	m.curves(f, p.design, s)
	if !twin {
		m.influence(f, p, s, whole.rows)
	}
	return whole.rows
}

// refusal says why a model cannot be fitted, "" where it can, and what a reader
// should know of its terms.
func (m *modeller) refusal(f fitted, p problem, rows []int) (why, note string) {
	switch {
	case p.design.refused != "":
		return p.design.refused, ""
	case len(rows) <= len(p.design.columns):
		return fmt.Sprintf("%d complete rows are too few for %d coefficients", len(rows), len(p.design.columns)), ""
	}
	return m.arithmetic(f, p, rows)
}

// problem makes what is to be fitted on the complete rows.
func (m *modeller) problem(f fitted, predictors []predictor, rows []int) (problem, []string) {
	p := problem{model: f.model, errors: f.model.Errors, y: pick(f.outcome.values, rows)}
	s := gather(predictors, rows)
	notes := m.dependence(&p, rows)
	s.group = p.clusters
	if f.model.Kind == schema.LeastSquares && p.errors == schema.DesignErrors || f.outcome.binary && p.errors == schema.DesignErrors {
		p.weights = m.weights(rows)
	}
	if len(rows) > 0 {
		p.design = newDesign(f.model, predictors, s, f.unit, p.y)
		notes = append(notes, p.design.notes...)
	}
	return p, notes
}
