package report

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// flowTable writes the participant flow (STROBE item 13): at every stage those
// who came in are those who went on and those who left, each for one reason.
func flowTable(s Source, style Style) *Table {
	f := s.frame("flow")
	if f == nil {
		return nil
	}
	t := &Table{Name: "table_flow", Title: "Participant flow", Stub: []string{"Counted", "Stage"}, Columns: []string{"In", "Reason", "Left", "Out"}}
	t.note("STROBE item 13. At every stage in = left + out; whoever left stands under the first reason. Stages and reasons of few are shown together.")
	last := -1.0
	for row := range f.N {
		in := cell(f, row, "in", style.Count)
		out := cell(f, row, "out", style.Count)
		stage := plainStage(f.TextAt(row, "stage"))
		if order := f.Number(row, "order"); order == last {
			in, out, stage = "", "", ""
		} else {
			last = order
		}
		reason := reasonWords(f.TextAt(row, "reason"))
		left := cell(f, row, "n", style.Count)
		if f.Missing(row, "n") && f.TextAt(row, "suppressed") != "" {
			left = Confidential
		}
		t.add([]string{strings.ReplaceAll(f.TextAt(row, "unit"), "_", " "), stage}, in, reason, left, out)
	}
	return t
}

func plainStage(name string) string {
	if set, ok := strings.CutPrefix(name, "set:"); ok {
		return "analysis set " + set
	}
	return strings.ReplaceAll(name, "_", " ")
}

// participantsTable writes Table 1: who was measured.
func participantsTable(s Source, style Style) *Table {
	f := s.frame("characteristics")
	if f == nil {
		return nil
	}
	by := ""
	groups := []string{"all"}
	if strata := strataOf(f); len(strata) > 0 {
		by = strata[0]
		groups = texts(f, by)
	}
	t := &Table{Name: "table_participants", Title: "Characteristics of the participants", Stub: []string{"Analysis set", "Characteristic"}}
	for _, g := range groups {
		t.Columns = append(t.Columns, groupName(g))
	}
	keys := []string{"set", "variable", "statistic"}
	if by != "" {
		keys = append(keys, by)
	}
	p := participants{s: s, style: style, t: t, at: newLookup(f, keys...), groups: groups, by: by, units: unitsOf(f), sd: spreads(s)}
	for _, set := range texts(f, "set") {
		p.people(set)
		for _, variable := range texts(f, "variable") {
			p.variable(set, variable)
		}
	}
	t.note("Mean (SD), median [25th to 75th percentile] or n (% of those whose level is known). Each characteristic is followed by the number with and without a value.")
	t.weighted(s)
	return t
}

func groupName(level string) string {
	if level == "all" {
		return "All"
	}
	return strings.ToUpper(level[:1]) + level[1:]
}

type participants struct {
	s      Source
	style  Style
	t      *Table
	at     lookup
	groups []string
	by     string
	units  map[string]string
	sd     map[string]float64
}

func (p *participants) row(set, variable, statistic, group string) int {
	if p.by == "" {
		return p.at.row(set, variable, statistic)
	}
	return p.at.row(set, variable, statistic, group)
}

func (p *participants) value(set, variable, statistic, group string, write func(float64) string) string {
	return cell(p.at.f, p.row(set, variable, statistic, group), "estimate", write)
}

// people writes how many the set holds: those with and without a value of
// whatever characteristic shows both.
func (p *participants) people(set string) {
	var cells []string
	for _, g := range p.groups {
		text := Confidential
		for _, variable := range texts(p.at.f, "variable") {
			row := p.row(set, variable, "n", g)
			if row < 0 {
				continue
			}
			if n := p.at.f.Number(row, "n") + p.at.f.Number(row, "n_missing"); !math.IsNaN(n) {
				text = p.style.Count(n)
				break
			}
		}
		cells = append(cells, text)
	}
	p.t.add([]string{set, "People, n"}, cells...)
}

// variable writes the lines of one characteristic.
func (p *participants) variable(set, variable string) {
	if p.row(set, variable, "n", p.groups[0]) < 0 {
		return
	}
	label := Label(variable, p.units[variable])
	if _, number := p.units[variable]; number {
		p.number(set, variable, label)
	} else {
		p.levels(set, variable, label)
	}
	var cells []string
	for _, g := range p.groups {
		n := p.value(set, variable, "n", g, p.style.Count)
		missing := p.value(set, variable, "n_missing", g, p.style.Count)
		cells = append(cells, n+" / "+missing)
	}
	p.t.add([]string{set, "  with / without a value, n"}, cells...)
}

func (p *participants) number(set, variable, label string) {
	decimals := Decimals(p.sd[variable])
	write := func(v float64) string { return p.style.Decimal(v, decimals) }
	median := slices.Contains(p.s.Settings.Analysis.Tables.Median, variable)
	var cells []string
	for _, g := range p.groups {
		if median {
			low, high := p.value(set, variable, "p25", g, write), p.value(set, variable, "p75", g, write)
			quartiles := low + " to " + high
			if low == high && low == Confidential {
				quartiles = Confidential // one sign for both
			}
			cells = append(cells, pair(p.value(set, variable, "median", g, write), quartiles, "[", "]"))
			continue
		}
		cells = append(cells, pair(p.value(set, variable, "mean", g, write), p.value(set, variable, "sd", g, write), "(", ")"))
	}
	kind := "mean (SD)"
	if median {
		kind = "median [quartiles]"
	}
	p.t.add([]string{set, fmt.Sprintf("%s, %s", label, kind)}, cells...)
}

func (p *participants) levels(set, variable, label string) {
	p.t.add([]string{set, label + ", n (%)"}, make([]string, len(p.groups))...)
	for _, statistic := range texts(p.at.f, "statistic") {
		level, ok := strings.CutPrefix(statistic, "count_")
		if !ok || p.row(set, variable, statistic, p.groups[0]) < 0 {
			continue
		}
		var cells []string
		for _, g := range p.groups {
			share := p.value(set, variable, "proportion_"+level, g, func(v float64) string { return p.style.Percent(v, 1) })
			cells = append(cells, pair(p.value(set, variable, statistic, g, p.style.Count), share, "(", ")"))
		}
		p.t.add([]string{set, "  " + level}, cells...)
	}
}
