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
	rows  []int
}

// groups are the sexes of which there are persons, in the order in which they were
// declared, and how many persons cannot be drawn.
func (b ByAge) groups() (list []sexGroup, left int) {
	all := make([]sexGroup, len(b.Sexes)+1)
	for i, sex := range b.Sexes {
		all[i].label = groupName(sex)
	}
	all[len(b.Sexes)].label = sexless
	for row, sex := range b.Sex {
		if math.IsNaN(b.Age[row]) || math.IsNaN(b.Value[row]) {
			left++
			continue
		}
		if sex < 0 {
			sex = int8(len(b.Sexes))
		}
		all[sex].rows = append(all[sex].rows, row)
	}
	for _, g := range all {
		if len(g.rows) > 0 {
			list = append(list, g)
		}
	}
	return list, left
}

// byAge draws each person's value over age: in one panel with a sign for each sex,
// or, where there are too many for signs, a panel for each sex.
func (p Persons) byAge() []Drawing {
	b := p.ByAge
	groups, left := b.groups()
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
		squares = squares || len(g.rows) > figure.MostPoints
	}
	words += "; one point per person."
	if squares {
		words += " Where persons are too many for that, filled squares: as many as their area says, one alone is a small square."
	}
	switch {
	case n > figure.MostPoints:
		for i, g := range groups {
			cloud := figure.Cloud{Title: fmt.Sprintf("%s, n = %d persons", g.label, len(g.rows)), Levels: levels}
			for _, row := range g.rows {
				cloud.X, cloud.Y, cloud.Of = append(cloud.X, b.Age[row]), append(cloud.Y, b.Value[row]), append(cloud.Of, int8(i))
			}
			c.Panels = append(c.Panels, cloud)
		}
	default:
		of := make([]int8, len(b.Sex))
		for i, g := range groups {
			c.Series = append(c.Series, fmt.Sprintf("%s, n = %d", g.label, len(g.rows)))
			for _, row := range g.rows {
				of[row] = int8(i)
			}
		}
		c.Panels = []figure.Cloud{{Title: fmt.Sprintf("n = %d persons", n), X: b.Age, Y: b.Value, Of: of, Levels: levels}}
	}
	words += " Persons who are analysed, one visit each."
	if left > 0 {
		words += fmt.Sprintf(" Not drawn, without age or value: %d.", left)
	}
	return []Drawing{{c.Draw(), words}}
}
