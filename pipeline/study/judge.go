package study

import (
	"fmt"
	"math"
	"slices"
	"time"

	"tonocohort/schema"
)

// judgeText judges the text of a cell by the kind of its column.
func (c *tableColumn) judgeText(text, dates string, yearsFrom int) (string, *fault) {
	switch {
	case c.Kind == schema.Category:
		return text, scanLevel(text, c.Name, c.Levels)
	case c.Kind == schema.Date:
		day, f := scanDate(text, dates, yearsFrom)
		if f != nil {
			return "", f
		}
		return day.Format(time.DateOnly), nil
	case c.Key || slices.Contains([]string{"centre", "family_id", "stratum", "cluster", "operator_id", "device_id", "recording_id", "reader"}, c.Name):
		return text, scanIdentifier(text)
	default:
		return text, scanText(text)
	}
}

// judgeNumber judges the text of a numeric cell, in the unit of the file, and
// returns it in the unit of the column.
func (c *tableColumn) judgeNumber(text string, comma bool) (float64, *fault) {
	scan := scanNumber
	if c.Kind == schema.Integer {
		scan = wholeNumber
	}
	v, f := scan(text, comma)
	if f != nil {
		return math.NaN(), f
	}
	v *= c.unit.Scale
	if c.InRange(v) {
		return v, nil
	}
	return math.NaN(), c.outOfRange(v)
}

// number judges the text of a numeric cell, taking declared signs between
// thousands out.
func (t *tableReader) number(c *tableColumn, text string) (float64, *fault) {
	point := byte('.')
	if t.comma {
		point = ','
	}
	if plain, ok := schema.Ungroup(text, t.csv.Thousands, point); ok {
		text = plain
	}
	return c.judgeNumber(text, t.comma)
}

// outOfRange explains a number outside the plausible range and, where another
// unit would bring it inside, names that unit.
func (c *tableColumn) outOfRange(v float64) *fault {
	limits, unit := "", ""
	switch {
	case c.Low != nil && c.High != nil:
		limits = fmt.Sprintf("outside %s to %s", plainNumber(*c.Low), plainNumber(*c.High))
	case c.Low != nil:
		limits = "below " + plainNumber(*c.Low)
	case c.High != nil:
		limits = "above " + plainNumber(*c.High)
	default:
		return &fault{"not_finite", "too large for a number in the unit of the column", ""}
	}
	if c.Unit != "" && c.Unit != "1" {
		unit = " " + c.Unit
	}
	if v < 0 && c.Low != nil && *c.Low >= 0 {
		return &fault{"negative", "negative; " + limits + unit, ""}
	}
	if c.unit.From != "" && c.unit.Scale != 1 {
		limits = fmt.Sprintf("%s%s, read as %s, %s", plainNumber(v), unit, c.unit.Word, limits)
		if c.InRange(v / c.unit.Scale) {
			return &fault{"out_of_range", limits + unit, fmt.Sprintf("looks like %s already: is units: {%s: %s} right?", c.Unit, c.Name, c.unit.From)}
		}
		return &fault{"out_of_range", limits + unit, ""}
	}
	for _, other := range conversions(c.Name, c.Unit) {
		if c.InRange(v * other.Scale) {
			return &fault{"unit_suspect", limits + unit, fmt.Sprintf("looks like %s: set units: {%s: %s} if the whole column is", other.Word, c.Name, other.From)}
		}
	}
	return &fault{"out_of_range", limits + unit, ""}
}

// cell judges a cell that may be lost: a fault makes it missing.
func (t *tableReader) cell(i int) Cell {
	missing := Cell{Number: math.NaN()}
	if i < 0 {
		return missing
	}
	text := t.raw(i)
	if text == "" {
		return missing
	}
	c := &t.columns[i]
	if c.Numeric() {
		v, f := t.number(c, text)
		if f != nil {
			t.lose(i, text, *f)
		}
		return Cell{Number: v}
	}
	read, f := c.judgeText(text, t.dates, t.csv.TwoDigitYearsFrom)
	if f != nil {
		t.lose(i, text, *f)
		return missing
	}
	return Cell{Number: math.NaN(), Text: c.keep(read)}
}

// key judges a cell without which the row cannot be placed; where it returns
// false the row has been left out.
func (t *tableReader) key(i int, level string) (Cell, bool) {
	text := t.raw(i)
	if text == "" {
		t.leaveOut(level, i, "", fault{"empty_key", "empty, but the row cannot be placed without it", ""})
		return Cell{}, false
	}
	c := &t.columns[i]
	if c.Numeric() {
		v, f := t.number(c, text)
		if f != nil {
			t.leaveOut(level, i, text, *f)
			return Cell{}, false
		}
		return Cell{Number: v}, true
	}
	if f := scanIdentifier(text); f != nil {
		t.leaveOut(level, i, text, *f)
		return Cell{}, false
	}
	return Cell{Number: math.NaN(), Text: text}, true
}
