package release_test

import (
	"math"
	"testing"

	"tonocohort/schema"
	"tonocohort/testdata"
)

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
		{"few of lower quality", models, grades(6, 40, 0), choices, ""},
		{"choices few apart", models, grades(40, 44, 0), choices, ""},
		{"few without a value", models, with(grades(60, 30, 100), without("height_cm", 50, 54)), choices, ""},
		{"few of a grade without a value", models, with(grades(60, 30, 100), without("height_cm", 40, 63)), choices, ""},
		{"enough of everything", models, with(grades(60, 30, 100), without("height_cm", 20, 40), without("height_cm", 110, 125), without("height_cm", 150, 170)), choices, ""},
	}
}

// How far the coefficient moves is told under every choice that leaves enough
// people, from the released coefficients alone; numbers of people only where none
// of few follows.
func TestIntruderWithChoices(t *testing.T) {
	shown, moved := 0, 0
	for _, h := range testdata.Few(chosen()) {
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
	if shown < 5 && !testdata.UnderRaceDetector() {
		t.Errorf("only %d numbers of people are shown", shown)
	}
}
