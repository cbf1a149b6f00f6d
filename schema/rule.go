package schema

import (
	"strconv"
	"strings"
)

// Reasons are what the participant flow says of a row that does not meet the rule:
// that the cell is missing, or what it does not fulfil.
func (r Rule) Reasons() (missing, failed string) {
	return r.Column + " missing", r.Column + " not " + r.Condition()
}

// Condition says in words what the rule asks of a column.
func (r Rule) Condition() string {
	if len(r.Levels) > 0 {
		return strings.Join(r.Levels, " or ")
	}
	var parts []string
	for _, b := range []struct {
		text  string
		bound *float64
	}{{"at least ", r.AtLeast}, {"above ", r.Above}, {"at most ", r.AtMost}, {"below ", r.Below}} {
		if b.bound != nil {
			parts = append(parts, b.text+strconv.FormatFloat(*b.bound, 'f', -1, 64))
		}
	}
	return strings.Join(parts, " and ")
}

// Admits reports a number, not a missing one, that lies within every bound.
func (r Rule) Admits(v float64) bool {
	return !(r.Below != nil && !(v < *r.Below) || r.AtMost != nil && !(v <= *r.AtMost) ||
		r.Above != nil && !(v > *r.Above) || r.AtLeast != nil && !(v >= *r.AtLeast))
}
