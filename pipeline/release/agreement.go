package release

import (
	"math"
	"slices"
	"strings"

	"tonocohort/schema"
)

// The table of agreement counts the same people by other measures: who was recorded
// twice, by one operator or two, who has an estimate by a second method, which
// recordings two readers have seen. Most of these groups lie in one another, so
// that few may follow from two numbers of which neither is small. One number after
// another is told, in the order of the table, unless one that is told already lies
// a few away.

const agreementTable = "agreement"

// Comparisons by name that need a rule of their own.
const (
	comparedVisits   = "replicates_all_visits"
	comparedReported = "observed_and_reported"
	comparedReaders  = "readers"
	comparedGrades   = "reader_and_grade"
	operatorsWithin  = "operators_within"
	operatorsBetween = "operators_between"

	acceptedPrefix = "proportion_accepted_"
)

// concealed is what is hidden of a row of agreement beside what its own numbers
// ask for: the rule, or "".
type concealed struct {
	all          string // everything
	counts       string // every number of people and of values
	persons      string // the number of people alone
	observations string // the number of values alone
	sides        bool   // a share, or what tells it
}

// agreementTold is what the rows of agreement have told so far.
type agreementTold struct {
	c    *checker
	f    *schema.Frame
	rows []concealed
	told map[string][]float64 // by family of groups that lie in one another
}

// agreementFamily names the groups of which one may lie in another.
func agreementFamily(comparison string) string {
	switch comparison {
	case "replicates", comparedVisits, operatorsWithin, operatorsBetween, comparedReported:
		return "recordings"
	case "methods", "calibrations":
		return "estimates"
	}
	return comparison
}

// concealAgreement decides on every row of the table.
func (c *checker) concealAgreement(f *schema.Frame) []concealed {
	if f.Table.Name != agreementTable {
		return nil
	}
	a := &agreementTold{c: c, f: f, rows: make([]concealed, f.N), told: map[string][]float64{}}
	a.grades()
	for row := range f.N {
		if n := f.Number(row, "n"); a.rows[row].all != "" || !(n >= float64(c.rules.MinCell)) {
			continue
		}
		if comparison := f.TextAt(row, "comparison"); comparison == comparedReaders || comparison == comparedGrades {
			a.reader(row)
		} else {
			a.person(row)
		}
	}
	a.totals()
	a.readings()
	return a.rows
}

func (a *agreementTold) number(row int) (n, missing, values float64) {
	return a.f.Number(row, "n"), a.f.Number(row, "n_missing"), a.f.Number(row, observations)
}

// apart reports that two numbers are a few apart.
func (a *agreementTold) apart(x, y float64) bool { return a.c.few(int(math.Abs(x - y))) }

// person decides on a row about people.
func (a *agreementTold) person(row int) {
	n, missing, _ := a.number(row)
	comparison := a.f.TextAt(row, "comparison")
	family := agreementFamily(comparison)
	told, hidden := a.beside(a.f.TextAt(row, "variable"))
	told = append(told, a.told[family]...)
	switch comparison {
	case operatorsWithin, operatorsBetween: // of which none lies in the other, and both in the replicates
		other := map[string]string{operatorsWithin: operatorsBetween, operatorsBetween: operatorsWithin}[comparison]
		for _, whole := range slices.Clone(told) {
			for _, m := range a.told[other] {
				told = append(told, whole-m)
			}
		}
		told = append(told, a.told[comparison]...)
		family = comparison
	}
	numbers := []float64{n}
	if missing > 0 && !a.c.few(int(missing)) {
		numbers = append(numbers, n+missing)
	}
	for _, m := range numbers {
		if slices.ContainsFunc(told, func(t float64) bool { return a.apart(m, t) }) ||
			slices.ContainsFunc(hidden, func(h float64) bool { return m == h || a.apart(m, h) }) {
			a.rows[row].counts = ruleDifference
			return
		}
	}
	if !a.c.few(int(missing)) {
		a.told[family] = append(a.told[family], numbers...)
	}
}

// beside lists how many people other tables count in the whole study: all, and
// those with a value of the variable; told, or hidden.
func (a *agreementTold) beside(variable string) (told, hidden []float64) {
	everyone := group{labels: a.c.noLabels()}
	add := func(name string, n int) {
		if a.c.stateOf(name, everyone).hides >= counts {
			hidden = append(hidden, float64(n))
		} else {
			told = append(told, float64(n))
		}
	}
	add("", a.c.headcount(a.c.everyAtom(), nil))
	if v, known := a.c.variable(variable); known {
		add(variable, a.c.headcount(a.c.everyAtom(), v.has()))
	}
	return told, hidden
}

// readings hides how many values there are where it tells how few people gave more
// or fewer of them than others, in one visit or in several.
func (a *agreementTold) readings() {
	type block struct{ variable, comparison string }
	few := map[block]bool{}
	first := map[string]map[string][2]float64{} // by variable, by comparison: people and values
	at := func(row int) block { return block{a.f.TextAt(row, "variable"), a.f.TextAt(row, "comparison")} }
	for row := range a.f.N {
		n, _, values := a.number(row)
		b := at(row)
		if agreementFamily(b.comparison) == b.comparison && b.comparison != "cuff_readings" || !(n > 0) {
			continue
		}
		least := math.Floor(values / n)
		over, short := values-least*n, (least+1)*n-values
		limit := float64(a.c.rules.MinCell)
		if b.comparison == comparedVisits || b.comparison == comparedReported { // a further visit gives two values
			limit *= 2
		}
		few[b] = few[b] || a.c.Settings.Disclosure.MissingIsSmall && over > 0 && (over < limit || short < limit)
		if first[b.variable] == nil {
			first[b.variable] = map[string][2]float64{}
		}
		if _, seen := first[b.variable][b.comparison]; !seen {
			first[b.variable][b.comparison] = [2]float64{n, values}
		}
	}
	for variable, of := range first {
		one, ok := of["replicates"]
		for _, name := range []string{comparedVisits, comparedReported} {
			if every, both := of[name]; ok && both && every[1] != one[1] && every[1]-one[1] < 2*float64(a.c.rules.MinCell) {
				few[block{variable, name}] = a.c.Settings.Disclosure.MissingIsSmall
			}
		}
	}
	for row := range a.f.N {
		n, _, values := a.number(row)
		across := at(row).comparison == comparedVisits || at(row).comparison == comparedReported
		if few[at(row)] && (across || values != n) {
			a.rows[row].observations = ruleDifference
		}
	}
}

// reader decides on a row about recordings that a reader has seen. How many there
// are stays before how many people they are of.
func (a *agreementTold) reader(row int) {
	n, _, values := a.number(row)
	if a.apart(values, n) {
		a.rows[row].persons = ruleDifference
	}
	statistic := a.f.TextAt(row, "statistic")
	graded := strings.HasPrefix(statistic, acceptedPrefix)
	if !graded { // the recordings of a pair of readers lie in those of each
		if slices.ContainsFunc(a.told["recordings seen"], func(t float64) bool { return a.apart(values, t) }) {
			a.rows[row].counts = ruleDifference
		} else {
			a.told["recordings seen"] = append(a.told["recordings seen"], values)
		}
	}
	if share := a.agreed(row); !math.IsNaN(share) {
		hits := math.Round(values * share)
		a.rows[row].sides = a.c.rules.Small(int(hits)) || a.c.rules.Small(int(values-hits))
	}
}

// agreed is the share that a row tells: its own, or the one beside it, which
// follows from kappa and its interval.
func (a *agreementTold) agreed(row int) float64 {
	if strings.HasPrefix(a.f.TextAt(row, "statistic"), acceptedPrefix) {
		return a.f.Number(row, "estimate")
	}
	for other := range a.f.N {
		if a.f.TextAt(other, "statistic") == "proportion_agreed" && a.pair(other) == a.pair(row) {
			return a.f.Number(other, "estimate")
		}
	}
	return math.NaN()
}

func (a *agreementTold) pair(row int) [3]string {
	return [3]string{a.f.TextAt(row, "comparison"), a.f.TextAt(row, "first"), a.f.TextAt(row, "second")}
}

// grades hides a further grade where one that is hidden would follow from all
// recordings of the reader.
func (a *agreementTold) grades() {
	byReader := map[[3]string][]int{}
	for row := range a.f.N {
		if strings.HasPrefix(a.f.TextAt(row, "statistic"), acceptedPrefix) {
			byReader[a.pair(row)] = append(byReader[a.pair(row)], row)
		}
	}
	least := float64(a.c.rules.MinCell)
	for _, rows := range byReader {
		slices.SortStableFunc(rows, func(x, y int) int { return int(a.f.Number(x, observations) - a.f.Number(y, observations)) })
		hidden, values := 0, 0.0
		for _, row := range rows {
			n, _, v := a.number(row)
			small := a.c.rules.Small(int(n))
			if !small && (hidden == 0 || hidden > 1 && values >= least) {
				continue
			}
			if !small {
				a.rows[row].all = ruleComplement
			}
			hidden++
			values += v
		}
	}
}

// totals hides the recordings of a grade where those of all grades would tell how
// many a reader has seen, which is hidden.
func (a *agreementTold) totals() {
	hidden := map[[3]string]bool{}
	least := map[[3]string]int{} // the row of the fewest recordings, if none is hidden
	for row := range a.f.N {
		pair, statistic := a.pair(row), a.f.TextAt(row, "statistic")
		switch {
		case statistic == "kappa":
			hidden[pair] = a.rows[row].counts != ""
		case !strings.HasPrefix(statistic, acceptedPrefix):
		case a.rows[row].all != "" || a.c.rules.Small(int(a.f.Number(row, "n"))):
			least[pair] = -1
		default:
			at, seen := least[pair]
			if !seen || at >= 0 && a.f.Number(row, observations) < a.f.Number(at, observations) {
				least[pair] = row
			}
		}
	}
	for pair, row := range least {
		if hidden[pair] && row >= 0 {
			a.rows[row].counts = ruleComplement
		}
	}
}

// releaseAgreement applies what was decided on a row.
func (c *checker) releaseAgreement(r *row, g group, k concealed) {
	n, values := r.number("n"), r.number(observations)
	if k.all != "" {
		r.hideAll(k.all)
		return
	}
	c.releaseStatistic(r, g)
	if r.gone() {
		return
	}
	if k.sides {
		switch r.text("statistic") {
		case "kappa": // with its interval it tells how many they disagree on
			r.hideInterval(ruleSides)
			r.setCoarse("estimate", kappaStep)
		default:
			r.hideEstimate(ruleSides)
		}
	}
	switch {
	case k.counts != "":
		r.hideCounts(k.counts)
		c.coarseBeside(r, min(n, values))
	case k.observations != "":
		r.hide(partCounts, k.observations, observations)
		c.coarseBeside(r, n)
	}
	if k.persons != "" {
		r.hide(partCounts, k.persons, "n", "n_missing")
	}
}

// kappaStep is how coarse a kappa is beside a hidden number of disagreements.
const kappaStep = 0.01
