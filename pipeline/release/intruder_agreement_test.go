package release_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"tonocohort/pipeline/release"
	"tonocohort/pipeline/tabulate"
	"tonocohort/schema"
	"tonocohort/testdata"
)

// The intruder on the table of agreement. He knows which groups a comparison
// counts, not who is in them.

// pairKnown is what the table tells: weights of people, and of reviewed
// recordings, of which everybody has one.
type pairKnown struct {
	t       *testing.T
	people  []repeatedly // of whom each stands for those measured alike
	sizes   []float64
	shown   basis
	targets map[string][]float64
	seen    basis
	reviews map[string][]float64
}

func (k *pairKnown) weights(f func(p repeatedly) int) []float64 {
	out := make([]float64, len(k.people))
	for i, p := range k.people {
		out[i] = float64(f(p))
	}
	return out
}

// alike lists everybody who was measured otherwise than those before: none else
// can be told apart, and how many there are of each.
func alike(people []repeatedly) (kinds []repeatedly, sizes []float64) {
	for _, p := range people {
		at := slices.Index(kinds, p)
		if at < 0 {
			at = len(kinds)
			kinds, sizes = append(kinds, p), append(sizes, 0)
		}
		sizes[at]++
	}
	return kinds, sizes
}

// tell adds a number to what is known, where it is shown, and holds the intruder's
// reading of it to the truth.
func (k *pairKnown) tell(name string, b *basis, r record, column string, f func(p repeatedly) int) {
	v, shown := r.number(column)
	if !shown {
		return
	}
	w := k.weights(f)
	total := 0.0
	for i, x := range w {
		total += x * k.sizes[i]
	}
	if total != v {
		k.t.Fatalf("%s: %s is %g, the intruder reads %g", name, column, v, total)
	}
	b.add(w)
}

func yes(b bool) int {
	if b {
		return 1
	}
	return 0
}

// read takes what a row tells.
func (k *pairKnown) read(r record) {
	comparison, statistic, variable := r["comparison"], r["statistic"], r["variable"]
	within := statistic == "within_subject_sd" || statistic == "repeatability_coefficient"
	index := variable == "augmentation_index_pct"
	values := func(p repeatedly) int { // of the first visit
		if index {
			return p.indices
		}
		return p.first
	}
	twice := func(n int) int { return n * yes(n >= 2) }
	name := fmt.Sprint(comparison, " ", r["first"], " ", variable, " ", statistic)
	group := func(f func(p repeatedly) bool, weight func(p repeatedly) int) {
		k.tell(name, &k.shown, r, "n", func(p repeatedly) int { return yes(f(p)) })
		k.tell(name, &k.shown, r, "observations", func(p repeatedly) int { return yes(f(p)) * weight(p) })
		k.targets[name] = k.weights(func(p repeatedly) int { return yes(f(p)) })
	}
	one := func(repeatedly) int { return 1 }
	switch {
	case comparison == "replicates" && strings.HasPrefix(statistic, "icc"):
		group(func(p repeatedly) bool { return values(p) >= 2 }, func(p repeatedly) int { return 2 })
	case comparison == "replicates":
		weight := one
		if within {
			weight = values
		}
		group(func(p repeatedly) bool { return values(p) >= 2 }, weight)
		k.targets[name+": more"] = k.weights(func(p repeatedly) int { return yes(values(p) > 2) })
	case comparison == "replicates_all_visits":
		weight := func(p repeatedly) int { return yes(values(p) >= 2) + yes(p.second >= 2) }
		if within {
			weight = func(p repeatedly) int { return twice(values(p)) + twice(p.second) }
		}
		group(func(p repeatedly) bool { return values(p) >= 2 || p.second >= 2 }, weight)
		k.targets[name+": at both"] = k.weights(func(p repeatedly) int { return yes(values(p) >= 2 && p.second >= 2) })
		k.targets[name+": at the second"] = k.weights(func(p repeatedly) int { return yes(p.second >= 2) })
	case strings.HasPrefix(comparison, "operators"):
		between := comparison == "operators_between"
		group(func(p repeatedly) bool { // of three, two are by one
			return values(p) > 1 && (p.operators == 2 && (between || p.first > 2) || p.operators == 1 && !between)
		}, one)
		k.targets["by an operator not noted"] = k.weights(func(p repeatedly) int { return yes(p.operators == 0) })
	case comparison == "methods":
		group(func(p repeatedly) bool { return p.methods }, one)
	case comparison == "cuff_readings" && variable == "brachial_sbp_mmhg":
		weight := one
		usual := 2
		switch {
		case within:
			weight = func(p repeatedly) int { return p.readings }
		case strings.HasPrefix(statistic, "icc"):
			usual, weight = 3, func(repeatedly) int { return 3 }
		}
		group(func(p repeatedly) bool { return p.readings >= usual }, weight)
	case comparison == "readers":
		k.review(name, r, func(p repeatedly) bool { return p.readers == 2 }, nil)
		if statistic == "proportion_agreed" {
			k.review(name, r, func(p repeatedly) bool { return p.readers == 2 }, func(p repeatedly) bool { return !p.differ })
		}
	case comparison == "reader_and_grade":
		reader := yes(r["first"] == "reader 2") + 1
		grade, graded := strings.CutPrefix(statistic, "proportion_accepted_")
		k.review(name, r, func(p repeatedly) bool { return p.readers >= reader && (!graded || p.grade == grade) }, nil)
	}
}

// review takes how many recordings were seen, or of how many a share tells.
func (k *pairKnown) review(name string, r record, f, part func(p repeatedly) bool) {
	k.tell(name, &k.seen, r, "observations", func(p repeatedly) int { return yes(f(p)) })
	k.reviews[name] = k.weights(func(p repeatedly) int { return yes(f(p)) })
	if part == nil {
		return
	}
	_, counted := r.number("observations")
	if _, shown := r.number("estimate"); shown && counted {
		k.seen.add(k.weights(func(p repeatedly) int { return yes(f(p) && part(p)) }))
	}
	k.reviews[name+": not"] = k.weights(func(p repeatedly) int { return yes(f(p) && !part(p)) })
}

// found lists the groups of few that follow.
func found(b basis, targets map[string][]float64, sizes []float64) (out []string, tried int) {
	names := slices.Sorted(maps.Keys(targets))
	seen := map[string]bool{}
	try := func(name string, v []float64) {
		n := 0.0
		for i, x := range v {
			n += x * sizes[i]
		}
		if n <= 0 || n >= 10 {
			return
		}
		if key := fmt.Sprint(v); !seen[key] {
			seen[key] = true
			tried++
			if b.holds(v) {
				out = append(out, fmt.Sprintf("%s: %g", name, n))
			}
		}
	}
	for i, a := range names {
		try(a, targets[a])
		for _, b := range names[:i] {
			only, other := make([]float64, len(targets[a])), make([]float64, len(targets[a]))
			for k := range only {
				only[k] = targets[a][k] * (1 - targets[b][k])
				other[k] = targets[b][k] * (1 - targets[a][k])
			}
			try(a+" without "+b, only)
			try(b+" without "+a, other)
		}
	}
	return out, tried
}

func TestIntruderWithAgreement(t *testing.T) {
	tries, shown := 0, 0
	for _, h := range testdata.Few([]struct {
		name string
		edit func(i int, p *repeatedly)
	}{
		{"enough of everything", func(i int, p *repeatedly) {}},
		{"few recorded once", func(i int, p *repeatedly) { p.first -= yes(i < 4); p.indices = p.first }},
		{"few with a third recording", func(i int, p *repeatedly) { p.first += yes(i < 5); p.indices = p.first }},
		{"few with a second visit", func(i int, p *repeatedly) { p.second = 2 * yes(i < 6) }},
		{"few with both visits", func(i int, p *repeatedly) {
			p.second = 2 * yes(i < 30)
			if i < 24 {
				p.first, p.indices = 1, 1
			}
		}},
		{"few by two operators", func(i int, p *repeatedly) { p.operators = 1 + yes(i < 7) }},
		{"few by an operator not noted", func(i int, p *repeatedly) {
			if i < 3 {
				p.operators = 0
			}
		}},
		{"few without a second method", func(i int, p *repeatedly) { p.methods = i >= 5 }},
		{"few with two readings", func(i int, p *repeatedly) { p.readings -= yes(i < 6) }},
		{"few with one reading", func(i int, p *repeatedly) { p.readings -= 2 * yes(i < 6) }},
		{"few without an index", func(i int, p *repeatedly) { p.indices -= yes(i < 8) }},
		{"few seen by one reader", func(i int, p *repeatedly) { p.readers -= yes(i < 8) }},
		{"few on whom readers differ", func(i int, p *repeatedly) { p.differ = i < 4 }},
		{"few of a grade", func(i int, p *repeatedly) {
			switch {
			case i < 3:
				p.grade = "unusable"
			case i < 60:
				p.grade = "doubtful"
			}
		}},
	}) {
		t.Run(h.name, func(t *testing.T) {
			k, list := attackAgreement(t, measuredTwice(240, h.edit))
			leaks, tried := found(k.shown, k.targets, k.sizes)
			more, again := found(k.seen, k.reviews, k.sizes)
			for _, leak := range append(leaks, more...) {
				t.Error(leak)
			}
			tries += tried + again
			if tried+again == 0 && h.name != "enough of everything" {
				t.Error("there is no group of few: the test has lost its object")
			}
			for _, r := range list {
				if !slices.Contains([]string{"central_pp_mmhg", "augmentation_index_pct", "brachial_sbp_mmhg"}, r["variable"]) {
					continue
				}
				if _, told := r.number("n"); told {
					shown++
				} else if h.name == "enough of everything" && r["comparison"] != "readers" && r["comparison"] != "reader_and_grade" {
					t.Errorf("%s %s: the number of people is hidden", r["comparison"], r["statistic"])
				}
				if r["suppressed"] == "all" && r["comparison"] == "replicates" {
					t.Errorf("%s %s: nothing is left", r["comparison"], r["statistic"])
				}
			}
		})
	}
	t.Logf("%d groups of few, %d numbers of people shown", tries, shown)
	if !testdata.UnderRaceDetector() && (tries < 20 || shown < 200) {
		t.Errorf("%d groups of few and %d numbers shown: the test has lost its object", tries, shown)
	}
}

// attackAgreement releases a study in which people were measured in this way, and
// reads what comes out.
func attackAgreement(t *testing.T, people []repeatedly) (*pairKnown, []record) {
	t.Helper()
	f := invented(rand.New(rand.NewPCG(41, 42)), len(people))
	for i, p := range people {
		f.SetNumber(i, "augmentation_index_pct", 20)
		if p.second > 0 {
			row := f.AddRow()
			f.CopyRow(row, f, i)
			f.SetText(row, "visit_id", "v2")
		}
	}
	s := settings(func(s *schema.Settings) {
		s.Disclosure.ZeroIsSmall = false
		s.Analysis.Sets = map[string][]schema.Rule{"all": {}}
		s.Analysis.Strata = []string{"sex"}
		s.Analysis.Centiles, s.Analysis.CompareWith = nil, nil
		s.Analysis.Variables = []string{"central_pp_mmhg"}
	})
	results := tabulate.Tables(f, s, "study.yaml", "analysis")
	agreement := tabulate.Agreement(measuredTables(f, people), s.Analysis)
	out, err := release.Check(release.Input{Tables: append(results.Frames(), agreement), Visits: f, People: release.People(results.People), Settings: s})
	if err != nil {
		t.Fatal(err)
	}
	kinds, sizes := alike(people)
	k := &pairKnown{t: t, people: kinds, sizes: sizes, targets: map[string][]float64{}, reviews: map[string][]float64{}}
	everybody := k.weights(func(repeatedly) int { return 1 })
	k.shown.add(everybody) // the summary tells how many there are
	k.targets["everybody"] = everybody
	list := records(t, frame(t, out.Tables, "agreement"))
	for _, r := range list {
		k.read(r)
	}
	return k, list
}
