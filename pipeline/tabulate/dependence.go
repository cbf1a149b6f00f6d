package tabulate

import (
	"slices"

	"tonocohort/schema"
)

// drawn says by which columns the people were drawn: those that the plan names,
// or else those that the contract has for it, where they are there.
func drawn(c *cohort, plan schema.WeightSettings) schema.WeightSettings {
	if plan.Column != "" && plan.Kind == samplingWeights {
		return plan
	}
	var out schema.WeightSettings
	for _, s := range []struct {
		field *string
		name  string
	}{{&out.Column, "sampling_weight"}, {&out.Stratum, "stratum"}, {&out.Cluster, "cluster"}} {
		if c.frame.Has(s.name) {
			*s.field = s.name
		}
	}
	return out
}

// clusterLabels numbers the clusters of the rows.
func (m *modeller) clusterLabels(column string, rows []int32) []int {
	if column == "subject_id" {
		out := make([]int, len(rows))
		for i, row := range rows {
			out[i] = int(m.c.subject[row])
		}
		return out
	}
	codes := m.c.factor(column).code
	out := make([]int, len(rows))
	for i, row := range rows {
		out[i] = int(codes[row])
	}
	return out
}

// dependence fills in which rows belong together. Where persons stand in
// several rows the errors go by subject, whatever independent errors the model
// declares.
func (m *modeller) dependence(p *problem, rows []int32) (notes []string) {
	column := p.model.ClusterColumn()
	grouped := p.errors == schema.ClusterErrors || p.model.Kind == schema.RandomIntercept
	switch {
	case p.errors == schema.DesignErrors:
		p.strata, p.clusters = m.sampling(rows)
		return []string{"sampling units without a row in the model do not count"}
	case !grouped && m.c.repeated:
		p.errors = schema.ClusterErrors
		if p.model.Cluster == "" {
			column = "subject_id"
		}
	case !grouped && p.model.Cluster == "" && !hasForm(p.model.Terms, schema.WithinBetween):
		return nil
	}
	p.clusters = m.clusterLabels(column, rows)
	if m.c.repeated && column != "subject_id" && !m.nested(p.clusters, rows) {
		notes = append(notes, "visits of one person fall into different clusters of "+column+", which counts them as independent")
	}
	return notes
}

func hasForm(terms []schema.Term, form string) bool {
	return slices.ContainsFunc(terms, func(t schema.Term) bool { return t.FormOf() == form })
}

// nested reports whether every person lies in one cluster.
func (m *modeller) nested(clusters []int, rows []int32) bool {
	of := map[int32]int{}
	for i, row := range rows {
		if first, seen := of[m.c.subject[row]]; seen && first != clusters[i] {
			return false
		}
		of[m.c.subject[row]] = clusters[i]
	}
	return true
}

// needs lists the columns that the errors of a model rest on.
func (m *modeller) needs(model schema.Model) []need {
	var out []need
	labelled := func(name, what string) {
		if !m.c.frame.Has(name) && name != ageBand || name == "subject_id" {
			return
		}
		code := m.c.factor(name).code
		out = append(out, need{name, what, func(row int32) bool { return code[row] < 0 }})
	}
	if model.Errors == schema.DesignErrors {
		labelled(m.sample.Stratum, "sampling stratum")
		labelled(m.sample.Cluster, "primary sampling unit")
		if m.sample.Column != "" {
			cells := m.c.frame.Numbers(m.sample.Column)
			out = append(out, need{m.sample.Column, "sampling weight above 0", func(row int32) bool { return !(cells[row] > 0) }})
		}
		return out
	}
	labelled(model.ClusterColumn(), "cluster")
	return append(out, m.needsError(model)...)
}

// weights are the sampling weights; without such a column all are 1.
func (m *modeller) weights(rows []int32) []float64 {
	if m.sample.Column == "" {
		return nil
	}
	return pick(m.c.frame.Numbers(m.sample.Column), rows)
}

// sampling returns stratum and primary sampling unit of each row; without a
// column of units every person is one.
func (m *modeller) sampling(rows []int32) (strata, units []int) {
	if m.sample.Stratum != "" {
		strata = m.clusterLabels(m.sample.Stratum, rows)
	}
	column := "subject_id"
	if m.sample.Cluster != "" {
		column = m.sample.Cluster
	}
	return strata, m.clusterLabels(column, rows)
}

// needsError lists the column of standard errors that a correction rests on.
func (m *modeller) needsError(model schema.Model) []need {
	e := model.MeasurementError
	if e == nil {
		return nil
	}
	name := e.SE
	for _, candidate := range []string{e.Column + "_se", "cuff_readings"} {
		if name == "" && m.c.frame.Has(candidate) {
			name = candidate
		}
	}
	if name == "" {
		return nil
	}
	cells := m.c.frame.Numbers(name)
	return []need{{name, "standard error", func(row int32) bool { return !(cells[row] >= 0) }}}
}
