package report

import (
	"math"
	"slices"
	"strings"

	"tonocohort/schema"
	"tonocohort/schema/published"
)

// Source is what the publication tables are made from: released tables alone, so
// that nothing can stand in them that disclosure control has not seen.
type Source struct {
	Frames   []*schema.Frame
	Settings schema.Settings
	Build    schema.Build
	Inputs   []string      // digests of the settings and tables of the study, sorted
	Files    []schema.File // what has been released, by path within the release
	Again    string        // the command that computes the results again

	Own []published.Set // published sets of the study's own, by the name of their file
}

func (s Source) frame(name string) *schema.Frame {
	for _, f := range s.Frames {
		if f.Table.Name == name && f.N > 0 {
			return f
		}
	}
	return nil
}

// Tables makes every publication table for which there are statistics.
func Tables(s Source) []*Table {
	style := styleOf(s)
	var list []*Table
	for _, make := range []func(Source, Style) *Table{flowTable, participantsTable, referenceTable, centilesTable, changeTable, modelsTable, comparisonTable, agreementTable, sensitivityTable, departuresTable, qualityTable} {
		if t := make(s, style); t != nil {
			t.symbols()
			list = append(list, t)
		}
	}
	return list
}

func styleOf(s Source) Style {
	style, ok := StyleByName(s.Settings.Analysis.Tables.Style)
	if !ok {
		style, _ = StyleByName(schema.TableStyles[0]) // the decoder has refused any other
	}
	return style
}

// lookup finds rows of a released table by some of its texts.
type lookup struct {
	f     *schema.Frame
	keys  []string
	index map[string]int
}

func newLookup(f *schema.Frame, keys ...string) lookup {
	l := lookup{f: f, keys: keys, index: make(map[string]int, f.N)}
	for row := range f.N {
		parts := make([]string, len(keys))
		for i, k := range keys {
			parts[i] = f.TextAt(row, k)
		}
		key := strings.Join(parts, "\x1f")
		if _, seen := l.index[key]; !seen {
			l.index[key] = row
		}
	}
	return l
}

// row returns the first row with these texts, −1 for none.
func (l lookup) row(texts ...string) int {
	if row, ok := l.index[strings.Join(texts, "\x1f")]; ok {
		return row
	}
	return -1
}

// cell writes a number of a row: confidential where it was hidden, no value where
// there is none.
func cell(f *schema.Frame, row int, column string, write func(v float64) string) string {
	if row < 0 {
		return NoValue
	}
	if v := f.Number(row, column); !math.IsNaN(v) {
		return write(v)
	}
	if hides(f.TextAt(row, schema.Suppressed), column) {
		return Confidential
	}
	return NoValue
}

// hides tells from the mark of a row whether a column of it was hidden.
func hides(mark, column string) bool {
	parts := strings.Fields(mark)
	if slices.Contains(parts, "all") {
		return true
	}
	switch column {
	case "n", "n_missing", "in", "out", "observations", "se", "shift", "shift_in_se":
		return slices.Contains(parts, "counts")
	case "estimate":
		return slices.Contains(parts, "estimate")
	}
	return slices.Contains(parts, "interval") || slices.Contains(parts, "estimate")
}

// pair writes two numbers as one cell, confidential as a whole where the first is.
func pair(first, second, open, close string) string {
	if first == Confidential || first == NoValue {
		return first
	}
	return first + " " + open + second + close
}

// texts lists the different texts of a column, in their order.
func texts(f *schema.Frame, column string) []string {
	var list []string
	for _, text := range f.Texts(column) {
		if !slices.Contains(list, text) {
			list = append(list, text)
		}
	}
	return list
}

// strataOf lists the stratum columns of a released table of statistics.
func strataOf(f *schema.Frame) []string {
	var columns []string
	for _, c := range f.Table.Columns[2:f.Table.Index("statistic")] {
		columns = append(columns, c.Name)
	}
	return columns
}
