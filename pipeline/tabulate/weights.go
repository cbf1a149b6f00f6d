package tabulate

import (
	"fmt"
	"math"

	"tonocohort/schema"
	"tonocohort/stats"
)

// The kinds of weight.
const (
	samplingWeights  = "sampling"
	frequencyWeights = "frequency"
	precisionWeights = "precision"
)

// weighting is how rows count.
type weighting struct {
	kind    string        // "" where every row counts once
	weight  []float64     // by row of the frame
	survey  *stats.Survey // sampling weights, or persons in several rows
	single  string
	refused string // why weights cannot be used; "" where they can
}

// newWeighting reads the columns that the plan names. All rows of the frame
// belong to the sample, analysed or not: a design is that of everyone drawn.
func (c *cohort) newWeighting(w schema.WeightSettings) weighting {
	if w.Column == "" {
		if c.repeated {
			return weighting{survey: stats.NewClusters(c.subject)}
		}
		return weighting{}
	}
	out := weighting{kind: w.Kind, weight: c.frame.Numbers(w.Column), single: w.SinglePSU}
	if w.Kind != samplingWeights {
		return out
	}
	cluster := c.subject
	if w.Cluster != "" {
		cluster = c.numbered(w.Cluster)
	}
	var stratum []int32
	if w.Stratum != "" {
		stratum = c.numbered(w.Stratum)
	}
	var err error
	if out.survey, err = stats.NewSurvey(out.weight, stratum, cluster, w.SinglePSU); err != nil {
		out.refused = err.Error()
	}
	return out
}

// numbered numbers the levels of a column; rows without one are a level of
// their own.
func (c *cohort) numbered(column string) []int32 {
	f := c.factor(column)
	numbers := make([]int32, len(f.code))
	for row, code := range f.code {
		numbers[row] = code
		if code < 0 {
			numbers[row] = int32(len(f.levels))
		}
	}
	return numbers
}

// weigh leaves the rows out that have no usable weight, a stage of the flow.
func (c *cohort) weigh(flow *flow, report *reporter) {
	w := c.weighting
	if w.kind == "" {
		return
	}
	var kept []int32
	left := newTally()
	for _, row := range c.rows {
		switch v := w.weight[row]; {
		case !(v > 0) || math.IsInf(v, 0):
			left.add("no weight above zero")
		case w.kind == frequencyWeights && v != math.Trunc(v):
			left.add("weight not a whole number")
		case w.refused != "":
			left.add(w.refused)
		default:
			kept = append(kept, row)
		}
	}
	flow.stage("weighted", len(c.rows), left)
	if lost := len(c.rows) - len(kept); lost > 0 {
		report.note("weights", "", "rows_without_weight", fmt.Sprintf("%d of %d analysed rows have no usable weight and count nowhere", lost, len(c.rows)), "")
	}
	c.rows = kept
}

// byRow reports whether estimators must know the rows of what they are given.
func (w *weighting) byRow() bool { return w.kind != "" || w.survey != nil }

// estimator makes what one goroutine computes with.
func (c *cohort) estimator() estimator {
	w := c.weighting
	switch {
	case w.kind == frequencyWeights:
		return frequencies{w.weight}
	case w.kind == precisionWeights:
		return precise{frequencies{w.weight}}
	case w.survey != nil && w.kind == samplingWeights:
		return designed{survey: w.survey, work: w.survey.Workspace(), weighted: true, name: "sampling weights, Taylor linearisation", single: w.single}
	case w.survey != nil:
		return designed{survey: w.survey, work: w.survey.Workspace(), name: "errors clustered by subject"}
	}
	return independent{}
}
