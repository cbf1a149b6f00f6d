package tabulate

import (
	"math"

	"tonocohort/schema"
)

// ByAge is a variable of each person over age, one visit each. Sex is a place in
// Sexes, −1 where it was not recorded; numbers that are missing are NaN.
type ByAge struct {
	Variable, Unit string
	Sexes          []string
	Sex            []int8
	Age, Value     []float64
}

// PulsePressureByAge is the central pulse pressure of everybody who is analysed, at
// the visit that the plan keeps; where it keeps all, at a person's first. Without
// ages there is nothing.
func PulsePressureByAge(visits *schema.Frame, plan schema.Analysis) ByAge {
	const variable = "central_pp_mmhg"
	b := ByAge{Variable: variable, Unit: visits.Column(variable).Unit}
	if !visits.Has("age_years") {
		return b
	}
	if plan.Visit == allVisits {
		plan.Visit = firstVisit
	}
	c := newCohort(visits, plan, newFlow(), &reporter{})
	sex := factor{}
	if visits.Has("sex") {
		sex = c.factor("sex")
		b.Sexes = sex.levels
	}
	n := len(c.rows)
	b.Sex, b.Age, b.Value = make([]int8, n), make([]float64, n), make([]float64, n)
	for i, row := range c.rows {
		b.Sex[i], b.Age[i], b.Value[i] = -1, math.NaN(), math.NaN()
		if sex.code != nil && sex.code[row] <= math.MaxInt8 {
			b.Sex[i] = int8(sex.code[row])
		}
	}
	at := 0
	visits.EachNumbers(func(first int, cells [][]float64) {
		for ; at < n && int(c.rows[at]) < first+len(cells[0]); at++ {
			row := int(c.rows[at]) - first
			b.Age[at], b.Value[at] = cells[0][row], cells[1][row]
		}
	}, "age_years", variable)
	return b
}
