package study

import (
	"maps"
	"slices"
	"strings"

	"tonocohort/schema"
)

func (d *decoder) checkCSV(c schema.CSVSettings) {
	d.oneOf("csv.delimiter", c.Delimiter, []string{"comma", "semicolon", "tab"})
	d.oneOf("csv.decimal", c.Decimal, []string{"point", "comma"})
	d.oneOf("csv.dates", c.Dates, []string{"yyyy-mm-dd", "dd.mm.yyyy", "dd/mm/yyyy", "mm/dd/yyyy"})
	d.oneOf("csv.encoding", c.Encoding, []string{"utf-8", "utf-16", "windows-1252"})
	d.oneOf("csv.blanks", c.Blanks, []string{"refuse", "plain"})
	d.checkLines("csv", c.LineEnds, c.LineBreaks)
	d.checkThousands("csv", c.Thousands, c.Delimiter, c.Decimal)
	if c.TwoDigitYearsFrom != 0 {
		d.within("csv.two_digit_years_from", float64(c.TwoDigitYearsFrom), earliestYear, latestYear-99)
	}
}

// checkLines judges what two settings of text share.
func (d *decoder) checkLines(at, ends, breaks string) {
	d.oneOf(at+".line_ends", ends, []string{"lf", "any"})
	d.oneOf(at+".line_breaks", breaks, []string{"refuse", "blank"})
}

// checkThousands sees that the sign between groups of digits has no other use.
func (d *decoder) checkThousands(at, sign, delimiter, decimal string) {
	known := []string{"none"}
	for _, g := range schema.Groupings() {
		known = append(known, g.Name)
	}
	if d.oneOf(at+".thousands", sign, known) && (sign == delimiter || sign == decimal) {
		d.fault(at+".thousands", sign, "same_sign", "the same sign as the delimiter or the decimal sign", "declare the signs that the files have")
	}
}

// checkRename sees that every renamed column is one of a table that is read.
func (d *decoder) checkRename(rename map[string]map[string]string) {
	tables := inputColumns()
	for _, table := range slices.Sorted(maps.Keys(rename)) {
		if _, ok := tables[table]; !ok {
			d.fault("rename."+table, "", "unknown_table", "no table has this name", didYouMean(table, slices.Sorted(maps.Keys(tables))))
		}
		for _, from := range slices.Sorted(maps.Keys(rename[table])) {
			if to := rename[table][from]; !isColumnName(to) {
				d.fault(join("rename."+table, from), to, "bad_name", "a column name starts with a letter and holds letters, digits, '_', '-' and '.', at most 64", "")
			}
		}
	}
}

func (d *decoder) checkWaveforms(w schema.WaveformSettings) {
	d.oneOf("waveforms.encoding", w.Encoding, []string{"utf-8", "utf-16"})
	d.oneOf("waveforms.time_unit", w.TimeUnit, slices.Sorted(maps.Keys(schema.TimeUnits())))
	d.checkLines("waveforms", w.LineEnds, w.LineBreaks)
	d.checkThousands("waveforms", w.Thousands, w.Delimiter, w.Decimal)
	d.within("waveforms.header_line", float64(w.HeaderLine), 1, 10000)
	if w.FirstLine != 0 {
		d.within("waveforms.first_line", float64(w.FirstLine), float64(w.HeaderLine)+1, 10000)
	}
	names := slices.Sorted(maps.Keys(schema.Delimiters()))
	if !d.oneOf("waveforms.decimal", w.Decimal, []string{"point", "comma"}) {
		return
	}
	if w.Delimiter == "comma" && w.Decimal == "comma" {
		d.fault("waveforms.delimiter", w.Delimiter, "same_sign", "delimiter and decimal sign are the same", "declare the delimiter that the files have, semicolon for one")
	} else if _, _, ok := w.Signs(); !ok {
		d.fault("waveforms.delimiter", w.Delimiter, "unknown_value", "known values: "+strings.Join(names, ", ")+", or a sign that no number has", didYouMean(w.Delimiter, names))
	}
}
