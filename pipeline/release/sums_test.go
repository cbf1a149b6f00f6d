package release_test

import (
	"math"
	"testing"

	"tonocohort/pipeline/release"
	"tonocohort/schema"
)

// sums looks for the mean of a group of fewer than ten: whether its people are a
// combination of groups whose number and mean are shown.
func sums(t *testing.T, what string, out release.Output, people []person, sets []string) int {
	t.Helper()
	atom, example := atomsOf(people)
	sizes := make([]int, len(example))
	for i := range people {
		sizes[atom[i]]++
	}
	var shown [][]float64
	cells := map[string]cell{}
	for _, name := range []string{"summary", "comparison"} {
		table := frame(t, out.Tables, name)
		for row := range table.N {
			c := cellOf(table, row)
			if table.TextAt(row, "variable") != "central_pp_mmhg" || name == "comparison" && c.total() {
				continue
			}
			cells[c.key] = c
			if table.TextAt(row, "statistic") == "mean" && !table.Missing(row, "estimate") && !table.Missing(row, "n") {
				shown = append(shown, indicator(len(example), group(example, c.holds)))
			}
		}
	}
	found := 0
	for name, c := range cells {
		for _, less := range append([]string{""}, sets[1:]...) {
			in := group(example, func(p person) bool { return c.holds(p) && (less == "" || !p.sets[less]) })
			n := 0
			for _, k := range in {
				n += sizes[k]
			}
			if n == 0 || n >= 10 {
				continue
			}
			found++
			if rank(append(shown[:len(shown):len(shown)], indicator(len(example), in))) == rank(shown) {
				t.Errorf("%s: the mean of %d people of %s less %q can be worked out", what, n, name, less)
			}
		}
	}
	return found
}

func indicator(n int, in []int) []float64 {
	row := make([]float64, n)
	for _, k := range in {
		row[k] = 1
	}
	return row
}

// rank of a matrix of zeros and ones, by elimination.
func rank(rows [][]float64) int {
	var reduced [][]float64
	var pivots []int
	for _, row := range rows {
		rest := append([]float64(nil), row...)
		for k, r := range reduced {
			if f := rest[pivots[k]]; f != 0 {
				for j := range rest {
					rest[j] -= f * r[j]
				}
			}
		}
		for j, v := range rest {
			if math.Abs(v) > 1e-9 {
				for i := range rest {
					rest[i] /= v
				}
				reduced, pivots = append(reduced, rest), append(pivots, j)
				break
			}
		}
	}
	return len(reduced)
}

// That the number of those who lack a value may be told opens no mean of the few
// whose stratum is missing.
func TestToldMissingOpensNoMean(t *testing.T) {
	s := shapes()[0]
	r := s.run(t, func(x *schema.Settings) { x.Disclosure.MissingIsSmall = false })
	if n := sums(t, s.name, r.out, publicView(r.visits, r.results.People), r.results.People.Sets); n < 4 {
		t.Errorf("%d groups of few: the test has lost its object", n)
	}
}
