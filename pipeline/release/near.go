package release

import (
	"math"
	"slices"
	"strings"

	"tonocohort/schema"
)

// A table with people of its own (a reference, a standardised estimate, a change)
// counts some of those whom the summary counts: those of the declared ages, with a
// class, seen twice. A number a few away from one of the same stratum tells the few
// who are left out.

// nearNumbers decides on the numbers of such a table: one after another is told, in
// the order of its rows, unless one of the same stratum and variable lies a few away.
func (c *checker) nearNumbers(f *schema.Frame) {
	told := map[string][]float64{}
	last, near := "", false
	for row := range f.N {
		if f.Missing(row, "n") || ageGrouped(f, row) {
			continue
		}
		key := nearKey(f, row)
		g, ok := c.group(f, row)
		if c.near[key] || !ok {
			continue
		}
		n, missing := f.Number(row, "n"), f.Number(row, "n_missing")
		numbers := []float64{n}
		if missing > 0 {
			numbers = append(numbers, n+missing)
		}
		place := f.TextAt(row, "variable") + "\x00" + g.key()
		if place != last {
			last, near = place, false
			if told[place] == nil {
				told[place] = c.besideNumbers(f.TextAt(row, "variable"), g)
			}
		}
		near = slices.ContainsFunc(numbers, func(m float64) bool { return c.beside(m, told[place]) })
		if near {
			c.near[key] = true
			continue
		}
		for _, m := range numbers {
			if !slices.Contains(told[place], m) {
				told[place] = append(told[place], m)
			}
		}
	}
}

// besideNumbers lists how many people are in a group, and have a value.
func (c *checker) besideNumbers(variable string, g group) []float64 {
	atoms, ok := c.layout.atoms(g)
	if !ok {
		return nil
	}
	list := []float64{float64(c.headcount(atoms, nil))}
	if c.People.Repeated { // the table counts either
		list = append(list, float64(sum(atoms, c.layout.sizes)))
	}
	if v, known := c.variable(variable); known {
		list = append(list, float64(sum(atoms, v.counted)))
	}
	return list
}

// nearKey tells the rows of the same people of a table.
func nearKey(f *schema.Frame, row int) string {
	var key strings.Builder
	key.WriteString(f.Table.Name)
	for _, column := range f.Table.Columns {
		if column.Name == "statistic" {
			break
		}
		if column.Textual() && column.Name != "age_group" && column.Name != "parameter" {
			key.WriteString("\x00" + f.TextAt(row, column.Name))
		}
	}
	return key.String()
}

// ageGrouped reports a row about one of the groups of age of a reference: together
// they are its people.
func ageGrouped(f *schema.Frame, row int) bool {
	return f.Table.Name == centileFitTable && f.TextAt(row, ageGroup) != everyLevel
}

const (
	centileFitTable = "centile_fit"
	ageGroup        = "age_group"
)

// fewLeftOut reports a row whose number, or that of its groups of age together,
// tells few people.
func (c *checker) fewLeftOut(f *schema.Frame, row int) bool {
	if len(c.near) > 0 && !c.known(f) && c.near[nearKey(f, row)] {
		return true
	}
	return ageGrouped(f, row) && c.references[referenceKey(f, row)]
}

func referenceKey(f *schema.Frame, row int) string {
	return f.TextAt(row, "set") + "\x00" + f.TextAt(row, "variable") + "\x00" + f.TextAt(row, "sex")
}

// hiddenReferences notes the references of which no table may tell the number of
// people.
func (c *checker) hiddenReferences() {
	for _, f := range c.Tables {
		if !strings.HasPrefix(f.Table.Name, "centile") {
			continue
		}
		for row := range f.N {
			if ageGrouped(f, row) || f.Missing(row, "n") {
				continue
			}
			g, ok := c.group(f, row)
			hidden := ok && c.stateOf(f.TextAt(row, "variable"), g).hides >= counts || c.otherState(f, row).hides >= counts
			if hidden || c.few(int(f.Number(row, "n_missing"))) || len(c.near) > 0 && c.near[nearKey(f, row)] {
				c.references[referenceKey(f, row)] = true
			}
		}
	}
}

// narrowGroup writes the ages of the outermost groups of a reference as those that
// are released of it: their ends are the ages of the youngest and the oldest.
func (c *checker) narrowGroup(r *row) {
	if !ageGrouped(r.f, r.at) {
		return
	}
	span := c.spanOf(r.f, r.at)
	low, high, ok := parseAges(r.text(ageGroup))
	if !ok || !span.ok {
		r.f.SetText(r.at, ageGroup, "")
		return
	}
	if low >= span.low && high <= span.high {
		return
	}
	r.f.SetText(r.at, ageGroup, plainAge(math.Max(low, span.low))+"-"+plainAge(math.Min(high, span.high)))
	r.log.add(r.f, r.at, ruleAges, ageGroup)
}
