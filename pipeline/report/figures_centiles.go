package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"tonocohort/pipeline/report/figure"
	"tonocohort/schema"
)

// centileFigures draws the fitted centiles of the focus over age, a panel a sex.
func centileFigures(s Source, style Style) []Drawing {
	f := s.frame("centiles")
	if f == nil {
		return nil
	}
	var list []Drawing
	for _, set := range texts(f, "set") {
		for _, variable := range texts(f, "variable") {
			if d, ok := centileFigure(s, f, style, set, variable); ok {
				list = append(list, d)
			}
		}
	}
	return list
}

func centileFigure(s Source, f *schema.Frame, style Style, set, variable string) (Drawing, bool) {
	c := figure.Curves{Name: fileName("centiles", variable, set), XLabel: "Age (years)"}
	method, unit, from := "", "", ""
	for _, sex := range texts(f, "sex") {
		p := figure.Panel{}
		n := Confidential
		byStatistic := map[string]*figure.Line{}
		for row := range f.N {
			if f.TextAt(row, "set") != set || f.TextAt(row, "variable") != variable || f.TextAt(row, "sex") != sex {
				continue
			}
			statistic := f.TextAt(row, "statistic")
			if statistic == "n" {
				n = cell(f, row, "estimate", style.Count)
				continue
			}
			weight, ok := centileWeight(statistic)
			if !ok {
				continue
			}
			method, unit = methodOf(f, row, method), f.TextAt(row, "unit")
			l := byStatistic[statistic]
			if l == nil {
				l = &figure.Line{Label: strings.ToUpper(statistic), Weight: weight}
				if weight == 0 {
					l.Low, l.High = []float64{}, []float64{}
				}
				byStatistic[statistic] = l
			}
			l.X, l.Y = append(l.X, f.Number(row, "age_years")), append(l.Y, f.Number(row, "estimate"))
			if weight == 0 {
				l.Low, l.High = append(l.Low, f.Number(row, "low")), append(l.High, f.Number(row, "high"))
			}
		}
		for _, name := range []string{"p95", "p90", "p75", "p50", "p25", "p10", "p5"} {
			if l := byStatistic[name]; l != nil && slices.ContainsFunc(l.Y, func(v float64) bool { return !math.IsNaN(v) }) {
				p.Lines = append(p.Lines, *l)
			}
		}
		if len(p.Lines) == 0 {
			continue
		}
		p.Title = groupName(sex) + ", n = " + n
		if n == Confidential {
			p.Title = groupName(sex) + ", n confidential"
			if summarised := summarisedPeople(s, style, set, variable, sex); summarised != Confidential {
				p.Title = groupName(sex) + ", from n = " + summarised
				from = " From n: people of the set with a value; how many of them are outside the fitted ages is confidential."
			}
		}
		c.Panels = append(c.Panels, p)
	}
	if len(c.Panels) == 0 {
		return Drawing{}, false
	}
	c.YLabel = axisLabel(variable, unit)
	c.Title = fmt.Sprintf("Centiles of %s by age, analysis set %s", Label(variable, ""), set)
	c.Desc = "Fitted centiles P5 to P95 over age, a panel for each sex. The numbers stand in the table of centiles."
	caption := fmt.Sprintf("%s by age: centiles %s of the analysis set %s (%s). Band: 95 %% confidence interval of the median (P50). A curve is drawn only at ages with enough people at and beyond.%s", Label(variable, unit), "P5, P10, P25, P50, P75, P90 and P95", set, method, from)
	return Drawing{c.Draw(), caption}, true
}

// summarisedPeople is the released number of people of a sex with a value, at any
// level of the other strata; Confidential where there is none.
func summarisedPeople(s Source, style Style, set, variable, sex string) string {
	f := s.frame("summary")
	if f == nil {
		return Confidential
	}
	keys, wanted := []string{"set", "variable", "statistic"}, []string{set, variable, "n"}
	for _, stratum := range strataOf(f) {
		keys = append(keys, stratum)
		if stratum == "sex" {
			wanted = append(wanted, sex)
		} else {
			wanted = append(wanted, "all")
		}
	}
	row := newLookup(f, keys...).row(wanted...)
	if row < 0 || !slices.Contains(keys, "sex") {
		return Confidential
	}
	return cell(f, row, "estimate", style.Count)
}

func methodOf(f *schema.Frame, row int, known string) string {
	if known != "" {
		return known
	}
	method, _, _ := strings.Cut(f.TextAt(row, "method"), "; interval")
	return method
}

// centileWeight says how much a centile stands out.
func centileWeight(statistic string) (int, bool) {
	weight, ok := map[string]int{"p50": 0, "p25": 1, "p75": 1, "p10": 2, "p90": 2, "p5": 3, "p95": 3}[statistic]
	return weight, ok
}
