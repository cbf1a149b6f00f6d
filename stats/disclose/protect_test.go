package disclose_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"tonocohort/stats/disclose"
)

// grid makes a two-way table with its margins; cell i, j is domain i·columns+j,
// then the row totals, the column totals and the grand total.
func grid(cells [][]int) disclose.Table {
	t := disclose.Table{Dimensions: 2}
	add := func(cost int, classes ...[]int) {
		t.Domains = append(t.Domains, disclose.Domain{Classes: classes, Cost: float64(cost)})
	}
	columns := make([]int, len(cells[0]))
	total := 0
	rows := make([]int, len(cells))
	for i, row := range cells {
		for j, v := range row {
			t.Atoms = append(t.Atoms, disclose.Atom{At: []int{i, j}, Value: v, Capacity: disclose.Unbounded})
			add(v, []int{i}, []int{j})
			rows[i] += v
			columns[j] += v
			total += v
		}
	}
	for i, v := range rows {
		add(v, []int{i}, nil)
	}
	for j, v := range columns {
		add(v, nil, []int{j})
	}
	add(total, nil, nil)
	return t
}

// The example of Fischetti and Salazar-González 2001 (Management Science
// 47:1008-27, their first figure; from memory): investment by activity and
// region, of which activity II in region C (22) is confidential. With the cells
// II-A, II-C, III-A and III-C left out an attacker places it between 5 and 30.
func investment() disclose.Table {
	return grid([][]int{{20, 50, 10}, {8, 19, 22}, {17, 32, 12}})
}

func TestAttackerReachesThePublishedInterval(t *testing.T) {
	table := investment()
	hidden := make([]bool, len(table.Domains))
	for _, i := range []int{3, 5, 6, 8} {
		hidden[i] = true
	}
	low, high := bounds(t, table, hidden, 5)
	if math.Abs(low-5) > 1e-6 || math.Abs(high-30) > 1e-6 {
		t.Errorf("interval %g to %g, published 5 to 30", low, high)
	}
}

// Asked for the width that the published pattern gives, the search finds one of
// four cells that costs no more than it (8 + 17 + 12).
func TestProtectsThePublishedExample(t *testing.T) {
	table := investment()
	table.Domains[5].Need = 25
	p, err := disclose.Protect(table)
	if err != nil {
		t.Fatal(err)
	}
	cost := 0.0
	for _, i := range p.Added {
		cost += table.Domains[i].Cost
	}
	if len(p.Added) != 3 || cost > 37 {
		t.Errorf("hides %v as well, at a cost of %g; three cells at 37 are known to do", p.Added, cost)
	}
	withstands(t, table, p)
}

// withstands holds every sensitive count against the linear programme and the
// witnesses against the table.
func withstands(t *testing.T, table disclose.Table, p disclose.Protection) {
	t.Helper()
	if err := table.Check(p); err != nil {
		t.Error(err)
	}
	for i, d := range table.Domains {
		if d.Need == 0 {
			continue
		}
		if low, high := bounds(t, table, p.Hidden, i); high-low < float64(d.Need)-1e-6 {
			t.Errorf("domain %d lies between %g and %g: narrower than %d", i, low, high, d.Need)
		}
	}
}

// A hidden count whose line holds one other hidden cell alone is worked out at
// once; the attacker of these tests must see that.
func TestAttackerSubtracts(t *testing.T) {
	table := grid([][]int{{3, 40}, {30, 50}})
	hidden := make([]bool, len(table.Domains))
	hidden[0] = true
	if low, high := bounds(t, table, hidden, 0); math.Abs(low-3) > 1e-6 || math.Abs(high-3) > 1e-6 {
		t.Errorf("between %g and %g, by subtraction it is 3", low, high)
	}
}

// strata is a random table of sex by age band with a set inside everybody: the
// smallest case of what a study releases. Cells below the minimum are
// sensitive, among them what the set leaves of everybody.
func strata(random *rand.Rand, minimum int, zero bool) disclose.Table {
	t := disclose.Table{Dimensions: 3}
	sexes, bands := 2+random.IntN(2), 2+random.IntN(4)
	for sex := range sexes {
		for band := range bands {
			for in := range 2 {
				v := random.IntN(40)
				if random.IntN(3) == 0 {
					v = random.IntN(minimum)
				}
				if v > 0 || zero {
					t.Atoms = append(t.Atoms, disclose.Atom{At: []int{sex, band, in}, Value: v, Capacity: disclose.Unbounded})
				}
			}
		}
	}
	for _, set := range [][]int{nil, {1}, {0}} {
		for sex := -1; sex < sexes; sex++ {
			for band := -1; band < bands; band++ {
				d := disclose.Domain{Classes: [][]int{only(sex), only(band), set}, Floor: minimum}
				v := 0
				for _, k := range inside(t, d) {
					v += t.Atoms[k].Value
				}
				d.Cost = float64(v + 1)
				if set != nil && set[0] == 0 {
					d.Hidden, d.Floor = true, 0
				}
				if v < minimum && (v > 0 || zero) {
					d.Need, d.Floor = minimum, 0
				}
				t.Domains = append(t.Domains, d)
			}
		}
	}
	return t
}

func only(class int) []int {
	if class < 0 {
		return nil
	}
	return []int{class}
}

// No hidden count of random tables can be placed in an interval narrower than
// the smallest cell, by any use of margins and of the set inside everybody.
func TestNothingIsWorkedOutFromRandomTables(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	sensitive, published, all := 0, 0, 0
	for range 60 {
		table := strata(random, 10, random.IntN(2) == 0)
		p, err := disclose.Protect(table)
		if err != nil {
			t.Fatal(err)
		}
		withstands(t, table, p)
		for i, d := range table.Domains {
			if d.Need > 0 {
				sensitive++
			}
			if !d.Hidden {
				all++
				if !p.Hidden[i] {
					published++
				}
			}
		}
	}
	t.Logf("%d sensitive counts; %d of %d cells remain", sensitive, published, all)
	if sensitive < 500 || published < all/5 {
		t.Errorf("%d sensitive counts, %d of %d cells remain: the test has lost its object", sensitive, published, all)
	}
}

// Shares: the count above a threshold is bounded by the people there are, and a
// hidden one of a partner keeps ten on both sides.
func TestBoundedCounts(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	for range 40 {
		table := disclose.Table{Dimensions: 2}
		for sex := range 2 {
			for band := range 5 {
				n := 12 + random.IntN(40)
				table.Atoms = append(table.Atoms, disclose.Atom{At: []int{sex, band}, Value: random.IntN(n + 1), Capacity: n})
			}
		}
		for sex := -1; sex < 2; sex++ {
			for band := -1; band < 5; band++ {
				d := disclose.Domain{Classes: [][]int{only(sex), only(band)}, Floor: 10}
				v, n := 0, 0
				for _, k := range inside(table, d) {
					v += table.Atoms[k].Value
					n += table.Atoms[k].Capacity
				}
				d.Cost, d.Ceiling = float64(n), n-10
				if v < 10 || n-v < 10 {
					d.Need, d.Floor, d.Ceiling = 10, 0, 0
				}
				table.Domains = append(table.Domains, d)
			}
		}
		p, err := disclose.Protect(table)
		if err != nil {
			t.Fatal(err)
		}
		withstands(t, table, p)
	}
}

// Where capacities leave no room the search says so instead of publishing.
func TestSaysWhatCannotBeProtected(t *testing.T) {
	table := disclose.Table{Dimensions: 1,
		Atoms:   []disclose.Atom{{At: []int{0}, Value: 3, Capacity: 6}},
		Domains: []disclose.Domain{{Classes: [][]int{nil}, Need: 10}}}
	_, err := disclose.Protect(table)
	if e, ok := err.(*disclose.ErrUnprotected); !ok || e.Width != 6 {
		t.Errorf("error %v, expected a width of 6 at most", err)
	}
}
