package tabulate

import (
	"fmt"
	"slices"
	"strings"

	"tonocohort/schema"
)

// oneLevelError says that a factor has nothing to compare.
type oneLevelError struct {
	column, level string
}

func (e oneLevelError) Error() string { return "one level only, " + e.level + ": not estimated" }

// indicators is a factor: a column for each level that is present but the
// reference, which is the declared one or else the first.
func (b *blockMaker) indicators(t schema.Term, p predictor) (*block, error) {
	present := make([]bool, len(p.factor.levels))
	for _, code := range b.sample.codes[t.Column] {
		present[code] = true
	}
	var levels []int
	for level, there := range present {
		if there {
			levels = append(levels, level)
		}
	}
	switch {
	case len(levels) > mostLevels:
		return nil, fmt.Errorf("%s has %d levels; a factor has at most %d", t.Column, len(levels), mostLevels)
	case len(levels) == 1:
		return nil, oneLevelError{t.Column, p.factor.levels[levels[0]]}
	case len(levels) == 0:
		return &block{term: t, label: t.Column, at: func(sample) ([][]float64, error) { return nil, nil }}, nil
	}
	reference := levels[0]
	if t.Reference != "" {
		at := slices.IndexFunc(levels, func(l int) bool { return p.factor.levels[l] == t.Reference })
		if at < 0 {
			return nil, fmt.Errorf("%s has no row of its reference level %s", t.Column, t.Reference)
		}
		reference = levels[at]
	}
	levels = slices.DeleteFunc(levels, func(l int) bool { return l == reference })
	out := &block{term: t, label: t.Column}
	for _, level := range levels {
		out.levels = append(out.levels, int32(level))
		out.columns = append(out.columns, coefficient{t.Column + "=" + p.factor.levels[level], unitOf(b.unit), "reference: " + p.factor.levels[reference]})
	}
	out.at = func(s sample) ([][]float64, error) {
		columns := make([][]float64, len(levels))
		for k, level := range levels {
			columns[k] = make([]float64, s.n)
			for i, code := range s.codes[t.Column] {
				if code == int32(level) {
					columns[k][i] = 1
				}
			}
		}
		return columns, nil
	}
	return out, nil
}

// interaction is the products of the columns of its parts.
func (b *blockMaker) interaction(t schema.Term) (*block, error) {
	out := &block{term: t, label: t.Label(), columns: []coefficient{{}}}
	var parts []*block
	for _, part := range t.Interaction {
		made, err := b.make(part, true)
		if err != nil {
			return nil, err
		}
		parts = append(parts, made)
		out.curved = out.curved || made.curved
		var products []coefficient
		for _, left := range out.columns {
			for _, right := range made.columns {
				products = append(products, coefficient{
					name: strings.TrimPrefix(left.name+":"+right.name, ":"),
					note: join(left.note, right.note),
				})
			}
		}
		out.columns = products
	}
	var units []string
	for _, name := range t.Columns() {
		if p := b.predictor(name); p.numbers != nil && p.unit != "" && p.unit != "1" {
			units = append(units, p.unit)
		}
	}
	unit := unitOf(b.unit)
	if len(units) > 0 && !out.curved {
		unit = perUnit(b.unit, stepOf(t), strings.Join(units, " and "))
	}
	for k := range out.columns {
		out.columns[k].unit = unit
	}
	out.at = func(s sample) ([][]float64, error) {
		var columns [][]float64
		for i, part := range parts {
			next, err := part.at(s)
			if err != nil {
				return nil, err
			}
			if i == 0 {
				columns = next
				continue
			}
			columns = multiplied(columns, next)
		}
		return columns, nil
	}
	return out, nil
}

// stepOf is the text of the only step above one unit among the parts.
func stepOf(t schema.Term) string {
	for _, part := range t.Interaction {
		if _, text := per(part); text != "" {
			return text
		}
	}
	return ""
}

// multiplied is every column of a times every column of b.
func multiplied(a, b [][]float64) [][]float64 {
	var out [][]float64
	for _, x := range a {
		for _, y := range b {
			z := make([]float64, len(x))
			for i := range z {
				z[i] = float64(x[i] * y[i])
			}
			out = append(out, z)
		}
	}
	return out
}
