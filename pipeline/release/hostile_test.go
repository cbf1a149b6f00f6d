package release_test

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"tonocohort/pipeline/release"
	"tonocohort/pipeline/tabulate"
	"tonocohort/schema"
	"tonocohort/schema/published"
)

// hostile is a study made to be told apart.
type hostile struct {
	name     string
	settings func(*schema.Settings)
	edit     func(f *schema.Frame)
	choices  *schema.SensitivitySettings // nil: the primary model alone
	own      string                      // a published set of its own, ours.csv
}

// sets reads it.
func (h hostile) sets(t *testing.T) []published.Set {
	t.Helper()
	if h.own == "" {
		return nil
	}
	set, err := published.Read("ours.csv", strings.NewReader(h.own))
	if err != nil {
		t.Fatal(err)
	}
	return []published.Set{set}
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
		results, out := released(t, f, s, h.sets(t)...)
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

// hostiles are the studies of which every file is read.
func hostiles() []hostile { return slices.Concat(hostileSets(), hostileModels()) }

// withModels puts models into a plan.
func withModels(list ...schema.Model) func(*schema.Settings) {
	return func(s *schema.Settings) { s.Analysis.Models = list }
}

// withMost adds a set of most people, and models.
func withMost(rule schema.Rule, list ...schema.Model) func(*schema.Settings) {
	return func(s *schema.Settings) {
		s.Analysis.Sets["most"] = []schema.Rule{rule}
		s.Analysis.SetOrder = []string{"all", "most"}
		s.Analysis.Models = list
	}
}

func inMost(m schema.Model) schema.Model {
	m.Set = "most"
	return m
}

// eventsModel is one of a pressure of 50 or more.
func eventsModel(name string, terms ...string) schema.Model {
	threshold := 50.0
	m := modelOf(name, terms...)
	m.Kind, m.Threshold = "logistic", &threshold
	return m
}

// hostileSets have people whom sets and levels tell apart.
func hostileSets() []hostile {
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
		{"two levels and the set of neither", unlike(), both, nil, ""},
		{"two levels and the reasons of the flow", unlike(schema.Rule{Column: "brachial_sbp_mmhg", Below: &below}), both, nil, ""},
	}
}

// hostileModels have people whom models tell apart.
func hostileModels() []hostile {
	low := -1e9
	return []hostile{
		{"a level of four", withModels(modelOf("m", "age_years", "smoker")), func(f *schema.Frame) {
			for row := range f.N {
				f.SetText(row, "smoker", map[bool]string{true: "current", false: "never"}[row < 4])
			}
		}, nil, ""},
		{"one without a value", withModels(modelOf("m", "age_years", "sex"), modelOf("w", "age_years", "height_cm")), func(f *schema.Frame) { lose(f, "age_years", 0, 1) }, nil, ""},
		{"one without a value of a term alone", withModels(modelOf("w", "age_years", "height_cm")), func(f *schema.Frame) { lose(f, "height_cm", 0, 1) }, nil, ""},
		{"sets two people apart", withMost(schema.Rule{Column: "height_cm", AtLeast: &low}, modelOf("m", "age_years", "sex"), inMost(modelOf("k", "age_years", "sex"))),
			func(f *schema.Frame) { lose(f, "height_cm", 7, 9) }, nil, ""},
		{"sets of which the models are three apart", withMost(schema.Rule{Column: "height_cm", AtLeast: &low}, modelOf("m", "age_years", "heart_rate_bpm"), inMost(modelOf("k", "age_years", "heart_rate_bpm"))),
			func(f *schema.Frame) {
				pulse(f)
				lose(f, "height_cm", 0, 15)
				lose(f, "heart_rate_bpm", 3, 25)
			}, nil, ""},
		{"models of one set one apart", withModels(modelOf("m", "age_years", "height_cm"), modelOf("k", "age_years", "height_cm", "heart_rate_bpm")), func(f *schema.Frame) {
			pulse(f)
			lose(f, "height_cm", 0, 20)
			lose(f, "heart_rate_bpm", 0, 21)
		}, nil, ""},
		{"lost beside a variable of Table 1", withModels(modelOf("m", "smoker", "height_cm")), func(f *schema.Frame) {
			lose(f, "smoker", 0, 14)
			lose(f, "height_cm", 10, 17)
		}, nil, ""},
		{"lost beside a term", withModels(modelOf("m", "age_years", "height_cm", "heart_rate_bpm")), func(f *schema.Frame) {
			pulse(f)
			lose(f, "height_cm", 0, 14)
			lose(f, "heart_rate_bpm", 10, 17)
		}, nil, ""},
		{"two columns that few lack together", withModels(modelOf("m", "age_years", "height_cm", "heart_rate_bpm")), func(f *schema.Frame) {
			pulse(f)
			lose(f, "height_cm", 0, 20)
			lose(f, "heart_rate_bpm", 15, 40)
		}, nil, ""},
		{"unknown beside missing", withModels(modelOf("m", "age_years", "treated")), func(f *schema.Frame) {
			lose(f, "treated", 0, 7)
			for row := 7; row < 25; row++ {
				f.SetText(row, "treated", "unknown")
			}
		}, nil, ""},
		{"few events", withModels(eventsModel("e", "age_years")), func(f *schema.Frame) {
			for row := range f.N {
				f.SetNumber(row, "central_pp_mmhg", 30+float64(row%19))
				if row < 6 {
					f.SetNumber(row, "central_pp_mmhg", 55)
				}
			}
		}, nil, ""},
		{"few events lost", withModels(eventsModel("e", "age_years", "height_cm")), func(f *schema.Frame) {
			for row := range f.N {
				f.SetNumber(row, "central_pp_mmhg", 30+float64(row%40))
			}
			lose(f, "height_cm", 16, 40)
			for row := 23; row < 40; row++ {
				f.SetNumber(row, "central_pp_mmhg", 40)
			}
		}, nil, ""},
		{"a model of few", withMost(schema.Rule{Column: "height_cm", AtLeast: &low}, modelOf("m", "age_years"), inMost(modelOf("k", "age_years"))), func(f *schema.Frame) { lose(f, "height_cm", 8, 240) }, nil, ""},
	}
}

// pulse gives everybody a heart rate.
func pulse(f *schema.Frame) {
	for row := range f.N {
		f.SetNumber(row, "heart_rate_bpm", 60+float64(row*7%31))
	}
}
