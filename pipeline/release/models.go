package release

import (
	"slices"

	"tonocohort/schema"
)

// unknownAnswer counts as missing in a model, as package tabulate has it.
const unknownAnswer = "unknown"

// sampled is the people of one fitted model and what follows for its rows.
type sampled struct {
	rows       []bool // by person: complete
	all        state  // of every row
	counts     bool   // the numbers of people are hidden
	smallTerms map[string]bool
}

func modelKey(f *schema.Frame, row int) string {
	return f.TextAt(row, "set") + "\x00" + f.TextAt(row, "variable") + "\x00" + f.TextAt(row, "model")
}

// sampleModels is the layer of the declared models: who is in them, and whether
// few persons make a coefficient.
func (c *checker) sampleModels() error {
	for _, f := range c.Tables {
		if f.Table.Name != regressionTable {
			continue
		}
		var before []*sampled
		var sets []string
		for row := range f.N {
			key := modelKey(f, row)
			if c.models[key] != nil {
				continue
			}
			s := c.sampleModel(f, row)
			if s == nil {
				continue
			}
			c.models[key] = s
			set := f.TextAt(row, "set")
			for k, o := range before {
				if sets[k] == set && !o.counts && nearlySame(s.rows, o.rows, c.few) {
					s.counts = true
				}
			}
			before = append(before, s)
			sets = append(sets, set)
		}
	}
	return nil
}

// nearlySame reports that one group lies in the other and few are left over.
func nearlySame(a, b []bool, few func(int) bool) bool {
	onlyA, onlyB := 0, 0
	for i := range a {
		switch {
		case a[i] && !b[i]:
			onlyA++
		case b[i] && !a[i]:
			onlyB++
		}
	}
	return (onlyA == 0 || onlyB == 0) && few(onlyA+onlyB)
}

// sampleModel finds the people of the model that a row belongs to; nil for one
// that the settings do not declare.
func (c *checker) sampleModel(f *schema.Frame, row int) *sampled {
	models := c.Settings.Analysis.Models
	m := slices.IndexFunc(models, func(m schema.Model) bool { return m.Name == f.TextAt(row, "model") })
	set := slices.Index(c.People.Sets, f.TextAt(row, "set"))
	if m < 0 || set < 0 {
		return nil
	}
	s := &sampled{rows: slices.Clone(c.People.In[set]), smallTerms: map[string]bool{}}
	terms := columnsOf(models[m])
	for k, name := range append(slices.Clone(terms), models[m].Outcome, f.TextAt(row, "variable")) {
		v, ok := c.variable(name)
		if !ok {
			return nil
		}
		levels, _ := c.labels(name)
		for i := range s.rows {
			unknown := v.numbers == nil && k < len(terms) && levels[i] == unknownAnswer
			s.rows[i] = s.rows[i] && v.present[i] && !unknown
		}
	}
	c.judgeSample(s, models[m], set, f.TextAt(row, "variable"))
	return s
}

// judgeSample applies the rules to a model.
func (c *checker) judgeSample(s *sampled, m schema.Model, set int, outcome string) {
	whole := group{set: set, labels: c.noLabels()}
	if c.stateOf("", whole).hides >= additive {
		s.counts = true
	}
	// The model's people lie in the set, and among those with an outcome.
	samples := [][]bool{c.People.In[set]}
	if v, ok := c.variable(outcome); ok && c.stateOf(outcome, whole).hides < counts {
		samples = append(samples, both(v.present, c.People.In[set]))
	}
	for _, other := range samples {
		s.counts = s.counts || nearlySame(s.rows, other, c.few)
	}
	factors := map[string][]string{}
	numeric := false
	for _, name := range columnsOf(m) {
		v, ok := c.variable(name)
		if !ok || v.numbers != nil {
			numeric = true
			continue
		}
		factors[name], _ = c.labels(name)
		c.judgeLevels(s, name, referenceOf(m, name), factors[name])
	}
	if !numeric && c.saturated(s, m, factors, set) {
		s.all = state{everything, ruleSaturated}
	}
}

// columnsOf lists the columns of a model's terms, each once.
func columnsOf(m schema.Model) []string {
	var columns []string
	for _, t := range m.Terms {
		for _, name := range t.Columns() {
			if !slices.Contains(columns, name) {
				columns = append(columns, name)
			}
		}
	}
	return columns
}

// referenceOf is the declared reference level of a factor, "" for the first.
func referenceOf(m schema.Model, column string) string {
	for _, t := range m.Terms {
		for _, part := range append([]schema.Term{t}, t.Interaction...) {
			if part.Column == column && part.Reference != "" {
				return part.Reference
			}
		}
	}
	return ""
}

func both(a, b []bool) []bool {
	out := make([]bool, len(a))
	for i := range a {
		out[i] = a[i] && b[i]
	}
	return out
}

// judgeLevels hides the coefficients of levels that too few have: they tell
// those people's mean. Where the reference is such a level, all of them do.
func (c *checker) judgeLevels(s *sampled, term, reference string, levels []string) {
	n := map[string]int{}
	for i, label := range levels {
		if s.rows[i] {
			n[label]++
		}
	}
	small := 0
	for label, many := range n {
		if many < c.rules.MinCell {
			s.smallTerms[term+"="+label] = true
			small++
		}
	}
	if reference == "" {
		reference = referenceLevel(c.order(term), n)
	}
	if small > 0 && s.smallTerms[term+"="+reference] {
		s.smallTerms[term] = true
		s.smallTerms["intercept"] = true
	}
}

// order lists the levels of a column as package tabulate orders them.
func (c *checker) order(name string) []string {
	if k := slices.Index(c.People.Columns, name); k >= 0 {
		return c.People.Levels[k]
	}
	if !c.Visits.Has(name) {
		return nil
	}
	if declared := c.Visits.Column(name).Levels; len(declared) > 0 {
		return declared
	}
	labels, _ := c.labels(name)
	return slices.Compact(slices.Sorted(slices.Values(labels)))
}

func referenceLevel(order []string, n map[string]int) string {
	for _, label := range order {
		if label != "" && n[label] > 0 {
			return label
		}
	}
	return ""
}

// saturated reports a model of factors alone that is a table of means: with as
// many coefficients as combinations of levels. It is shown where every
// combination is large and no stratum of these columns is hidden.
func (c *checker) saturated(s *sampled, m schema.Model, factors map[string][]string, set int) bool {
	columns := columnsOf(m)
	cells := map[string]int{}
	coefficients := 1
	for _, t := range m.Terms {
		combinations := 1
		for _, name := range t.Columns() {
			seen := map[string]bool{}
			for i, label := range factors[name] {
				if s.rows[i] {
					seen[label] = true
				}
			}
			combinations *= max(0, len(seen)-1)
		}
		coefficients += combinations
	}
	for i := range s.rows {
		if !s.rows[i] {
			continue
		}
		key := ""
		for _, name := range columns {
			key += factors[name][i] + "\x00"
		}
		cells[key]++
	}
	if len(cells) > coefficients {
		return false
	}
	for _, n := range cells {
		if n < c.rules.MinCell {
			return true
		}
	}
	for _, g := range c.groups.list {
		if g.set == set && c.stateOf(m.Outcome, g).hides >= additive && c.onlyBy(g, columns) {
			return true
		}
	}
	return false
}

// onlyBy reports a stratum of some of the columns and no other.
func (c *checker) onlyBy(g group, columns []string) bool {
	any := false
	for i, label := range g.labels {
		if label == everyLevel {
			continue
		}
		any = true
		if !slices.Contains(columns, c.layout.families[i].name) {
			return false
		}
	}
	return any
}
