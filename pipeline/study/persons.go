package study

import (
	"fmt"
	"strings"
	"time"

	"tonocohort/schema"
)

// readWithdrawn reads who must be read no further. A row that names nobody is
// structural: a withdrawal must not be missed.
func (l *loader) readWithdrawn(t *tableReader) {
	id := t.column("subject_id")
	for t.next() {
		text := t.raw(id)
		f := scanIdentifier(text)
		if text == "" {
			f = &fault{code: "empty_key"}
		}
		if f != nil {
			issue := t.issue(id, schema.SizeStructural, text, *f)
			issue.Message, issue.Hint = "a withdrawal that names nobody", "write the id as it stands in subjects"
			l.log.add(issue)
			continue
		}
		if first, twice := l.withdrawn[text]; twice {
			l.log.add(t.issue(id, schema.SizeStructural, text, fault{"duplicate_key", firstLine(int32(first)), "keep one"}))
			continue
		}
		l.withdrawn[strings.Clone(text)] = t.rows.line(0)
	}
}

// gone reports whether the row belongs to a person who has withdrawn, whose
// cells are not looked at.
func (l *loader) gone(t *tableReader, id int) bool {
	c := t.columns[id]
	if len(l.withdrawn) == 0 || c.at < 0 {
		return false
	}
	text, _, _ := trim(t.cells[c.at])
	if to, ok := c.recode[text]; ok {
		text = to
	}
	if _, withdrawn := l.withdrawn[text]; !withdrawn {
		return false
	}
	t.count.Withdrawn++
	return true
}

func (l *loader) readSubjects(t *tableReader) {
	l.subjectsTable = t
	id, birth := t.column("subject_id"), t.column("birth_date")
	found := map[string]bool{}
	l.subjects = make([]subjectRow, 0, t.hint)
	l.planSubjectCells(t)
	l.subjectCells = make([]Cell, 0, t.hint*l.subjectWidth)
	for t.next() {
		if l.gone(t, id) {
			found[strings.Clone(t.raw(id))] = true
			continue
		}
		key, ok := t.key(id, "subject")
		if !ok {
			continue
		}
		t.subjectID = strings.Clone(key.Text)
		if first, twice := l.subjectAt.find(t.subjectID); twice {
			t.duplicate(id, l.subjects[first].line)
			continue
		}
		row := subjectRow{id: t.subjectID, line: int32(t.rows.line(0))}
		for i := range t.columns {
			if i == id {
				continue
			}
			cell := t.cell(i)
			if i == birth {
				row.birth, _ = time.Parse(time.DateOnly, cell.Text) // zero where missing
			}
			if l.subjectCell[i] >= 0 {
				l.subjectCells = append(l.subjectCells, cell)
			}
		}
		l.subjects = append(l.subjects, row)
		l.subjectAt.add(int32(len(l.subjects) - 1))
	}
	l.study.Withdrawn = len(found)
	if absent := len(l.withdrawn) - len(found); absent > 0 {
		l.log.add(schema.Issue{Size: schema.SizeNote, File: t.file, Code: "withdrawn_not_found",
			Message: fmt.Sprintf("%d of the withdrawn stand in no row", absent), Hint: "check that their ids are spelt as here"})
	}
}

// planSubjectCells places the columns that the file has, and sex, which every visit
// carries.
func (l *loader) planSubjectCells(t *tableReader) {
	l.subjectCell = make([]int, len(t.columns))
	for i, c := range t.columns {
		l.subjectCell[i] = -1
		if c.Name == "sex" || c.at >= 0 && c.Name != "subject_id" && c.Name != "birth_date" {
			l.subjectCell[i] = l.subjectWidth
			l.subjectWidth++
		}
	}
}

// ofSubject returns a cell of a person, by its column of the subjects table.
func (l *loader) ofSubject(person int32, column int) Cell {
	return l.subjectCells[int(person)*l.subjectWidth+l.subjectCell[column]]
}

// duplicate reports a row whose key has stood before.
func (t *tableReader) duplicate(i int, first int32) {
	issue := t.issue(i, schema.SizeStructural, t.raw(i), fault{"duplicate_key", firstLine(first), "keep one"})
	t.log.add(issue)
	t.count.LeftOut++
}

// orphan reports a row whose key points to nothing, unless the table that it
// points into could not be read in full.
func (t *tableReader) orphan(i int, target *tableReader, code, message string) {
	t.count.LeftOut++
	if target == nil || target.broken {
		t.broken = true // so that what points to this row is not called an orphan either
		return
	}
	t.log.add(t.issue(i, schema.SizeStructural, t.raw(i), fault{code, message, "add the missing row, or remove this one"}))
}

// subject finds the person of a row; where it returns false the row has been dealt with.
func (l *loader) subject(t *tableReader, id int, level string) (int32, bool) {
	if l.gone(t, id) {
		return 0, false
	}
	key, ok := t.key(id, level)
	if !ok {
		return 0, false
	}
	// Rows of one person mostly stand together.
	at := l.lastSubject
	if int(at) >= len(l.subjects) || l.subjects[at].id != key.Text {
		at, ok = l.subjectAt.find(key.Text)
	}
	if !ok {
		t.subjectID = key.Text
		t.orphan(id, l.subjectsTable, "orphan_subject", "no such person in subjects")
		return 0, false
	}
	t.subjectID, l.lastSubject = l.subjects[at].id, at
	return at, true
}

// visit finds the visit of a row of the cuff or the recordings table.
func (l *loader) visit(t *tableReader, subjectID, visitID int, level string) (int32, bool) {
	person, ok := l.subject(t, subjectID, level)
	if !ok {
		return 0, false
	}
	key, ok := t.key(visitID, level)
	if !ok {
		return 0, false
	}
	at := l.lastVisit
	if int(at) >= len(l.visits) || l.visits[at].subject != person || l.visits[at].ID != key.Text {
		at, ok = l.visitAt.find(visitKey{person, key.Text})
	}
	if !ok {
		t.visitID = key.Text
		t.orphan(visitID, l.visitsTable, "orphan_visit", "no such visit of this person in visits")
		return 0, false
	}
	t.visitID, l.lastVisit = l.visits[at].ID, at
	return at, true
}
