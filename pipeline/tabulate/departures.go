package tabulate

import (
	"math"
	"slices"
	"strings"

	"tonocohort/schema"
	"tonocohort/stats"
)

// Departures counts the departures from the protocol over all visits, by the
// column that departs and by centre. The share is of those who answered; for any
// departure, of the visits with an answer to at least one question.
func Departures(visits *schema.Frame) *schema.Frame {
	f := schema.NewFrame(schema.DeparturesTable(), 0)
	var judged []schema.Column
	for _, c := range visits.Table.Columns {
		if strings.HasPrefix(c.Name, schema.DepartedPrefix) {
			judged = append(judged, c)
		}
	}
	if len(judged) == 0 {
		return f
	}
	overall := missingNumbers(visits.N)
	write := func(name, note string, cells []float64) {
		for _, g := range centreGroups(visits) {
			writeDepartures(f, name, g, cells, note)
		}
	}
	for _, c := range judged {
		cells := visits.Numbers(c.Name)
		for row, v := range cells {
			if math.IsNaN(overall[row]) || v > overall[row] {
				overall[row] = v
			}
		}
		write(strings.TrimPrefix(c.Name, schema.DepartedPrefix), c.Meaning, cells)
	}
	write(schema.AnyDeparture, "at least one of the departures above; an answer that is missing counts as none", overall)
	return f
}

// visitGroup is a centre, or all, with its rows.
type visitGroup struct {
	name string
	rows []int
}

// centreGroups lists all visits and then those of each centre.
func centreGroups(visits *schema.Frame) []visitGroup {
	every := visitGroup{name: everyLevel, rows: make([]int, visits.N)}
	for row := range every.rows {
		every.rows[row] = row
	}
	groups := []visitGroup{every}
	if !visits.Has("centre") {
		return groups
	}
	rows := map[string][]int{}
	for row, name := range visits.Texts("centre") {
		rows[name] = append(rows[name], row)
	}
	for _, name := range sortedKeys(rows) {
		if name != "" {
			groups = append(groups, visitGroup{name, rows[name]})
		}
	}
	if unplaced := rows[""]; len(unplaced) > 0 {
		groups = append(groups, visitGroup{missingLevel, unplaced})
	}
	return slices.Clip(groups)
}

func writeDepartures(f *schema.Frame, name string, g visitGroup, cells []float64, note string) {
	answered, departed := 0, 0
	for _, row := range g.rows {
		if v := cells[row]; !math.IsNaN(v) {
			answered++
			departed += int(v)
		}
	}
	row := f.AddRow()
	f.SetText(row, "set", everyone)
	f.SetText(row, "variable", name)
	f.SetText(row, "centre", g.name)
	f.SetNumber(row, "departed", float64(departed))
	r := stats.Result{Statistic: "proportion_departed", Estimate: float64(departed) / float64(answered), N: answered,
		Missing: len(g.rows) - answered, Method: "share of those who answered", Unit: "1", Note: note}
	writeResult(f, row, r, stats.Wilson(departed, answered, confidence))
}

// UsedVisits counts, over the visits that were used, the departures from the
// protocol and the grades of quality: what the release tells of both.
func UsedVisits(visits *schema.Frame) (departures, quality *schema.Frame) {
	departures, quality = schema.NewFrame(schema.UsedDeparturesTable(), 0), schema.NewFrame(schema.QualityTable(), 0)
	used := schema.NewFrame(visits.Table, visits.N)
	for row := range visits.N {
		if visits.TextAt(row, "status") == "used" {
			used.CopyRow(used.AddRow(), visits, row)
		}
	}
	all := Departures(used)
	for row := range all.N {
		if all.TextAt(row, "centre") == everyLevel {
			to := departures.AddRow()
			departures.CopyRow(to, all, row)
			departures.SetNumber(to, "observations", all.Number(row, "departed"))
		}
	}
	counts, graded := map[string]int{}, 0
	for _, grade := range used.Texts("quality") {
		if grade != "" {
			counts[grade]++
			graded++
		}
	}
	for _, grade := range sortedKeys(counts) {
		row := quality.AddRow()
		quality.SetText(row, "set", everyone)
		quality.SetText(row, "variable", grade)
		quality.SetNumber(row, "observations", float64(counts[grade]))
		r := stats.Result{Statistic: "proportion_graded", Estimate: float64(counts[grade]) / float64(graded), N: graded,
			Missing: used.N - graded, Method: "share of those graded", Unit: "1"}
		writeResult(quality, row, r, stats.Wilson(counts[grade], graded, confidence))
	}
	return departures, quality
}
