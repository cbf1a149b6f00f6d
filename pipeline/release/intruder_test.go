package release_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"tonocohort/pipeline/parquet"
	"tonocohort/schema"
	"tonocohort/schema/published"
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
	labels   map[string][]string // of columns that the plan does not divide people by
	widths   []width
	choices  []record

	own      []published.Set
	groups   map[string]*agedGroups
	compared int // rows about published values and centiles

	reasons, pooled int // of the flow: shown by themselves, and stages with others together
}

// peopleView is the part of the analysed people that names them.
type peopleView struct {
	rows    []int32
	sets    []string
	in      [][]bool
	columns map[string][]string
}

func newIntruder(t *testing.T, r study, s schema.Settings, own ...published.Set) *intruder {
	p := r.results.People
	v := peopleView{rows: p.Rows, sets: p.Sets, in: p.In, columns: map[string][]string{}}
	for c, name := range p.Columns {
		labels := make([]string, len(p.Rows))
		for i, code := range p.Codes[c] {
			labels[i] = p.Levels[c][code]
		}
		v.columns[name] = labels
	}
	x := &intruder{t: t, visits: r.visits, people: v, settings: s, own: own, groups: map[string]*agedGroups{}, known: map[string]bool{}, place: map[string]int{}, labels: map[string][]string{}}
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
	for _, name := range slices.Sorted(maps.Keys(x.groups)) {
		g := x.groups[name]
		x.meet(g.in, g.sum, g.told)
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
	if labels, asked := x.labels[name]; asked {
		return labels[i]
	}
	labels := make([]string, len(x.people.rows)) // asked of one person after the other
	for k, row := range x.people.rows {
		if v := x.visits.Number(int(row), name); !math.IsNaN(v) {
			labels[k] = fmt.Sprint(v)
		}
	}
	x.labels[name] = labels
	return labels[i]
}

func (x *intruder) crowd(name string, holds func(i int) bool) crowd {
	c := crowd{name, make([]bool, len(x.people.rows))}
	for i := range c.in {
		c.in[i] = holds(i)
	}
	return c
}

// keyOf tells groups apart.
func keyOf(in []bool) string {
	key := make([]byte, len(in))
	for i, yes := range in {
		if yes {
			key[i] = 1
		}
	}
	return string(key)
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
	key := keyOf(c.in)
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
