package study

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"tonocohort/schema"
)

// assemble puts readings and recordings into their visits and these into their
// persons, everything in an order that does not depend on that of the rows.
func (l *loader) assemble() {
	l.buffer, l.subjectAt, l.visitAt, l.recordingAt = nil, rowIndex[string]{}, rowIndex[visitKey]{}, rowIndex[string]{}
	slices.SortFunc(l.recordings, func(a, b Recording) int {
		return cmp.Or(cmp.Compare(a.visit, b.visit), cmp.Compare(a.ID, b.ID))
	})
	r, c := 0, 0
	for i := range l.visits {
		from := r
		for r < len(l.readings) && l.readings[r].visit == int32(i) {
			l.readings[r].visit = 0
			r++
		}
		l.visits[i].Cuff = l.readings[from:r:r]
		from = c
		for c < len(l.recordings) && l.recordings[c].visit == int32(i) {
			l.recordings[c].visit = 0
			c++
		}
		l.visits[i].Recordings = l.recordings[from:c:c]
	}
	l.placeVisits()
	l.noteWeights()
}

// placeVisits sorts the persons and gives each their visits.
func (l *loader) placeVisits() {
	order := make([]int32, len(l.subjects))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortFunc(order, func(a, b int32) int { return cmp.Compare(l.subjects[a].id, l.subjects[b].id) })
	slices.SortStableFunc(l.visits, func(a, b Visit) int { return cmp.Compare(a.subject, b.subject) })
	first := make([]int, len(l.subjects)+1)
	for i := range l.visits {
		first[l.visits[i].subject+1]++
	}
	for i := 1; i < len(first); i++ {
		first[i] += first[i-1]
	}
	date, _ := l.carriedAt("visit_date")
	l.study.Subjects = make([]Subject, 0, len(l.subjects))
	for _, i := range order {
		visits := l.visits[first[i]:first[i+1]:first[i+1]]
		sortVisits(visits, date)
		for j := range visits {
			visits[j].subject, visits[j].line = 0, 0
		}
		sex := l.ofSubject(i, l.subjectsTable.column("sex")).Text
		l.study.Subjects = append(l.study.Subjects, Subject{ID: l.subjects[i].id, Sex: sex, Visits: visits})
	}
}

// sortVisits orders the visits of a person by date where each has one, else by
// age where each has one, else by id. The date is the carried cell at that
// position, -1 where the study has none.
func sortVisits(visits []Visit, date int) {
	undated := date < 0 || slices.ContainsFunc(visits, func(v Visit) bool { return v.Cells[date].Text == "" })
	ageless := slices.ContainsFunc(visits, func(v Visit) bool { return math.IsNaN(v.AgeYears) })
	slices.SortFunc(visits, func(a, b Visit) int {
		by := 0
		switch {
		case !undated:
			by = strings.Compare(a.Cells[date].Text, b.Cells[date].Text)
		case !ageless:
			by = cmp.Compare(a.AgeYears, b.AgeYears)
		}
		return cmp.Or(by, compareNatural(a.ID, b.ID), strings.Compare(a.ID, b.ID))
	})
}

// compareNatural compares texts so that runs of digits count as numbers: v2
// comes before v10.
func compareNatural(a, b string) int {
	for a != "" && b != "" {
		if isDigit(a[0]) && isDigit(b[0]) {
			x, restA := cutNumber(a)
			y, restB := cutNumber(b)
			if by := cmp.Or(cmp.Compare(len(x), len(y)), strings.Compare(x, y)); by != 0 {
				return by
			}
			a, b = restA, restB
			continue
		}
		if a[0] != b[0] {
			return cmp.Compare(a[0], b[0])
		}
		a, b = a[1:], b[1:]
	}
	return cmp.Compare(len(a), len(b))
}

// cutNumber splits the leading digits off, without leading zeros.
func cutNumber(s string) (digits, rest string) {
	i := 0
	for i < len(s) && isDigit(s[i]) {
		i++
	}
	return strings.TrimLeft(s[:i], "0"), s[i:]
}

// Half of a population of adults has a body mass index between these (kg/m²,
// own limits); a median outside them says that a unit is wrong.
const (
	lowMedianBMI  = 15
	highMedianBMI = 42
)

// noteWeights looks for weights in the wrong unit, which one by one are
// plausible: 170 may be kilograms or pounds.
func (l *loader) noteWeights() {
	height, _ := l.carriedAt("height_cm")
	weight, ok := l.carriedAt("weight_kg")
	if !ok || height < 0 {
		return
	}
	var values []float64
	for i := range l.study.Subjects {
		for _, v := range l.study.Subjects[i].Visits {
			if bmi := bodyMassIndex(v.Cells[height].Number, v.Cells[weight].Number); !math.IsNaN(bmi) {
				values = append(values, bmi)
			}
		}
	}
	if len(values) < 5 {
		return
	}
	slices.Sort(values)
	middle := values[len(values)/2]
	if middle >= lowMedianBMI && middle <= highMedianBMI {
		return
	}
	issue := schema.Issue{Size: schema.SizeNote, File: l.subjectsTable.file, Name: "weight_kg", Code: "weights_suspect",
		Message: fmt.Sprintf("the median body mass index is %.1f kg/m²: is the unit of weight or height right?", middle)}
	if !l.subjectsTable.has("weight_kg") {
		issue.File = l.visitsTable.file
	}
	for _, c := range conversionsInto("kg") {
		if bmi := middle * c.Scale; l.study.Settings.Units["weight_kg"] == "" && bmi >= lowMedianBMI && bmi <= highMedianBMI {
			issue.Hint = fmt.Sprintf("looks like %s: set units: {weight_kg: %s} if the whole column is", c.Word, c.From)
			break
		}
	}
	l.log.add(issue)
}

// carriedAt returns the position of a carried column, -1 where there is none.
func (l *loader) carriedAt(name string) (int, bool) {
	i := slices.IndexFunc(l.study.Carried, func(c schema.Column) bool { return c.Name == name })
	return i, i >= 0
}
