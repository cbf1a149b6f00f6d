package release

import (
	"maps"
	"math"
	"slices"

	"tonocohort/schema"
)

// unknownAnswer counts as missing in a model, as package tabulate has it.
const unknownAnswer = "unknown"

// sampled is the people of one fitted model and what follows for its rows.
type sampled struct {
	model      schema.Model
	outcome    string // the model's, or its brachial twin
	among      []bool // by person: of whom the complete ones are taken
	rows       []bool // by person: complete
	all        state  // of every row
	counts     bool   // the numbers of people are hidden
	noEvents   bool
	noMissing  map[string]bool // columns of which it is not told how many lack them
	smallTerms map[string]bool
}

func modelKey(f *schema.Frame, row int) string {
	return f.TextAt(row, "set") + "\x00" + f.TextAt(row, "variable") + "\x00" + f.TextAt(row, "model")
}

// sampleModels is the layer of the declared models: who is in them, whether few
// persons make a coefficient, and which of their numbers may be told.
func (c *checker) sampleModels() error {
	var tables []*schema.Frame
	for _, f := range c.Tables {
		if f.Table.Name != regressionTable {
			continue
		}
		tables = append(tables, f)
		for row := range f.N {
			key := modelKey(f, row)
			if c.models[key] != nil {
				continue
			}
			if s := c.sampleModel(f, row); s != nil {
				c.models[key] = s
			}
		}
	}
	if len(c.models) > 0 {
		c.tellModels(tables)
	}
	return nil
}

// sampleModel finds the people of the model that a row belongs to; nil for one
// that the settings do not declare.
func (c *checker) sampleModel(f *schema.Frame, row int) *sampled {
	models := c.Settings.Analysis.Models
	at := slices.IndexFunc(models, func(m schema.Model) bool { return m.Name == f.TextAt(row, "model") })
	set := slices.Index(c.People.Sets, f.TextAt(row, "set"))
	if at < 0 || set < 0 {
		return nil
	}
	m := models[at]
	s := &sampled{model: m, outcome: f.TextAt(row, "variable"), among: c.People.In[set], noMissing: map[string]bool{}, smallTerms: map[string]bool{}}
	rows, ok := c.completeCases(m, m.Outcome, s.among)
	if ok && s.outcome != m.Outcome { // a twin is fitted on the same rows
		s.among = rows
		rows, ok = c.completeCases(m, s.outcome, rows)
	}
	if !ok {
		return nil
	}
	s.rows = rows
	// Whom the errors or weights of a model leave out is not known here.
	if n := f.Number(row, "n"); !math.IsNaN(n) && int(n) != c.countOf(rows) {
		s.counts = true
	}
	c.judgeSample(s, m, set, s.outcome)
	return s
}

// completeCases are those among whom an outcome is known, and every term unless
// it is imputed.
func (c *checker) completeCases(m schema.Model, outcome string, among []bool) (rows []bool, ok bool) {
	rows = slices.Clone(among)
	columns := []string{outcome}
	if m.Imputes() {
		if m.Missing.Variables[outcome] != "" {
			columns = nil
		}
	} else {
		columns = append(columns, columnsOf(m)...)
	}
	for k, name := range columns {
		v, ok := c.variable(name)
		if !ok {
			return nil, false
		}
		label, levelled := c.labels(name)
		for i := range rows {
			unknown := !v.numeric && levelled && k > 0 && label(i) == unknownAnswer
			rows[i] = rows[i] && v.present.at(i) && !unknown
		}
	}
	return rows, true
}

func (c *checker) countOf(rows []bool) int {
	return c.countAt(func(i int) bool { return rows[i] })
}

// countAt counts those of whom in is true.
func (c *checker) countAt(in func(i int) bool) int {
	n := 0
	for i := range c.People.Rows {
		if in(i) {
			n += c.People.times(i)
		}
	}
	return n
}

// judgeSample applies the rules to a model.
func (c *checker) judgeSample(s *sampled, m schema.Model, set int, outcome string) {
	if c.stateOf("", group{set: set, labels: c.noLabels()}).hides >= additive {
		s.counts = true
	}
	factors := map[string]func(i int) string{}
	numeric := false
	for _, name := range columnsOf(m) {
		v, ok := c.variable(name)
		if !ok || v.numeric {
			numeric = true
			c.judgeNumbers(s, name, v)
			continue
		}
		factors[name], _ = c.labels(name)
		c.judgeLevels(s, name, referenceOf(m, name), factors[name])
	}
	if !numeric && c.saturated(s, m, factors, set) {
		s.all = state{everything, ruleSaturated}
	}
}

// judgeNumbers hides the coefficient of a numeric column in which all but a few
// have the same value, as one of zero and one: these few make it.
func (c *checker) judgeNumbers(s *sampled, name string, v variable) {
	times, people, most := map[float64]int{}, 0, 0
	if v.numeric {
		cells := c.numbers(v)
		for i, in := range s.rows {
			if in && v.present.at(i) {
				value := cells[c.People.Rows[i]]
				times[value] += c.People.times(i)
				most = max(most, times[value])
				people += c.People.times(i)
			}
		}
	}
	if c.rules.Few(people - most) {
		s.smallTerms[name] = true
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

// judgeLevels hides the coefficients of levels that too few have: they tell
// those people's mean. Where the reference is such a level, all of them do.
func (c *checker) judgeLevels(s *sampled, term, reference string, label func(i int) string) {
	n := map[string]int{}
	for i, in := range s.rows {
		if in {
			n[label(i)]++
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
	label, ok := c.labels(name)
	if !ok {
		return nil
	}
	seen := map[string]bool{}
	for i := range c.People.Rows {
		seen[label(i)] = true
	}
	return slices.Sorted(maps.Keys(seen))
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
func (c *checker) saturated(s *sampled, m schema.Model, factors map[string]func(i int) string, set int) bool {
	columns := columnsOf(m)
	cells := map[string]int{}
	coefficients := 1
	for _, t := range m.Terms {
		combinations := 1
		for _, name := range t.Columns() {
			seen := map[string]bool{}
			label := factors[name]
			for i, in := range s.rows {
				if in {
					seen[label(i)] = true
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
			key += factors[name](i) + "\x00"
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
