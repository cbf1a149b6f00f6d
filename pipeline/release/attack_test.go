package release_test

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"tonocohort/pipeline/release"
	"tonocohort/pipeline/tabulate"
	"tonocohort/schema"
	"tonocohort/testdata"
	"tonocohort/testdata/attack"
)

// person is what an attacker tells people apart by, and what he is after.
type person struct {
	sets           map[string]bool
	labels         map[string]string
	value, present map[string]bool
}

// publicView is what the tables tell apart: sets, strata, and the bands of the
// published set.
func publicView(f *schema.Frame, p tabulate.People) []person {
	people := make([]person, len(p.Rows))
	for i, at := range p.Rows {
		row := int(at)
		q := person{sets: map[string]bool{}, labels: map[string]string{}, value: map[string]bool{}, present: map[string]bool{}}
		for s, name := range p.Sets {
			q.sets[name] = p.In[s][i]
		}
		for c, name := range p.Columns {
			q.labels[name] = p.Levels[c][p.Codes[c][i]]
		}
		decade := math.Floor(f.Number(row, "age_years")/10) * 10
		switch {
		case math.IsNaN(decade):
			q.labels["published"] = ""
		case decade < 20:
			q.labels["published"] = "<20"
		case decade >= 80:
			q.labels["published"] = ">=80"
		default:
			q.labels["published"] = fmt.Sprintf("%.0f-%.0f", decade, decade+9)
		}
		q.present["augmentation_index_pct"] = !math.IsNaN(f.Number(row, "augmentation_index_pct"))
		q.value["central_pp_mmhg"] = f.Number(row, "central_pp_mmhg") >= 50
		q.value["smoker"] = f.TextAt(row, "smoker") == "current"
		people[i] = q
	}
	return people
}

// cell is a row of a released table as a group of people.
type cell struct {
	set    string
	labels map[string]string
	key    string
}

func (c cell) holds(q person) bool {
	if !q.sets[c.set] {
		return false
	}
	for name, label := range c.labels {
		if label != "all" && q.labels[name] != label {
			return false
		}
	}
	return true
}

func cellOf(f *schema.Frame, row int) cell {
	c := cell{set: f.TextAt(row, "set"), labels: map[string]string{}}
	strata := []string{"sex", "age_band"}
	if f.Table.Name != "comparison" {
		strata = nil
		for _, column := range f.Table.Columns[2:f.Table.Index("statistic")] {
			strata = append(strata, column.Name)
		}
	}
	for _, name := range strata {
		label := f.TextAt(row, name)
		if name == "age_band" && f.Table.Name == "comparison" {
			name = "published"
		}
		if label != "all" {
			c.labels[name] = label
		}
	}
	c.key = fmt.Sprint(c.set, c.labels)
	return c
}

func (c cell) total() bool { return c.labels["published"] == "" }

// atoms are the groups that the attacker cannot tell apart further.
func atomsOf(people []person) (index []int, example []person) {
	seen := map[string]int{}
	for _, q := range people {
		key := fmt.Sprint(q.sets, q.labels)
		if _, known := seen[key]; !known {
			seen[key] = len(example)
			example = append(example, q)
		}
		index = append(index, seen[key])
	}
	return index, example
}

// question is something that the attacker counts beside people themselves.
type question struct {
	name string
	in   func(q person) bool
	// read tells what a released row says of the count; NaN for nothing
	read func(f *schema.Frame, row int) float64
	// need is the width of the interval in which he may place a count n of so many
	// people; 0 for one that may be told
	need func(n, all int) int
}

func questions() []question {
	return []question{
		{"people", func(person) bool { return true }, nil, func(n, all int) int { return when(n < 10, 10) }},
		{"without augmentation index", func(q person) bool { return !q.present["augmentation_index_pct"] },
			func(f *schema.Frame, row int) float64 {
				if f.TextAt(row, "variable") != "augmentation_index_pct" {
					return math.NaN()
				}
				return f.Number(row, "n_missing")
			}, func(n, all int) int { return when(n > 0 && n < 10 && all >= 10, min(10, all-10)) }},
		{"central PP of 50", func(q person) bool { return q.value["central_pp_mmhg"] },
			func(f *schema.Frame, row int) float64 {
				if f.TextAt(row, "variable") != "central_pp_mmhg" || f.TextAt(row, "statistic") != "prevalence_at_least_50" {
					return math.NaN()
				}
				return math.Round(f.Number(row, "n") * f.Number(row, "estimate"))
			}, func(n, all int) int { return when(n < 10 || all-n < 10, min(10, all)) }},
		{"current smokers", func(q person) bool { return q.value["smoker"] },
			func(f *schema.Frame, row int) float64 {
				if f.TextAt(row, "variable") != "smoker" || f.TextAt(row, "statistic") != "count_current" {
					return math.NaN()
				}
				return f.Number(row, "estimate")
			}, func(n, all int) int { return when(n < 10, min(10, all)) }},
	}
}

func when(yes bool, width int) int {
	if yes {
		return width
	}
	return 0
}

// An attacker with every table of a release bounds what was hidden: the people
// of a stratum, those without a value, those above a threshold or at a level,
// what a set leaves of another. No group of fewer than ten can be placed in an
// interval narrower than ten. His model of the tables shares nothing with the
// release.
func TestAttackerWithAllTables(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	withstood := 0
	for i, n := range testdata.Few([]int{70, 140, 260}) {
		zero := i%2 == 0
		f := invented(random, n)
		results, out := released(t, f, settings(func(s *schema.Settings) { s.Disclosure.ZeroIsSmall = zero }))
		people := publicView(f, results.People)
		for _, q := range questions() {
			withstood += hunt(t, fmt.Sprintf("%d people, %s", n, q.name), out, people, q, zero, results.People.Sets, 1000)
		}
		withstood += sums(t, fmt.Sprintf("%d people", n), out, people, results.People.Sets)
	}
	t.Logf("%d hidden groups withstood", withstood)
	if withstood < 200 && !testdata.UnderRaceDetector() {
		t.Errorf("only %d hidden groups: the test has lost its object", withstood)
	}
}

// hunt bounds every group that must not be told. The unknowns are the people of
// every atom, and after them those of the question.
func hunt(t *testing.T, what string, out release.Output, people []person, q question, zero bool, sets []string, most int) int {
	t.Helper()
	atom, example := atomsOf(people)
	many := len(example)
	counts, sizes := make([]int, many), make([]int, many)
	for i, p := range people {
		sizes[atom[i]]++
		if q.in(p) {
			counts[atom[i]]++
		}
	}
	system := attack.New(2 * many)
	for k := range many {
		system.NotAbove(many+k, k)
	}
	cells := map[string]cell{}
	told := map[string]bool{}
	for _, name := range []string{"summary", "comparison", "characteristics"} {
		table := frame(t, out.Tables, name)
		for row := range table.N {
			c := cellOf(table, row)
			if name == "comparison" && c.total() {
				continue // a total over some strata
			}
			cells[c.key] = c
			in := group(example, c.holds)
			total := table.Number(row, "n") + table.Number(row, "n_missing")
			if !math.IsNaN(total) && !told[c.key] {
				told[c.key] = true
				system.Equal(in, total)
			}
			if name == "summary" && q.read == nil {
				rules(system, table, row, in)
			}
			if q.read == nil {
				continue
			}
			if v := q.read(table, row); !math.IsNaN(v) && !told["q"+c.key] {
				told["q"+c.key] = true
				system.Equal(shifted(in, many), v)
			}
		}
	}
	found := 0
	try := func(name string, in []int) {
		n, all := 0, 0
		for _, k := range in {
			n += counts[k]
			all += sizes[k]
		}
		need := q.need(n, all)
		if need == 0 || len(in) == 0 || !zero && (n == 0 || all-n == 0) {
			return
		}
		found++
		if q.read != nil {
			in = shifted(in, many)
		}
		low, high, err := system.Bounds(in)
		if err != nil {
			t.Fatalf("%s, %s: %v", what, name, err)
		}
		if high-low < float64(need)-1e-6 {
			t.Errorf("%s, %s: %d of %d lie between %.4g and %.4g", what, name, n, all, low, high)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(cells)) {
		c := cells[name]
		if found >= most {
			break
		}
		try(name, group(example, c.holds))
		for _, set := range sets[1:] {
			inner := c
			inner.set = set
			less := group(example, func(p person) bool { return c.holds(p) && !inner.holds(p) })
			if c.set == "all" || len(group(example, func(p person) bool { return inner.holds(p) && !c.holds(p) })) == 0 {
				try(name+" less "+set, less)
			}
		}
	}
	return found
}

// rules adds what the rules tell of a row whose number is hidden: a percentile is
// shown of enough people alone, of more where the row lost its mean as well, and
// where it could be shown and is not there are fewer. Everybody has a central PP.
func rules(system *attack.System, f *schema.Frame, row int, in []int) {
	if f.TextAt(row, "variable") != "central_pp_mmhg" || !f.Missing(row, "n") || f.Missing(row, "estimate") {
		return
	}
	if need, known := map[string]float64{"median": 10, "p25": 50, "p10": 110, "p5": 210}[f.TextAt(row, "statistic")]; known {
		system.AtLeast(in, need)
	}
}

func shifted(in []int, by int) []int {
	out := make([]int, len(in))
	for i, k := range in {
		out[i] = k + by
	}
	return out
}

func group(example []person, holds func(person) bool) []int {
	var in []int
	for k, q := range example {
		if holds(q) {
			in = append(in, k)
		}
	}
	return in
}
