package release_test

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"tonocohort/pipeline/parquet"
	"tonocohort/pipeline/release"
	"tonocohort/pipeline/tabulate"
	"tonocohort/schema"
)

// An intruder reads the files of a release as text and knows the plan. Every row
// names people by the plan alone: a set, strata, who has a value, the complete
// cases of a model. He takes each number as a sum over the people whom he cannot
// tell apart further, and asks of every group, every difference and every overlap
// of two groups whether its number is a combination of the published ones. None
// of one to nine may be.

// record is a row of a released file.
type record map[string]string

func (r record) number(column string) (float64, bool) {
	v, err := strconv.ParseFloat(r[column], 64)
	return v, err == nil
}

// half is how far a number may be from what was computed, half a unit of its last
// digit; five times that where it was rounded to a multiple of five units.
func (r record) half(column string) float64 {
	digits, exponent, _ := strings.Cut(r[column], "e")
	_, decimals, fraction := strings.Cut(strings.TrimPrefix(digits, "-"), ".")
	unit := 1.0
	switch {
	case fraction:
		unit = math.Pow(10, -float64(len(decimals)))
	default:
		unit = math.Pow(10, float64(len(digits)-len(strings.TrimRight(digits, "0"))))
	}
	if e, err := strconv.Atoi(exponent); err == nil {
		unit *= math.Pow(10, float64(e))
	}
	return unit / 2 * map[bool]float64{true: 1, false: 5}[r["suppressed"] == ""]
}

func records(t *testing.T, f *schema.Frame) []record {
	t.Helper()
	var text bytes.Buffer
	if err := parquet.WriteCSV(&text, f, parquet.CSVOptions{}); err != nil {
		t.Fatal(err)
	}
	lines, err := csv.NewReader(&text).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var list []record
	for _, line := range lines[1:] {
		r := record{}
		for i, name := range lines[0] {
			r[name] = line[i]
		}
		list = append(list, r)
	}
	return list
}

// crowd is a group of people by what the plan says of them.
type crowd struct {
	name string
	in   []bool
}

// intruder is what can be told of a release.
type intruder struct {
	t        *testing.T
	visits   *schema.Frame
	people   peopleView
	settings schema.Settings
	crowds   []crowd
	known    map[string]bool // crowds whose number is told
	place    map[string]int
	widths   []width
	choices  []record

	reasons, pooled int // of the flow: shown by themselves, and stages with others together
}

// width is an interval in which what is published of a model places the number
// of its people.
type width struct {
	model     string
	in        crowd
	low, high float64
}

// peopleView is the part of the analysed people that names them.
type peopleView struct {
	rows    []int32
	sets    []string
	in      [][]bool
	columns map[string][]string
}

func newIntruder(t *testing.T, r study, s schema.Settings) *intruder {
	p := r.results.People
	v := peopleView{rows: p.Rows, sets: p.Sets, in: p.In, columns: map[string][]string{}}
	for c, name := range p.Columns {
		labels := make([]string, len(p.Rows))
		for i, code := range p.Codes[c] {
			labels[i] = p.Levels[c][code]
		}
		v.columns[name] = labels
	}
	x := &intruder{t: t, visits: r.visits, people: v, settings: s, known: map[string]bool{}, place: map[string]int{}}
	for _, f := range r.out.Tables {
		list := records(t, f)
		if f.Table.Name == "regression" {
			x.models(list)
		}
		for _, row := range list {
			if f.Table.Name == "flow" {
				x.readFlow(row)
			}
			x.read(f.Table, row)
		}
	}
	return x
}

// level is what a person has in a column, "" where missing.
func (x *intruder) level(name string, i int) string {
	if labels, known := x.people.columns[name]; known {
		return strings.TrimSuffix(strings.TrimPrefix(labels[i], "(missing)"), "(missing)")
	}
	if !x.visits.Has(name) {
		return ""
	}
	if x.visits.Column(name).Textual() {
		return x.visits.TextAt(int(x.people.rows[i]), name)
	}
	if v := x.visits.Number(int(x.people.rows[i]), name); !math.IsNaN(v) {
		return fmt.Sprint(v)
	}
	return ""
}

func (x *intruder) crowd(name string, holds func(i int) bool) crowd {
	c := crowd{name, make([]bool, len(x.people.rows))}
	for i := range c.in {
		c.in[i] = holds(i)
	}
	return c
}

func (c crowd) size() int {
	n := 0
	for _, in := range c.in {
		if in {
			n++
		}
	}
	return n
}

// meet notes that a group stands in the release, and whether its number does.
func (x *intruder) meet(c crowd, told float64, shown bool) {
	key := fmt.Sprint(c.in)
	if _, met := x.place[key]; !met {
		x.place[key] = len(x.crowds)
		x.crowds = append(x.crowds, c)
	}
	if shown && !x.known[key] {
		if int(math.Round(told)) != c.size() {
			x.t.Errorf("%s: %g is told of %d people: the intruder has misread it", c.name, told, c.size())
		}
		x.known[key] = true
	}
}

var amongRows = regexp.MustCompile(`count among (\d+) rows`)

// read takes the numbers of people out of one row.
func (x *intruder) read(t schema.Table, r record) {
	set := slices.Index(x.people.sets, r["set"])
	if set < 0 || t.Name == "comparison" || strings.HasPrefix(t.Name, "centile") {
		return
	}
	strata := []string{}
	for name := range x.people.columns {
		if label := r[name]; label != "" && label != "all" {
			strata = append(strata, name)
		}
	}
	slices.Sort(strata)
	base := func(i int) bool {
		for _, name := range strata {
			if x.people.columns[name][i] != r[name] {
				return false
			}
		}
		return x.people.in[set][i]
	}
	name := fmt.Sprint(r["set"], " ", strata, " ", r["variable"])
	n, shown := r.number("n")
	absent, some := r.number("n_missing")
	v, given := r.number("estimate")
	switch {
	case r["choice"] != "":
		x.readChoice(r, base)
		return
	case r["model"] != "":
		x.readModel(r, name, base)
		return
	case t.Name == schema.QualityName:
		x.readGrade(r, base)
		return
	}
	present := func(i int) bool { return base(i) && x.level(r["variable"], i) != "" }
	x.meet(x.crowd(name+": with", present), n, shown)
	x.meet(x.crowd(name+": without", func(i int) bool { return base(i) && !present(i) }), absent, some)
	x.meet(x.crowd(r["set"]+" "+fmt.Sprint(strata), base), n+absent, shown && some)
	above := func(low float64) func(i int) bool {
		return func(i int) bool { return present(i) && x.visits.Number(int(x.people.rows[i]), r["variable"]) >= low }
	}
	switch statistic := r["statistic"]; {
	case strings.HasPrefix(statistic, "count_"):
		level := strings.TrimPrefix(statistic, "count_")
		x.meet(x.crowd(name+" "+level, func(i int) bool { return base(i) && cmp.Or(x.level(r["variable"], i), "(missing)") == level }), v, given)
	case strings.HasPrefix(statistic, "prevalence_at_least_"):
		low, err := strconv.ParseFloat(strings.TrimPrefix(statistic, "prevalence_at_least_"), 64)
		if err != nil {
			x.t.Fatal(err)
		}
		hits := above(low)
		x.meet(x.crowd(name+" at least", hits), math.Round(n*v), shown && given)
		x.meet(x.crowd(name+" below", func(i int) bool { return present(i) && !hits(i) }), n-math.Round(n*v), shown && given)
	}
}

// readFlow takes the size of a set and who leaves it for a reason, each person for
// the first rule that he fails.
func (x *intruder) readFlow(r record) {
	name, ok := strings.CutPrefix(r["stage"], "set:")
	if !ok {
		return
	}
	set := slices.Index(x.people.sets, name)
	size, shown := r.number("out")
	x.meet(x.crowd("size of "+name, func(i int) bool { return x.people.in[set][i] }), size, shown)
	why := func(i int) string {
		for _, rule := range x.settings.Analysis.Sets[name] {
			level := x.level(rule.Column, i)
			if level == "" {
				return rule.Column + " missing"
			}
			v, _ := strconv.ParseFloat(level, 64)
			switch {
			case len(rule.Levels) > 0 && !slices.Contains(rule.Levels, level):
				return rule.Column + " not " + strings.Join(rule.Levels, ", ")
			case rule.Below != nil && v >= *rule.Below:
				return fmt.Sprint(rule.Column, " not below ", *rule.Below)
			case rule.AtLeast != nil && v < *rule.AtLeast:
				return fmt.Sprint(rule.Column, " not at least ", *rule.AtLeast)
			}
		}
		return ""
	}
	n, shown := r.number("n")
	if reason := r["reason"]; reason == "other reasons" {
		x.pooled++
	} else if reason != "" {
		x.meet(x.crowd(name+" left by "+reason, func(i int) bool { return why(i) == reason }), n, shown)
		x.reasons++
	}
}

func (x *intruder) model(name string) schema.Model {
	for _, m := range x.settings.Analysis.Models {
		if m.Name == name {
			return m
		}
	}
	x.t.Fatalf("no model %s", name)
	return schema.Model{}
}

func columnsOfTerms(m schema.Model) []string {
	var columns []string
	for _, t := range m.Terms {
		columns = append(columns, t.Columns()...)
	}
	return columns
}

// complete are the people of a model.
func (x *intruder) complete(m schema.Model, base func(i int) bool) func(i int) bool {
	return func(i int) bool {
		if !base(i) || x.level(m.Outcome, i) == "" {
			return false
		}
		for _, name := range columnsOfTerms(m) {
			if l := x.level(name, i); l == "" || l == "unknown" {
				return false
			}
		}
		return true
	}
}

func (x *intruder) readModel(r record, name string, base func(i int) bool) {
	m := x.model(r["model"])
	if r["variable"] != m.Outcome { // a brachial twin, on the same rows
		base = x.complete(m, base)
		m.Outcome = r["variable"]
	}
	in := x.complete(m, base)
	name += " " + m.Name
	n, shown := r.number("n")
	absent, some := r.number("n_missing")
	v, given := r.number("estimate")
	x.meet(x.crowd(name+": complete", in), n, shown)
	x.meet(x.crowd(name+": incomplete", func(i int) bool { return base(i) && !in(i) }), absent, some)
	if told := amongRows.FindStringSubmatch(r["method"]); told != nil {
		rows, _ := strconv.ParseFloat(told[1], 64)
		x.meet(x.crowd(name+": of whom the complete are taken", base), rows, true)
	}
	switch r["statistic"] {
	case "missing":
		lacks := func(i int) bool {
			l := x.level(r["term"], i)
			return base(i) && (l == "" || l == "unknown" && r["term"] != m.Outcome)
		}
		x.meet(x.crowd(name+" without "+r["term"], lacks), v, given)
	case "events":
		event := func(i int) bool { return in(i) && x.visits.Number(int(x.people.rows[i]), m.Outcome) >= *m.Threshold }
		x.meet(x.crowd(name+": events", event), v, given)
		x.meet(x.crowd(name+": others", func(i int) bool { return in(i) && !event(i) }), n-v, shown && given)
	}
}

// readChoice takes the number of people of the primary model under a choice, and
// holds it to what the released coefficients tell of how far they move.
func (x *intruder) readChoice(r record, base func(i int) bool) {
	in := x.complete(x.model(r["model"]), base)
	keep := map[string]func(i int) bool{
		"quality":    func(i int) bool { return x.level("quality", i) == r["value"] },
		"departures": func(i int) bool { return x.level("departure_count", i) == "0" },
	}[r["choice"]]
	if keep == nil {
		keep = func(int) bool { return true }
	}
	n, shown := r.number("n")
	absent, some := r.number("n_missing")
	name := r["choice"] + " " + r["value"]
	x.meet(x.crowd(name, func(i int) bool { return in(i) && keep(i) }), n, shown)
	x.meet(x.crowd(name+": without", func(i int) bool { return base(i) && keep(i) && !in(i) }), absent, some)
	x.crowds = append(x.crowds, x.crowd(name+": of whom", func(i int) bool { return base(i) && keep(i) }))
	x.choices = append(x.choices, r)
	if _, exact := r.number("se"); exact && !shown {
		x.t.Errorf("%s: the standard error tells the hidden number", name)
	}
}

// readGrade takes how many visits had a grade: people, with one visit each.
func (x *intruder) readGrade(r record, base func(i int) bool) {
	graded := func(i int) bool { return base(i) && x.level("quality", i) == r["variable"] }
	n, shown := r.number("observations")
	all, told := r.number("n")
	x.meet(x.crowd("graded "+r["variable"], graded), n, shown)
	x.meet(x.crowd("not graded "+r["variable"], func(i int) bool { return base(i) && !graded(i) }), all-n, shown && told)
}

// models places the number of people of every model by what is published of the
// fit as a whole.
func (x *intruder) models(list []record) {
	byModel := map[string]map[string]record{}
	coefficients := map[string]float64{}
	for _, r := range list {
		key := r["set"] + "/" + r["variable"] + "/" + r["model"]
		if byModel[key] == nil {
			byModel[key] = map[string]record{}
		}
		if r["statistic"] == "estimate" {
			coefficients[key]++
		}
		if _, seen := byModel[key][r["statistic"]]; !seen && (r["term"] == "" || r["statistic"] == "joint_df2") {
			byModel[key][r["statistic"]] = r
		}
	}
	for key, rows := range byModel {
		var one record
		for _, r := range rows {
			one = r
		}
		set := slices.Index(x.people.sets, one["set"])
		m := x.model(one["model"])
		if m.Outcome != one["variable"] {
			continue
		}
		in := x.crowd(key, x.complete(m, func(i int) bool { return x.people.in[set][i] }))
		for k, low := range x.placed(rows, coefficients[key]) {
			x.widths = append(x.widths, width{key + " by " + k, in, low[0], low[1]})
		}
	}
}

// placed gives the intervals, by the way that each was found.
func (x *intruder) placed(rows map[string]record, coefficients float64) map[string][2]float64 {
	out := map[string][2]float64{}
	span := func(statistic string) (low, high float64, ok bool) {
		v, ok := rows[statistic].number("estimate")
		half := rows[statistic].half("estimate")
		return v - half, v + half, ok
	}
	fits := func(name string, holds func(n float64) bool) {
		low, high := math.Inf(1), math.Inf(-1)
		for n := coefficients + 2; n < 5000; n++ {
			if holds(n) {
				low, high = min(low, n), max(high, n)
			}
		}
		out[name] = [2]float64{low, high}
	}
	if df, _, ok := span("residual_df"); ok {
		out["residual degrees"] = [2]float64{df + coefficients, df + coefficients}
	}
	if df, _, ok := span("joint_df2"); ok {
		out["joint degrees"] = [2]float64{df + coefficients, df + coefficients}
	}
	aicLow, aicHigh, aic := span("aic")
	sdLow, sdHigh, sd := span("residual_sd")
	if aic && sd { // Gaussian log likelihood at its maximum
		value := func(n, s float64) float64 {
			return n*(math.Log(2*math.Pi*s*s*(n-coefficients)/n)+1) + 2*(coefficients+1)
		}
		fits("AIC and residual SD", func(n float64) bool { return value(n, sdLow) <= aicHigh && value(n, sdHigh) >= aicLow })
	}
	rLow, rHigh, r2 := span("r_squared")
	fLow, fHigh, f := span("model_f")
	if r2 && f && coefficients > 1 {
		value := func(n, r float64) float64 { return r / (1 - r) * (n - coefficients) / (coefficients - 1) }
		fits("F and R²", func(n float64) bool { return value(n, rLow) <= fHigh && value(n, rHigh) >= fLow })
	}
	aLow, aHigh, adjusted := span("r_squared_adjusted")
	if r2 && adjusted {
		value := func(n, r float64) float64 { return 1 - (1-r)*(n-1)/(n-coefficients) }
		fits("adjusted R² and R²", func(n float64) bool { return value(n, rLow) <= aHigh && value(n, rHigh) >= aLow })
	}
	return out
}

// derived lists the groups of one to nine whose number is a combination of the
// published ones.
func (x *intruder) derived() (found []string, tried int) {
	atom := map[string]int{}
	var where []int
	for i := range x.people.rows {
		key := make([]byte, len(x.crowds))
		for k, c := range x.crowds {
			if c.in[i] {
				key[k] = 1
			}
		}
		if _, known := atom[string(key)]; !known {
			atom[string(key)] = len(atom)
		}
		where = append(where, atom[string(key)])
	}
	b := basis{}
	vector := func(in []bool) []float64 {
		v := make([]float64, len(atom))
		for i, yes := range in {
			if yes {
				v[where[i]] = 1
			}
		}
		return v
	}
	for _, c := range x.crowds {
		if x.known[fmt.Sprint(c.in)] {
			b.add(vector(c.in))
		}
	}
	seen := map[string]bool{}
	try := func(name string, in []bool) {
		n := crowd{in: in}.size()
		key := fmt.Sprint(in)
		if n == 0 || n >= 10 || seen[key] {
			return
		}
		seen[key] = true
		tried++
		if b.holds(vector(in)) {
			found = append(found, fmt.Sprintf("%s: %d people", name, n))
		}
	}
	for _, c := range x.crowds {
		try(c.name, c.in)
	}
	for k, c := range x.crowds {
		for _, d := range x.crowds[:k] {
			try(c.name+" without "+d.name, minus(c.in, d.in))
			try(d.name+" without "+c.name, minus(d.in, c.in))
			try(c.name+" and "+d.name, minus(c.in, minus(c.in, d.in)))
		}
	}
	return found, tried
}

func minus(a, b []bool) []bool {
	out := make([]bool, len(a))
	for i := range a {
		out[i] = a[i] && !b[i]
	}
	return out
}

// basis is a reduced system of equations: every row has a one where no other has
// anything.
type basis struct {
	rows   [][]float64
	pivots map[int]int
}

const nearZero = 1e-7

func (b *basis) rest(v []float64) []float64 {
	out := slices.Clone(v)
	for j, value := range v {
		if k, pivot := b.pivots[j]; pivot && value != 0 {
			for i, r := range b.rows[k] {
				out[i] -= value * r
			}
		}
	}
	return out
}

func (b *basis) holds(v []float64) bool {
	return !slices.ContainsFunc(b.rest(v), func(r float64) bool { return math.Abs(r) > nearZero })
}

func (b *basis) add(v []float64) {
	rest := b.rest(v)
	at := slices.IndexFunc(rest, func(r float64) bool { return math.Abs(r) > nearZero })
	if at < 0 {
		return
	}
	lead := rest[at]
	for i := range rest {
		rest[i] /= lead
	}
	for _, row := range b.rows {
		if factor := row[at]; factor != 0 {
			for i, r := range rest {
				row[i] -= factor * r
			}
		}
	}
	if b.pivots == nil {
		b.pivots = map[int]int{}
	}
	b.pivots[at] = len(b.rows)
	b.rows = append(b.rows, rest)
}

// hostile is a study made to be told apart.
type hostile struct {
	name     string
	settings func(*schema.Settings)
	edit     func(f *schema.Frame)
	choices  *schema.SensitivitySettings // nil: the primary model alone
}

func (h hostile) run(t *testing.T) (study, schema.Settings) {
	t.Helper()
	f := invented(rand.New(rand.NewPCG(41, 42)), 240)
	for row := range f.N { // every person is known but for what the study makes missing
		if math.IsNaN(f.Number(row, "age_years")) {
			f.SetNumber(row, "age_years", 44)
		}
		if math.IsNaN(f.Number(row, "augmentation_index_pct")) {
			f.SetNumber(row, "augmentation_index_pct", 20)
		}
		f.SetText(row, "smoker", cmp.Or(f.TextAt(row, "smoker"), "never"))
	}
	h.edit(f)
	s := settings(func(s *schema.Settings) {
		s.Disclosure.ZeroIsSmall = false
		s.Analysis.Sets = map[string][]schema.Rule{"all": {}}
		s.Analysis.Strata = []string{"sex"}
		s.Analysis.Centiles, s.Analysis.CompareWith = nil, nil
		s.Analysis.Variables = []string{"central_pp_mmhg"}
		s.Analysis.Tables.Characteristics = []string{"age_years", "treated", "smoker"}
		if h.settings != nil {
			h.settings(s)
		}
		s.Analysis.Models = schema.ResolveModels(s.Analysis.Models)
	})
	if h.choices == nil {
		results, out := released(t, f, s)
		return study{f, results, out}, s
	}
	s.Analysis.Sensitivity = *h.choices
	results := tabulate.Tables(f, s, "study.yaml", "analysis")
	if schema.AnyStructural(results.Issues) {
		t.Fatal(results.Issues)
	}
	choices, _ := tabulate.Sensitivity(tabulate.Measured{Visits: f}, s, nil)
	_, quality := tabulate.UsedVisits(f)
	out, err := release.Check(release.Input{Tables: results.Frames(), Apart: []*schema.Frame{choices, quality}, Visits: f, People: release.People(results.People), Settings: s})
	if err != nil {
		t.Fatal(err)
	}
	return study{f, results, out}, s
}

func modelOf(name string, terms ...string) schema.Model {
	return schema.Model{Name: name, Outcome: "central_pp_mmhg", Terms: schema.PlainTerms(terms...)}
}

// lose makes the values of some rows missing.
func lose(f *schema.Frame, column string, from, to int) {
	for row := from; row < to; row++ {
		if f.Column(column).Textual() {
			f.SetText(row, column, "")
		} else {
			f.SetNumber(row, column, math.NaN())
		}
	}
}

func hostiles() []hostile {
	threshold := 50.0
	events := func(name string, terms ...string) schema.Model {
		m := modelOf(name, terms...)
		m.Kind, m.Threshold = "logistic", &threshold
		return m
	}
	models := func(list ...schema.Model) func(*schema.Settings) {
		return func(s *schema.Settings) { s.Analysis.Models = list }
	}
	sets := func(rule schema.Rule, list ...schema.Model) func(*schema.Settings) {
		return func(s *schema.Settings) {
			s.Analysis.Sets["most"] = []schema.Rule{rule}
			s.Analysis.SetOrder = []string{"all", "most"}
			s.Analysis.Models = list
		}
	}
	in := func(set string, m schema.Model) schema.Model {
		m.Set = set
		return m
	}
	low := -1e9
	unlike := func(more ...schema.Rule) func(*schema.Settings) {
		return func(s *schema.Settings) {
			s.Analysis.Sets["healthy"] = append([]schema.Rule{{Column: "treated", Levels: []string{"no"}}, {Column: "smoker", Levels: []string{"never", "former"}}}, more...)
			s.Analysis.SetOrder = []string{"all", "healthy"}
		}
	}
	// Thirty treated and 45 who smoke, of whom five are both, three and two by sex.
	both := func(f *schema.Frame) {
		for row := range f.N {
			f.SetText(row, "treated", map[bool]string{true: "yes", false: "no"}[row < 30])
			f.SetText(row, "smoker", []string{"never", "former"}[row%2])
			if row >= 25 && row < 70 {
				f.SetText(row, "smoker", "current")
			}
			f.SetText(row, "sex", []string{"female", "male"}[row/2%2])
			f.SetNumber(row, "brachial_sbp_mmhg", 110+float64(row%25))
			if row >= 70 && row < 100 {
				f.SetNumber(row, "brachial_sbp_mmhg", 150)
			}
		}
	}
	below := 140.0
	return []hostile{
		{"two levels and the set of neither", unlike(), both, nil},
		{"two levels and the reasons of the flow", unlike(schema.Rule{Column: "brachial_sbp_mmhg", Below: &below}), both, nil},
		{"a level of four", models(modelOf("m", "age_years", "smoker")), func(f *schema.Frame) {
			for row := range f.N {
				f.SetText(row, "smoker", map[bool]string{true: "current", false: "never"}[row < 4])
			}
		}, nil},
		{"one without a value", models(modelOf("m", "age_years", "sex"), modelOf("w", "age_years", "height_cm")), func(f *schema.Frame) { lose(f, "age_years", 0, 1) }, nil},
		{"one without a value of a term alone", models(modelOf("w", "age_years", "height_cm")), func(f *schema.Frame) { lose(f, "height_cm", 0, 1) }, nil},
		{"sets two people apart", sets(schema.Rule{Column: "height_cm", AtLeast: &low}, modelOf("m", "age_years", "sex"), in("most", modelOf("k", "age_years", "sex"))),
			func(f *schema.Frame) { lose(f, "height_cm", 7, 9) }, nil},
		{"sets of which the models are three apart", sets(schema.Rule{Column: "height_cm", AtLeast: &low}, modelOf("m", "age_years", "heart_rate_bpm"), in("most", modelOf("k", "age_years", "heart_rate_bpm"))),
			func(f *schema.Frame) {
				pulse(f)
				lose(f, "height_cm", 0, 15)
				lose(f, "heart_rate_bpm", 3, 25)
			}, nil},
		{"models of one set one apart", models(modelOf("m", "age_years", "height_cm"), modelOf("k", "age_years", "height_cm", "heart_rate_bpm")), func(f *schema.Frame) {
			pulse(f)
			lose(f, "height_cm", 0, 20)
			lose(f, "heart_rate_bpm", 0, 21)
		}, nil},
		{"lost beside a variable of Table 1", models(modelOf("m", "smoker", "height_cm")), func(f *schema.Frame) {
			lose(f, "smoker", 0, 14)
			lose(f, "height_cm", 10, 17)
		}, nil},
		{"lost beside a term", models(modelOf("m", "age_years", "height_cm", "heart_rate_bpm")), func(f *schema.Frame) {
			pulse(f)
			lose(f, "height_cm", 0, 14)
			lose(f, "heart_rate_bpm", 10, 17)
		}, nil},
		{"two columns that few lack together", models(modelOf("m", "age_years", "height_cm", "heart_rate_bpm")), func(f *schema.Frame) {
			pulse(f)
			lose(f, "height_cm", 0, 20)
			lose(f, "heart_rate_bpm", 15, 40)
		}, nil},
		{"unknown beside missing", models(modelOf("m", "age_years", "treated")), func(f *schema.Frame) {
			lose(f, "treated", 0, 7)
			for row := 7; row < 25; row++ {
				f.SetText(row, "treated", "unknown")
			}
		}, nil},
		{"few events", models(events("e", "age_years")), func(f *schema.Frame) {
			for row := range f.N {
				f.SetNumber(row, "central_pp_mmhg", 30+float64(row%19))
				if row < 6 {
					f.SetNumber(row, "central_pp_mmhg", 55)
				}
			}
		}, nil},
		{"few events lost", models(events("e", "age_years", "height_cm")), func(f *schema.Frame) {
			for row := range f.N {
				f.SetNumber(row, "central_pp_mmhg", 30+float64(row%40))
			}
			lose(f, "height_cm", 16, 40)
			for row := 23; row < 40; row++ {
				f.SetNumber(row, "central_pp_mmhg", 40)
			}
		}, nil},
		{"a model of few", sets(schema.Rule{Column: "height_cm", AtLeast: &low}, modelOf("m", "age_years"), in("most", modelOf("k", "age_years"))), func(f *schema.Frame) { lose(f, "height_cm", 8, 240) }, nil},
	}
}

// pulse gives everybody a heart rate.
func pulse(f *schema.Frame) {
	for row := range f.N {
		f.SetNumber(row, "heart_rate_bpm", 60+float64(row*7%31))
	}
}

// chosen are studies whose primary model is fitted again under choices that leave
// few people out, or few of those whom another number counts.
func chosen() []hostile {
	choices := &schema.SensitivitySettings{Quality: []string{"usable"}, Departures: []string{"out"}, Missing: []string{"complete_case"}}
	grades := func(doubtful, departed, shift int) func(f *schema.Frame) {
		return func(f *schema.Frame) {
			for row := range f.N {
				f.SetText(row, "quality", map[bool]string{true: "doubtful", false: "usable"}[row < doubtful])
				f.SetNumber(row, "departure_count", map[bool]float64{true: 1}[row >= shift && row < shift+departed])
			}
		}
	}
	models := func(s *schema.Settings) { s.Analysis.Models = []schema.Model{modelOf("m", "age_years", "height_cm")} }
	with := func(edits ...func(f *schema.Frame)) func(f *schema.Frame) {
		return func(f *schema.Frame) {
			for _, edit := range edits {
				edit(f)
			}
		}
	}
	without := func(column string, from, to int) func(f *schema.Frame) {
		return func(f *schema.Frame) { lose(f, column, from, to) }
	}
	return []hostile{
		{"few of lower quality", models, grades(6, 40, 0), choices},
		{"choices few apart", models, grades(40, 44, 0), choices},
		{"few without a value", models, with(grades(60, 30, 100), without("height_cm", 50, 54)), choices},
		{"few of a grade without a value", models, with(grades(60, 30, 100), without("height_cm", 40, 63)), choices},
		{"enough of everything", models, with(grades(60, 30, 100), without("height_cm", 20, 40), without("height_cm", 110, 125), without("height_cm", 150, 170)), choices},
	}
}

// How far the coefficient moves is told under every choice that leaves enough
// people, from the released coefficients alone; numbers of people only where none
// of few follows.
func TestIntruderWithChoices(t *testing.T) {
	shown, moved := 0, 0
	for _, h := range chosen() {
		t.Run(h.name, func(t *testing.T) {
			r, s := h.run(t)
			x := newIntruder(t, r, s)
			found, tried := x.derived()
			for _, f := range found {
				t.Error(f)
			}
			if tried == 0 && h.name != "enough of everything" {
				t.Error("there is no group of few: the test has lost its object")
			}
			base, _ := x.choices[0].number("estimate")
			for _, c := range x.choices {
				if c["suppressed"] == "all" {
					t.Errorf("%s %s is hidden", c["choice"], c["value"])
				}
				v, _ := c.number("estimate")
				move, told := c.number("shift")
				low, _ := c.number("low")
				high, _ := c.number("high")
				if !told || math.Abs(move-(v-base)) > (high-low)/100 {
					t.Errorf("%s %s moves from %g to %g, by %q", c["choice"], c["value"], base, v, c["shift"])
				}
				moved++
				if c["n"] != "" {
					shown++
				}
			}
		})
	}
	t.Logf("%d rows, %d numbers of people shown", moved, shown)
	if shown < 5 {
		t.Errorf("only %d numbers of people are shown", shown)
	}
}

// No number of one to nine people follows from the files of a release, by sums or
// differences of any published ones or by what is told of a fit.
func TestIntruderWithEveryFile(t *testing.T) {
	tries, shown, reasons, pooled := 0, 0, 0, 0
	for _, h := range hostiles() {
		t.Run(h.name, func(t *testing.T) {
			r, s := h.run(t)
			x := newIntruder(t, r, s)
			found, tried := x.derived()
			tries += tried
			shown += len(x.known)
			reasons += x.reasons
			pooled += x.pooled
			for _, f := range found {
				t.Error(f)
			}
			for _, w := range x.widths {
				hidden := !x.known[fmt.Sprint(w.in.in)]
				if hidden && w.high-w.low < 9 {
					t.Errorf("%s: the hidden number of people lies between %g and %g", w.model, w.low, w.high)
				}
			}
		})
	}
	t.Logf("%d groups of few, %d numbers known", tries, shown)
	if tries < 60 || shown < 100 {
		t.Errorf("%d groups of few and %d known numbers: the test has lost its object", tries, shown)
	}
	if reasons < 3 || pooled < 1 {
		t.Errorf("%d reasons of the flow are shown, %d stages have others together", reasons, pooled)
	}
}
