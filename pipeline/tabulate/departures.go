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
	return departures(visits, visits.N, func(int) bool { return true })
}

// departures does so for n visits, those that count.
func departures(visits *schema.Frame, n int, counts func(row int) bool) *schema.Frame {
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
	centres := centresOf(visits, n, counts)
	overall := make([]answer01, visits.N)
	for _, c := range judged {
		cells := visits.Numbers(c.Name)
		for row, v := range cells {
			overall[row] = max(overall[row], answerOf(v))
		}
		centres.write(f, strings.TrimPrefix(c.Name, schema.DepartedPrefix), c.Meaning, counts, func(row int) answer01 { return answerOf(cells[row]) })
	}
	centres.write(f, schema.AnyDeparture, "at least one of the departures above; an answer that is missing counts as none", counts, func(row int) answer01 { return overall[row] })
	return f
}

// answer01 is the answer to whether something departed; the higher of two says
// whether either did.
type answer01 uint8

const (
	unanswered answer01 = iota
	answeredNo
	answeredYes
)

func answerOf(v float64) answer01 {
	switch {
	case math.IsNaN(v):
		return unanswered
	case v == 0:
		return answeredNo
	}
	return answeredYes
}

// centres are the places in which departures are counted: all first, then each
// centre, then the visits of none.
type centres struct {
	names  []string
	visits []int   // by place
	of     []int32 // by row: its place, 0 for none but all
}

func centresOf(visits *schema.Frame, n int, counts func(row int) bool) centres {
	out := centres{names: []string{everyLevel}, visits: []int{n}, of: make([]int32, visits.N)}
	if !visits.Has("centre") {
		return out
	}
	f := codeTexts(visits.Labels("centre"), nil)
	size := make([]int, len(f.levels)+1) // the last is that of no centre
	at := func(row int) int {
		if f.code[row] < 0 {
			return len(f.levels)
		}
		return int(f.code[row])
	}
	for row := range visits.N {
		if counts(row) {
			size[at(row)]++
		}
	}
	place := make([]int32, len(size))
	for i, label := range append(slices.Clone(f.levels), missingLevel) {
		if size[i] > 0 {
			place[i] = int32(len(out.names))
			out.names, out.visits = append(out.names, label), append(out.visits, size[i])
		}
	}
	for row := range visits.N {
		out.of[row] = place[at(row)]
	}
	return out
}

// write writes one row for each place.
func (c centres) write(f *schema.Frame, name, note string, counts func(row int) bool, answer func(row int) answer01) {
	answered, departed := make([]int, len(c.names)), make([]int, len(c.names))
	add := func(place int32, a answer01) {
		answered[place]++
		if a == answeredYes {
			departed[place]++
		}
	}
	for row, place := range c.of {
		a := answer(row)
		if a == unanswered || !counts(row) {
			continue
		}
		if add(0, a); place > 0 {
			add(place, a)
		}
	}
	for k, centre := range c.names {
		row := f.AddRow()
		f.SetText(row, "set", everyone)
		f.SetText(row, "variable", name)
		f.SetText(row, "centre", centre)
		f.SetNumber(row, "departed", float64(departed[k]))
		r := stats.Result{Statistic: "proportion_departed", Estimate: float64(departed[k]) / float64(answered[k]), N: answered[k],
			Missing: c.visits[k] - answered[k], Method: "share of those who answered", Unit: "1", Note: note}
		writeResult(f, row, r, stats.Wilson(departed[k], answered[k], confidence))
	}
}

// UsedVisits counts, over the visits that were used, the departures from the
// protocol and the grades of quality: what the release tells of both.
func UsedVisits(visits *schema.Frame) (departed, quality *schema.Frame) {
	departed, quality = schema.NewFrame(schema.UsedDeparturesTable(), 0), schema.NewFrame(schema.QualityTable(), 0)
	used, n := make([]bool, visits.N), 0
	statuses := visits.Labels("status")
	statuses.Each(func(row int, status string) {
		if used[row] = status == "used"; used[row] {
			n++
		}
	})
	all := departures(visits, n, func(row int) bool { return used[row] })
	for row := range all.N {
		if all.TextAt(row, "centre") == everyLevel {
			to := departed.AddRow()
			departed.CopyRow(to, all, row)
			departed.SetNumber(to, "observations", all.Number(row, "departed"))
		}
	}
	counts, graded := map[string]int{}, 0
	grades := visits.Labels("quality")
	grades.Each(func(row int, grade string) {
		if grade != "" && used[row] {
			counts[grade]++
			graded++
		}
	})
	for _, grade := range sortedKeys(counts) {
		row := quality.AddRow()
		quality.SetText(row, "set", everyone)
		quality.SetText(row, "variable", grade)
		quality.SetNumber(row, "observations", float64(counts[grade]))
		r := stats.Result{Statistic: "proportion_graded", Estimate: float64(counts[grade]) / float64(graded), N: graded,
			Missing: n - graded, Method: "share of those graded", Unit: "1"}
		writeResult(quality, row, r, stats.Wilson(counts[grade], graded, confidence))
	}
	return departed, quality
}
