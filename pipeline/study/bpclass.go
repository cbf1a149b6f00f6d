package study

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"tonocohort/schema"
)

// categoryTable holds the published schemes with their sources in its first line.
//
//go:embed bp_categories.csv
var categoryTable string

// Scheme is a published classification of pressure, its categories ascending.
type Scheme struct {
	Name       string
	Categories []Category
}

// Category is one class of a scheme: the lower bounds belong to it, the upper
// do not. An open end is an infinity.
type Category struct {
	Name                             string
	SBPLow, SBPHigh, DBPLow, DBPHigh float64 // mmHg
}

// Schemes returns the published schemes in the order of the table.
func Schemes() ([]Scheme, error) {
	reader := csv.NewReader(strings.NewReader(categoryTable))
	reader.Comment = '#'
	rows, err := reader.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("study: table of pressure categories: %w", err)
	}
	var schemes []Scheme
	for _, row := range rows[1:] { // scheme,category,sbp_min,sbp_max_excl,logic,dbp_min,dbp_max_excl
		c := Category{Name: row[1]}
		for _, b := range []struct {
			text string
			into *float64
			open float64
		}{
			{row[2], &c.SBPLow, math.Inf(-1)}, {row[3], &c.SBPHigh, math.Inf(1)},
			{row[5], &c.DBPLow, math.Inf(-1)}, {row[6], &c.DBPHigh, math.Inf(1)},
		} {
			*b.into = b.open
			if b.text == "" {
				continue
			}
			if *b.into, err = strconv.ParseFloat(b.text, 64); err != nil {
				return nil, fmt.Errorf("study: table of pressure categories: %w", err)
			}
		}
		if n := len(schemes); n == 0 || schemes[n-1].Name != row[0] {
			schemes = append(schemes, Scheme{Name: row[0]})
		}
		last := &schemes[len(schemes)-1]
		last.Categories = append(last.Categories, c)
	}
	return schemes, nil
}

func schemeNames() []string {
	schemes, err := Schemes()
	if err != nil {
		panic(err) // the table is part of the program
	}
	names := make([]string, len(schemes))
	for i, s := range schemes {
		names[i] = s.Name
	}
	return names
}

// Central reports a scheme that classifies central pressure, not brachial.
func (s Scheme) Central() bool { return strings.HasPrefix(s.Name, "CENTRAL_") }

// Levels lists the categories from the lowest to the highest.
func (s Scheme) Levels() []string {
	names := make([]string, len(s.Categories))
	for i, c := range s.Categories {
		names[i] = c.Name
	}
	return names
}

// WithClasses returns t with the levels of the scheme in its column bp_class,
// so that they stand in their order and a set cannot name another.
func (s Scheme) WithClasses(t schema.Table) schema.Table {
	t.Columns = slices.Clone(t.Columns)
	if i := t.Index("bp_class"); i >= 0 {
		t.Columns[i].Kind, t.Columns[i].Levels = schema.Category, s.Levels()
	}
	return t
}

// SchemeByName returns the named scheme.
func SchemeByName(name string) (Scheme, error) {
	schemes, err := Schemes()
	if err != nil {
		return Scheme{}, err
	}
	var names []string
	for _, s := range schemes {
		if s.Name == name {
			return s, nil
		}
		names = append(names, s.Name)
	}
	return Scheme{}, fmt.Errorf("study: no scheme of pressure categories %q; there are %s", name, strings.Join(names, ", "))
}

// Classify returns the category of a pressure, unrounded: 119.6 is below 120.
// Where systolic and diastolic pressure fall into different categories the
// higher one wins. It returns "" where either is missing.
func Classify(sbp, dbp float64, scheme Scheme) string {
	if math.IsNaN(sbp) || math.IsNaN(dbp) {
		return ""
	}
	bySBP, byDBP := -1, -1
	for i, c := range scheme.Categories {
		if bySBP < 0 && sbp >= c.SBPLow && sbp < c.SBPHigh {
			bySBP = i
		}
		if byDBP < 0 && dbp >= c.DBPLow && dbp < c.DBPHigh {
			byDBP = i
		}
	}
	if class := max(bySBP, byDBP); class >= 0 {
		return scheme.Categories[class].Name
	}
	return ""
}
