package tabulate

import (
	"math"
	"slices"

	"tonocohort/stats"
	"tonocohort/stats/regress"
)

// terms writes what belongs to a term as a whole: the joint test of its
// coefficients, where it has several; what it explains beside the others; how
// much the others inflate its variance.
func (m *modeller) terms(f fitted, d design, s result) {
	var partial []regress.Test
	if s.least != nil && s.DF > 0 && !s.imputed() {
		partial, _ = s.least.PartialR2() // of Classical errors, which always exist
	}
	var inflation []regress.Inflation
	if s.quantile == nil && s.mixed == nil && !s.imputed() {
		inflation = s.VarianceInflation()
	}
	for b, block := range d.blocks {
		columns := d.columnsOf(b)
		note := ""
		if len(block.columns) > 0 {
			note = block.columns[0].note
		}
		if len(columns) > 1 {
			m.joint(f, s, block.label, note, columns)
		}
		if block.variable != nil && block.degree > 1 {
			m.joint(f, s, block.label+" beyond the line", "the powers above the first", columns[1:])
		}
		if b < len(partial) {
			m.write(f, block.label, stats.Result{Statistic: "partial_r_squared", Estimate: partial[b].Statistic, Unit: "1", Method: "share of what the other terms leave unexplained", Note: determined(partial[b].Statistic)}, stats.Interval{})
		}
		if b < len(inflation) {
			m.inflation(f, block.label, inflation[b])
		}
	}
	m.together(f, d, s)
}

func (m *modeller) inflation(f fitted, label string, v regress.Inflation) {
	if v.Columns == 1 {
		m.write(f, label, stats.Result{Statistic: "vif", Estimate: finite(v.GVIF), Unit: "1", Method: "variance inflation factor", Note: determined(finite(v.GVIF))}, stats.Interval{})
		return
	}
	m.write(f, label, stats.Result{Statistic: "gvif", Estimate: finite(v.GVIF), Unit: "1", Method: "generalised variance inflation factor (Fox and Monette 1992)", Note: determined(finite(v.GVIF))}, stats.Interval{})
	m.write(f, label, stats.Result{Statistic: "gvif_per_root", Estimate: finite(v.PerRoot), Unit: "1", Method: "gvif^(1/(2·columns)): the factor of a standard error", Note: determined(finite(v.PerRoot))}, stats.Interval{})
}

// determined says why what a term adds is missing.
func determined(v float64) string {
	if math.IsNaN(v) {
		return "none: the other terms determine it"
	}
	return ""
}

// together tests everything that a column takes part in, where that is more
// than one term: its own and its interactions.
func (m *modeller) together(f fitted, d design, s result) {
	var names []string
	for _, b := range d.blocks {
		for _, name := range b.term.Columns() {
			if !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
	}
	for _, name := range names {
		var columns []int
		count := 0
		for i, b := range d.blocks {
			if slices.Contains(b.term.Columns(), name) {
				columns = append(columns, d.columnsOf(i)...)
				count++
			}
		}
		if count > 1 {
			m.joint(f, s, name+" with its interactions", "", columns)
		}
	}
}

// joint writes a Wald test that some coefficients are all zero.
func (m *modeller) joint(f fitted, s result, term, note string, columns []int) {
	test := s.wald(term, columns)
	method := "Wald; errors " + s.main.name
	if s.imputed() {
		method += "; pooled (Li, Raghunathan and Rubin 1991)"
	}
	if math.IsInf(test.DF2, 1) {
		note = join(note, "joint_df2 infinite: chi-square over joint_df1")
	}
	for _, r := range []stats.Result{
		{Statistic: "joint_f", Estimate: finite(test.Statistic)},
		{Statistic: "joint_df1", Estimate: test.DF1},
		{Statistic: "joint_df2", Estimate: finite(test.DF2)},
		{Statistic: "joint_p", Estimate: test.P},
	} {
		r.Unit, r.Method, r.Note = "1", method, note
		m.write(f, term, r, stats.Interval{})
	}
}

// specification writes the tests of variance and form. They are reported and
// decide nothing: choosing errors by such a test makes them worse (Long and
// Ervin 2000, Am Stat 54:217-24).
func (m *modeller) specification(f fitted, fit *regress.Fit) {
	const note = "reported, never deciding"
	test := func(name string, t regress.Test, err error) {
		if err != nil {
			m.write(f, "", stats.Result{Statistic: name, Estimate: math.NaN(), Unit: "1", Method: name, Note: "not computed: " + err.Error()}, stats.Interval{})
			return
		}
		for _, r := range []stats.Result{
			{Statistic: name, Estimate: finite(t.Statistic)}, {Statistic: name + "_df1", Estimate: t.DF1}, {Statistic: name + "_p", Estimate: t.P},
		} {
			r.Unit, r.Method, r.Note = "1", t.Method, note
			m.write(f, "", r, stats.Interval{})
		}
	}
	bp, reset, bpError, resetError := fit.Specification()
	test("breusch_pagan", bp, bpError)
	test("reset", reset, resetError)
}
