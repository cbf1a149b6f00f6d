package release_test

import (
	"math/rand/v2"
	"testing"

	"tonocohort/schema"
	"tonocohort/testdata"
)

// The outermost knots of a fit are the ages of the youngest and the oldest person.
// A released reference has none outside its ages, and all of its numbers or none.
func TestParametersTellNoAgeOfFew(t *testing.T) {
	shown, hidden := 0, 0
	for _, n := range testdata.Few([]int{400, 60}) {
		_, out := released(t, invented(rand.New(rand.NewPCG(41, uint64(n))), n), settings(func(s *schema.Settings) { s.Analysis.CompareWith = nil }))
		f := frame(t, out.Tables, "centile_parameters")
		key := func(row int) string {
			return f.TextAt(row, "set") + "/" + f.TextAt(row, "variable") + "/" + f.TextAt(row, "sex")
		}
		lowest, highest, numbers := map[string]float64{}, map[string]float64{}, map[string]int{}
		for row := range f.N {
			switch f.TextAt(row, "statistic") {
			case "lowest":
				lowest[key(row)] = f.Number(row, "estimate")
			case "highest":
				highest[key(row)] = f.Number(row, "estimate")
			}
			if !f.Missing(row, "estimate") {
				numbers[key(row)]++
			}
		}
		rows := map[string]int{}
		for row := range f.N {
			k := key(row)
			rows[k]++
			if f.TextAt(row, "suppressed") == "all" && !f.Missing(row, "age_years") {
				t.Errorf("%d people, %s: a hidden number has its knot", n, k)
			}
			if age := f.Number(row, "age_years"); age < lowest[k] || age > highest[k]+1 {
				t.Errorf("%d people, %s: a knot at %g, ages %g to %g", n, k, age, lowest[k], highest[k])
			}
		}
		for k, many := range rows {
			switch numbers[k] {
			case many:
				shown++
			case 0:
				hidden++
			default:
				t.Errorf("%d people, %s: %d of %d numbers are shown", n, k, numbers[k], many)
			}
		}
	}
	if shown == 0 {
		t.Errorf("%d references shown, %d hidden", shown, hidden)
	}
}
