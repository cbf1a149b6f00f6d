package study

import (
	"cmp"
	"fmt"
	"maps"
	"slices"

	"tonocohort/schema"
)

// faults collects what is wrong with the tables and what that takes away.
type faults struct {
	issues     []schema.Issue
	exclusions []Exclusion
	notes      map[noteKey]noteCount
}

// noteKey and noteCount gather notes that would repeat down a column.
type noteKey struct {
	file, name, code string
	column           int
}

type noteCount struct {
	n, first      int
	message, hint string
}

func (f *faults) add(i schema.Issue) { f.issues = append(f.issues, i) }

// excluded records an issue that takes something away, with its exclusion.
func (f *faults) excluded(level string, i schema.Issue) {
	f.add(i)
	f.exclusions = append(f.exclusions, Exclusion{Level: level, SubjectID: i.SubjectID, VisitID: i.VisitID, RecordingID: i.RecordingID,
		Stage: "read", Reason: i.Code, Issue: i})
}

// note counts something that was accepted; one issue per column comes of it.
func (f *faults) note(key noteKey, row int, message, hint string) {
	c, seen := f.notes[key]
	if !seen {
		c = noteCount{first: row, message: message, hint: hint}
	}
	c.n, c.first = c.n+1, min(c.first, row)
	if f.notes == nil {
		f.notes = map[noteKey]noteCount{}
	}
	f.notes[key] = c
}

// flushNotes turns the counts into issues.
func (f *faults) flushNotes() {
	keys := slices.SortedFunc(maps.Keys(f.notes), func(a, b noteKey) int {
		return cmp.Or(cmp.Compare(a.file, b.file), cmp.Compare(a.column, b.column), cmp.Compare(a.code, b.code), cmp.Compare(a.name, b.name))
	})
	for _, key := range keys {
		c := f.notes[key]
		message := c.message
		if c.n > 1 {
			message = fmt.Sprintf("%s (%d cells, first here)", message, c.n)
		}
		f.add(schema.Issue{Size: schema.SizeNote, File: key.file, Row: c.first, Column: key.column, Name: key.name, Code: key.code, Message: message, Hint: c.hint})
	}
	f.notes = nil
}

// IssueGroup is a run of issues that break the same rule in the same column.
type IssueGroup struct {
	First schema.Issue // the first of them by row
	Count int
}

// String is the line that a person reads: how many, and the first of them.
func (g IssueGroup) String() string {
	if g.Count == 1 {
		return g.First.String()
	}
	return fmt.Sprintf("%d × %s; first: %s", g.Count, g.First.Code, g.First.String())
}

// Group gathers issues for display: one group per size, file, name and rule,
// in the order of the first issue of each. The issues must be sorted.
func Group(issues []schema.Issue) []IssueGroup {
	type key struct {
		size             schema.Size
		file, name, code string
	}
	at := map[key]int{}
	var groups []IssueGroup
	for _, i := range issues {
		k := key{i.Size, i.File, i.Name, i.Code}
		g, ok := at[k]
		if !ok {
			g = len(groups)
			at[k] = g
			groups = append(groups, IssueGroup{First: i})
		}
		groups[g].Count++
	}
	return groups
}
