package published

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

var errNegativeSD = errors.New("a standard deviation is a number from 0 up")

// Term is a product of factors; without any it is the constant 1.
type Term struct {
	Text    string
	Factors []Factor
}

// Factor is a function of one column.
type Factor struct {
	Column string
	Level  string // column=level: 1 where the cell is this level, else 0
	Power  int    // of a number; 0 for a level
	Log10  bool
}

// parseTerm reads 1, age_years, age_years^2, log10(age_years), sex=female or
// factors joined by *.
func parseTerm(text string) (Term, error) {
	t := Term{Text: text}
	if text == "1" {
		return t, nil
	}
	for part := range strings.SplitSeq(text, "*") {
		f := Factor{Column: part, Power: 1}
		if column, level, ok := strings.Cut(part, "="); ok {
			f = Factor{Column: column, Level: level}
		} else if column, power, ok := strings.Cut(part, "^"); ok {
			n, err := strconv.Atoi(power)
			if err != nil || n < 1 || n > 10 {
				return t, fmt.Errorf("term %q: a power is a whole number from 1 to 10", text)
			}
			f = Factor{Column: column, Power: n}
		} else if inner, ok := strings.CutPrefix(part, "log10("); ok && strings.HasSuffix(inner, ")") {
			f = Factor{Column: strings.TrimSuffix(inner, ")"), Power: 1, Log10: true}
		}
		if f.Column == "" || f.Level == "" && f.Power == 0 || strings.ContainsAny(f.Column, " ()^=") {
			return t, fmt.Errorf("term %q is not 1, a column, column^2, log10(column), column=level, or these joined by *", text)
		}
		t.Factors = append(t.Factors, f)
	}
	return t, nil
}

// Columns lists the columns of the term, each once.
func (t Term) Columns() []string {
	var names []string
	for _, f := range t.Factors {
		if !slices.Contains(names, f.Column) {
			names = append(names, f.Column)
		}
	}
	return names
}

// Row gives the cells of a person: NaN or "" where one is missing.
type Row interface {
	Number(column string) float64
	Level(column string) string
}

// Value is the term of a row; NaN where a cell is missing.
func (t Term) Value(r Row) float64 {
	product := 1.0
	for _, f := range t.Factors {
		if f.Level != "" {
			switch r.Level(f.Column) {
			case "":
				return math.NaN()
			case f.Level:
			default:
				product = 0 * product // NaN stays
			}
			continue
		}
		v := r.Number(f.Column)
		if f.Log10 {
			v = math.Log10(v)
		}
		for range f.Power {
			product *= v
		}
	}
	return product
}
