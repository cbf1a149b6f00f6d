package study

import (
	"fmt"
	"math"
	"slices"
	"time"

	"tonocohort/schema"
)

// carrier says where a carried column comes from: a column of the visits
// table, else of the subjects table, or a formula, or the protocol.
type carrier struct {
	column         schema.Column
	visit, subject int // positions among the tables' columns; -1: not there
	formula        *derived
	judges         string // the carried column whose departure from the protocol it is
}

// planCarried decides which columns subject_visits carries, and reports
// formulas whose inputs are absent.
func (l *loader) planCarried(t *tableReader) {
	s := l.subjectsTable
	names := []string{"sex", "age_years", "visit_date", "height_cm", "weight_kg", "centre", "family_id", "sampling_weight", "stratum", "cluster", "treated"}
	names = append(names, "posture")
	names = append(names, protocolNumbers()...)
	names = append(names, "vasoactive", "legs_crossed")
	for _, c := range l.study.Settings.Covariates {
		names = append(names, c.Name)
	}
	for _, name := range names {
		c := carrier{visit: -1, subject: -1}
		if i := t.column(name); t.has(name) || name == "age_years" {
			c.visit, c.column = i, t.columns[i].Column
		}
		if i := s.column(name); i >= 0 && s.columns[i].at >= 0 || name == "sex" {
			c.subject, c.column = i, s.columns[i].Column
		}
		if c.visit < 0 && c.subject < 0 || slices.ContainsFunc(l.carry, func(other carrier) bool { return other.column.Name == name }) {
			continue
		}
		c.column.Key, c.column.Required = false, false
		l.carry = append(l.carry, c)
	}
	for i, name := range l.study.Settings.Derive {
		if f := derivedByName(name); f != nil && slices.Index(l.study.Settings.Derive, name) == i {
			l.planDerived(f, fmt.Sprintf("derive[%d]", i))
		}
	}
	l.planDepartures()
	for _, c := range l.carry {
		l.study.Carried = append(l.study.Carried, c.column)
	}
}

// planDepartures carries a column for each answer that the protocol judges.
func (l *loader) planDepartures() {
	for _, c := range l.carry {
		if !slices.Contains(protocolNames(), c.column.Name) {
			continue
		}
		if column, judged := departureColumn(l.study.Settings.Protocol, c.column); judged {
			l.carry = append(l.carry, carrier{column: column, visit: -1, subject: -1, judges: c.column.Name})
		}
	}
}

func (l *loader) planDerived(f *derived, path string) {
	var names []string
	for _, c := range l.carry {
		names = append(names, c.column.Name)
	}
	for _, need := range f.missingNeeds(names) {
		l.settings.fault(path, f.column.Name, "derive_input_absent", "needs the column "+need+", which no table has",
			"add it (and declare it under covariates, if it is not of the contract), or leave the formula out")
	}
	l.carry = append(l.carry, carrier{column: f.column, visit: -1, subject: -1, formula: f})
}

func (l *loader) readVisits(t *tableReader) {
	l.visitsTable = t
	if l.subjectsTable == nil {
		t.broken = true
		return // nobody to place a visit with; reported
	}
	if !t.has("age_years") && !(t.has("visit_date") && l.subjectsTable.has("birth_date")) {
		t.structural(1, 0, "age_years", "missing_column", "no age: the table has no column of this name", "add it, or visit_date here and birth_date in subjects")
	}
	l.planCarried(t)
	subjectID, visitID := t.column("subject_id"), t.column("visit_id")
	age := t.column("age_years")
	row := make([]Cell, len(t.columns)) // of the visits table
	l.visits = make([]Visit, 0, t.hint)
	for t.next() {
		person, ok := l.subject(t, subjectID, "visit")
		if !ok {
			continue
		}
		key, ok := t.key(visitID, "visit")
		if !ok {
			continue
		}
		id := t.columns[visitID].keep(key.Text)
		t.visitID = id
		if first, twice := l.visitAt.find(visitKey{person, id}); twice {
			t.duplicate(visitID, l.visits[first].line)
			continue
		}
		for i := range t.columns {
			if i != subjectID && i != visitID {
				row[i] = t.cell(i)
			}
		}
		v := Visit{ID: id, subject: person, line: int32(t.rows.line(0))}
		l.age(t, row, &l.subjects[person])
		l.capAge(t, &row[age])
		v.AgeYears = row[age].Number
		v.Cells = l.carried(row, person)
		v.Departures = l.departed(v.Cells)
		l.visits = append(l.visits, v)
		l.visitAt.add(int32(len(l.visits) - 1))
	}
}

// age reckons the age from the dates where the row gives none, and compares
// the dates with each other and with the age.
func (l *loader) age(t *tableReader, row []Cell, person *subjectRow) {
	ageAtColumn, dateColumn := t.column("age_years"), t.column("visit_date")
	given, date := row[ageAtColumn].Number, row[dateColumn].Text
	if date == "" || person.birth.IsZero() {
		return
	}
	day, _ := time.Parse(time.DateOnly, date) // judged before
	reckoned := ageAt(person.birth, day)
	if math.IsNaN(reckoned) {
		t.lose(dateColumn, date, fault{"visit_before_birth", "the visit lies before the birth_date of the person", "one of the two dates is wrong"})
		row[dateColumn].Text = ""
		return
	}
	if !math.IsNaN(given) {
		if math.Abs(given-reckoned) > 1.01 {
			l.log.note(noteKey{t.file, "age_years", "age_disagrees", t.columns[ageAtColumn].at + 1}, t.rows.line(0),
				"more than a year from the age by birth_date and visit_date; age_years is used", "")
		}
		return
	}
	if t.raw(ageAtColumn) != "" {
		return // given, but not usable: reported, and missing
	}
	if c := &t.columns[ageAtColumn]; !c.InRange(reckoned) {
		t.lose(dateColumn, date, fault{"age_out_of_range", "the age by birth_date and visit_date is outside 0 to 120 years", "one of the two dates is wrong"})
		return
	}
	row[ageAtColumn].Number = reckoned
}

// capAge lumps the oldest people, where the study wants that: before anything
// is derived from the age, so that nothing gives it away.
func (l *loader) capAge(t *tableReader, age *Cell) {
	if top := l.study.Settings.Privacy.AgeTop; top > 0 && age.Number > top {
		age.Number = top
		l.log.note(noteKey{t.file, "age_years", "age_capped", 0}, 0, "older than privacy.age_top: given that age", "")
	}
}

// carried fills the carried cells of a visit; those of the visit go before
// those of the person.
func (l *loader) carried(row []Cell, person int32) []Cell {
	width := len(l.carry)
	if len(l.slab) < width {
		l.slab = make([]Cell, 1024*width)
	}
	cells := l.slab[:width:width]
	l.slab = l.slab[width:]
	for i, c := range l.carry {
		cells[i] = Cell{Number: math.NaN()}
		if c.visit >= 0 {
			cells[i] = row[c.visit]
		}
		if c.subject >= 0 && isMissing(cells[i], c.column) {
			cells[i] = l.ofSubject(person, c.subject)
		}
	}
	for i, c := range l.carry {
		if c.judges != "" {
			answer, _ := l.find(cells, c.judges)
			cells[i].Number = departed(l.study.Settings.Protocol, c.judges, answer)
		}
		if c.formula == nil {
			continue
		}
		v := c.formula.compute(func(name string) Cell {
			cell, ok := l.find(cells, name)
			if !ok {
				return Cell{Number: math.NaN()}
			}
			return cell
		})
		if !math.IsInf(v, 0) {
			cells[i].Number = v
		}
	}
	return cells
}

func isMissing(cell Cell, c schema.Column) bool {
	if c.Numeric() {
		return math.IsNaN(cell.Number)
	}
	return cell.Text == ""
}

// find returns the carried cell of the named column.
func (l *loader) find(cells []Cell, name string) (Cell, bool) {
	for i := range l.carry {
		if l.carry[i].column.Name == name {
			return cells[i], true
		}
	}
	return Cell{}, false
}

func (l *loader) departed(cells []Cell) []string {
	return departures(l.study.Settings.Protocol, func(name string) (Cell, bool) { return l.find(cells, name) })
}
