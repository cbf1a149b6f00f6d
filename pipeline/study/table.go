package study

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"tonocohort/schema"
)

// tableColumn is a declared column as it stands in a file.
type tableColumn struct {
	schema.Column
	at          int // position in the file from 0; -1: absent
	recode      map[string]string
	unit        conversion
	identifying bool              // its values are shown shortened
	kept        map[string]string // texts met before, so that a level is held once
}

// tableReader walks the rows of one table and judges their cells.
type tableReader struct {
	file    string
	columns []tableColumn // in the order of their declaration
	rows    rowSource
	width   int
	hint    int                // rows to expect, for memory; never more than hintLimit
	csv     schema.CSVSettings // its zero value for a Parquet table
	comma   bool               // decimal comma
	dates   string
	renamed map[string]string
	log     *faults
	count   TableCount
	broken  bool // rows could not be read: what is missing here proves nothing

	cells                           []string // of the current row
	subjectID, visitID, recordingID string   // of the current row, once known, for issues
}

// hintLimit bounds the memory that the mere number of lines can ask for.
const hintLimit = 2_000_000

// open reads the header. It returns nil where there is nothing to walk.
func open(l *loader, spec schema.Table, file string, text []byte, frame *schema.Frame) *tableReader {
	s := &l.study.Settings
	t := &tableReader{file: file, log: &l.log, comma: s.CSV.Decimal == "comma" && frame == nil, dates: dateLayout(s.CSV.Dates),
		renamed: s.Rename[spec.Name], count: TableCount{Table: spec.Name}}
	if frame == nil {
		t.csv = s.CSV
	}
	if frame != nil {
		t.rows, t.hint = newFrameRows(frame), min(frame.N, hintLimit)
	} else {
		t.rows, t.hint = newCSVRows(text, s.CSV.Delimiter), min(bytes.Count(text, []byte("\n")), hintLimit)
	}
	header, err := t.rows.next()
	if err != nil {
		l.log.add(csvFault(err, file))
		return nil
	}
	names := t.headerNames(header)
	if frame == nil {
		line, _, _ := strings.Cut(string(text), "\n")
		if other, ok := otherDelimiter(line, s.CSV.Delimiter, spec.Names()); ok {
			l.log.add(schema.Issue{Size: schema.SizeStructural, File: file, Row: 1, Code: "delimiter",
				Message: "the cells are separated by a " + other + ", not a " + s.CSV.Delimiter, Hint: "csv: {delimiter: " + other + "} reads it, in all tables alike"})
			return nil
		}
	}
	for _, c := range spec.Columns {
		column := tableColumn{Column: c, at: slices.Index(names, c.Name), recode: s.Recode[c.Name], unit: conversion{Scale: 1},
			identifying: c.Kind == schema.Text || c.Name == "birth_date" || c.Key && c.Kind == schema.Text, kept: map[string]string{}}
		if from, ok := s.Units[c.Name]; ok {
			known := false
			if column.unit, known = conversionFor(c.Name, c.Unit, from); !known { // reported; the numbers cannot be judged
				column.unit, column.Low, column.High = conversion{Scale: 1}, nil, nil
			}
		}
		t.columns = append(t.columns, column)
	}
	if !t.checkHeader(names) {
		return nil
	}
	t.width = len(header)
	return t
}

func (t *tableReader) structural(row, column int, name, code, message, hint string) {
	t.log.add(schema.Issue{Size: schema.SizeStructural, File: t.file, Row: row, Column: column, Name: name, Code: code, Message: message, Hint: hint})
}

// next moves to the next row that has any content and as many cells as the
// header; false behind the last.
func (t *tableReader) next() bool {
	for {
		cells, err := t.rows.next()
		if errors.Is(err, io.EOF) {
			return false
		}
		if err != nil {
			t.broken = true
			t.log.add(csvFault(err, t.file))
			return false
		}
		t.count.Rows++
		t.subjectID, t.visitID, t.recordingID = "", "", ""
		if !slices.ContainsFunc(cells, func(s string) bool { return strings.TrimFunc(s, isBlank) != "" }) {
			t.count.Blank++
			t.log.note(noteKey{t.file, "", "blank_row", 0}, t.rows.line(0), "a row without any content is skipped", "")
			continue
		}
		if len(cells) != t.width {
			hint := "quote cells that hold the delimiter"
			if len(cells) > t.width {
				hint += "; a decimal comma is one: csv has settings for it"
			}
			t.broken = true
			t.structural(t.rows.line(0), 0, "", "ragged_row", fmt.Sprintf("%d cells where the header has %d", len(cells), t.width), hint)
			t.count.LeftOut++
			continue
		}
		t.cells = cells
		return true
	}
}

// column returns the position of a declared column in t.columns.
func (t *tableReader) column(name string) int {
	return slices.IndexFunc(t.columns, func(c tableColumn) bool { return c.Name == name })
}

// has reports whether the file has the column.
func (t *tableReader) has(name string) bool {
	i := t.column(name)
	return i >= 0 && t.columns[i].at >= 0
}

// raw returns the trimmed and recoded text of a cell, "" where the column is absent.
func (t *tableReader) raw(i int) string {
	c := &t.columns[i]
	if c.at < 0 {
		return ""
	}
	text, blanks, unseen := trim(t.cells[c.at])
	if t.csv.LineBreaks == "blank" && strings.ContainsAny(text, "\r\n") {
		text = strings.NewReplacer("\r\n", " ", "\n", " ", "\r", " ").Replace(text)
	}
	if t.csv.Blanks == "plain" && !c.Numeric() && hasUnseen(text) {
		text = plainBlanks(text)
	}
	if blanks && text != "" {
		code, message := "blanks_around", "white space around the value is dropped"
		if unseen {
			code, message = "unseen_blanks_around", "a non-breaking or zero-width space around the value is dropped"
		}
		t.log.note(noteKey{t.file, c.Name, code, c.at + 1}, t.rows.line(c.at), message, "")
	}
	if to, ok := c.recode[text]; ok && text != "" {
		return to
	}
	return text
}

// issue fills in the place of a cell.
func (t *tableReader) issue(i int, size schema.Size, text string, f fault) schema.Issue {
	c := &t.columns[i]
	shown := shorten(text)
	if c.identifying {
		shown = mask(text)
	}
	issue := schema.Issue{Size: size, File: t.file, Name: c.Name, Value: shown, Code: f.code, Message: f.message, Hint: f.hint,
		SubjectID: t.subjectID, VisitID: t.visitID, RecordingID: t.recordingID}
	if c.at >= 0 {
		issue.Row, issue.Column = t.rows.line(c.at), c.at+1
	}
	return issue
}

// lose records a value that becomes missing.
func (t *tableReader) lose(i int, text string, f fault) {
	t.log.excluded("value", t.issue(i, schema.SizeValue, text, f))
}

// leaveOut records a row that is left out for one of its cells.
func (t *tableReader) leaveOut(level string, i int, text string, f fault) {
	t.log.excluded(level, t.issue(i, schema.SizeValue, text, f))
	t.count.LeftOut++
}

// keep returns text that outlives the row; a text met before is held once.
func (c *tableColumn) keep(text string) string {
	if kept, ok := c.kept[text]; ok {
		return kept
	}
	text = strings.Clone(text)
	if len(c.kept) < 4096 {
		c.kept[text] = text
	}
	return text
}
