package report

import (
	"fmt"
	"math"
	"strings"

	"tonocohort/pipeline/report/figure"
)

// sexless is what stands for a sex that was not recorded.
const sexless = "Sex not recorded"

// sexGroup is the persons of one sex who have age and value.
type sexGroup struct {
	label string
	n     int
}

// groups are the sexes of which there are persons, in the order in which they were
// declared, with the place of each person in them, and how many persons cannot be drawn.
func (b ByAge) groups() (list []sexGroup, of []int8, left int) {
	counts := make([]int, len(b.Sexes)+1) // the last: without a sex
	each := func(visit func(row, sex int)) {
		for row, sex := range b.Sex {
			switch {
			case math.IsNaN(b.Age[row]) || math.IsNaN(b.Value[row]):
			case sex < 0:
				visit(row, len(b.Sexes))
			default:
				visit(row, int(sex))
			}
		}
	}
	left = len(b.Sex)
	each(func(_, sex int) {
		counts[sex]++
		left--
	})
	place := make([]int8, len(counts))
	for sex, n := range counts {
		if n == 0 {
			continue
		}
		place[sex] = int8(len(list))
		label := sexless
		if sex < len(b.Sexes) {
			label = groupName(b.Sexes[sex])
		}
		list = append(list, sexGroup{label, n})
	}
	of = make([]int8, len(b.Sex))
	each(func(row, sex int) { of[row] = place[sex] })
	return list, of, left
}

// byAge draws each person's value over age: in one panel with a sign for each sex,
// or, where there are too many for signs, a panel for each sex.
func (p Persons) byAge() []Drawing {
	b := p.ByAge
	groups, of, left := b.groups()
	if len(groups) == 0 {
		return nil
	}
	var levels []figure.LevelLine
	if at, ok := p.Thresholds[b.Variable]; ok {
		levels = []figure.LevelLine{{At: at, Label: thresholdLabel(at, b.Unit), Threshold: true}}
	}
	n := len(b.Sex) - left
	c := figure.Scatter{Name: fileName("age", b.Variable), Title: Label(b.Variable, "") + " by age, each person", Desc: "One point per person over age, told apart by sex.",
		XLabel: axisLabel("age_years", "years"), YLabel: axisLabel(b.Variable, b.Unit)}
	signs := []string{"Circles", "crosses", "triangles", "squares"}
	words, squares := "", false
	for i, g := range groups {
		if i > 0 {
			words += ", "
		}
		words += fmt.Sprintf("%s: %s", signs[i%len(signs)], strings.ToLower(g.label))
		squares = squares || g.n > figure.MostPoints
	}
	words += "; one point per person."
	if squares {
		words += " Where persons are too many for that, filled squares: as many as their area says, one alone is a small square."
	}
	switch {
	case n > figure.MostPoints:
		for i, g := range groups {
			c.Panels = append(c.Panels, figure.Cloud{Title: fmt.Sprintf("%s, n = %d persons", g.label, g.n),
				X: b.Age, Y: b.Value, Of: of, Part: true, Series: int8(i), Levels: levels})
		}
	default:
		for _, g := range groups {
			c.Series = append(c.Series, fmt.Sprintf("%s, n = %d", g.label, g.n))
		}
		c.Panels = []figure.Cloud{{Title: fmt.Sprintf("n = %d persons", n), X: b.Age, Y: b.Value, Of: of, Levels: levels}}
	}
	words += " Persons who are analysed, one visit each."
	if left > 0 {
		words += fmt.Sprintf(" Not drawn, without age or value: %d.", left)
	}
	return []Drawing{{c.Draw(), words}}
}
