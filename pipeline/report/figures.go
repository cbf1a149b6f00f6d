package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"tonocohort/pipeline/report/figure"
	"tonocohort/schema"
)

// Drawing is a figure with what stands below it.
type Drawing struct {
	*figure.Figure
	Caption string // what is drawn, what the bars are, of whom
}

// Resolutions of a PNG, in dots per inch.
const (
	LeastDPI = figure.LeastDPI
	MostDPI  = figure.MostDPI
)

// File is the drawing as a file of its own, with its caption, the caution and its
// mark.
func (d Drawing) File() *figure.Figure { return d.Framed(d.Caption, schema.Caution) }

// releasedMark says of a figure that others may see it.
const releasedMark = "For others: drawn from statistics that passed disclosure control."

// Figures draws every figure for which there are statistics.
func Figures(s Source) []Drawing {
	style := styleOf(s)
	var list []Drawing
	for _, make := range []func(Source, Style) []Drawing{flowFigures, centileFigures, bandFigures, modelFigures, comparisonFigures, agreementFigures, sensitivityFigures} {
		list = append(list, make(s, style)...)
	}
	for _, d := range list {
		d.Mark = releasedMark
	}
	return list
}

// focus is the variable that the figures are about: central PP, or the first of
// the plan where there is none.
func focus(s Source) string {
	variables := s.Settings.Analysis.Variables
	if slices.Contains(variables, "central_pp_mmhg") || len(variables) == 0 {
		return "central_pp_mmhg"
	}
	return variables[0]
}

// titled puts the parts of the name of a figure's file together from letters that
// every file system takes.
func fileName(parts ...string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9', r == '_':
			return r
		case r >= 'A' && r <= 'Z':
			return r - 'A' + 'a'
		}
		return '_'
	}, strings.Join(parts, "_"))
}

// flowFigures draws the flow of subjects, of visits and of recordings.
func flowFigures(s Source, style Style) []Drawing {
	f := s.frame("flow")
	if f == nil {
		return nil
	}
	var list []Drawing
	for _, unit := range texts(f, "unit") {
		c := figure.Flow{Name: fileName("flow", unit), Title: "Flow of " + plainWords(unit)}
		last := math.NaN()
		for row := range f.N {
			if f.TextAt(row, "unit") != unit {
				continue
			}
			in, out := cell(f, row, "in", style.Count), cell(f, row, "out", style.Count)
			if c.Start == "" {
				c.Start = in + " " + plainWords(unit)
			}
			stage := f.TextAt(row, "stage")
			if f.Number(row, "order") != last {
				last = f.Number(row, "order")
				c.Stages = append(c.Stages, figure.Stage{Text: out + " · " + stageOut(stage), Branch: strings.HasPrefix(stage, "set:")})
			}
			if reason := f.TextAt(row, "reason"); reason != "" {
				at := &c.Stages[len(c.Stages)-1]
				at.Left = append(at.Left, cell(f, row, "n", style.Count)+" "+reasonWords(reason))
			}
		}
		c.Desc = fmt.Sprintf("From %s to %s. The numbers stand in the table of the flow.", c.Start, c.Stages[len(c.Stages)-1].Text)
		list = append(list, Drawing{c.Draw(), c.Title + ": who came in, who left for which first reason (right), who went on. Stages and reasons of few are shown together."})
	}
	return list
}

// plainWords writes a stable name as a person does; calibrations as in the names of
// what was calibrated.
func plainWords(name string) string {
	return strings.NewReplacer("sbp_dbp", "SBP/DBP", "map_dbp", "mean/DBP", "_", " ").Replace(name)
}

// stageOut says where those are who went on.
func stageOut(stage string) string { return plainStage(stage) }

// axisLabel names an axis with its unit in brackets.
func axisLabel(variable, unit string) string {
	name := strings.TrimSuffix(Label(variable, unit), ", "+unit)
	if unit == "" || unit == "1" {
		return name
	}
	return name + " (" + unit + ")"
}

// bandFigures draws mean and spread of the focus by the last stratum, a series a
// level of the first, for every analysis set.
func bandFigures(s Source, style Style) []Drawing {
	f := s.frame("summary")
	if f == nil {
		return nil
	}
	strata := strataOf(f)
	if len(strata) == 0 {
		return nil
	}
	variable := focus(s)
	across, by := strata[len(strata)-1], ""
	if len(strata) > 1 {
		by = strata[0]
	}
	var list []Drawing
	for _, set := range texts(f, "set") {
		b := bands{f: f, style: style, set: set, variable: variable, across: across, by: by, strata: strata,
			at: newLookup(f, append([]string{"set", "variable", "statistic"}, strata...)...)}
		if d, ok := b.draw(s); ok {
			list = append(list, d)
		}
	}
	return list
}

// bands gathers one figure of values by stratum.
type bands struct {
	f             *schema.Frame
	style         Style
	set, variable string
	across, by    string
	strata        []string
	at            lookup
}

// maxSeries is how many series of values stay apart in one figure.
const maxSeries = 4

func (b bands) draw(s Source) (Drawing, bool) {
	c := figure.Bands{Name: fileName("strata", b.variable, b.set), XLabel: Label(b.across, bandUnit(b.across)), Line: math.NaN()}
	unit := unitsOf(b.f)[b.variable]
	c.YLabel = axisLabel(b.variable, unit)
	if v, ok := s.Settings.Analysis.Threshold[b.variable]; ok {
		c.Line, c.LineLabel = v, thresholdLabel(v, unit)
	}
	c.Categories = slices.DeleteFunc(texts(b.f, b.across), func(l string) bool { return l == "all" })
	levels := []string{"all"}
	if b.by != "" {
		if own := slices.DeleteFunc(texts(b.f, b.by), func(l string) bool { return l == "all" }); len(own) <= maxSeries {
			levels = own
		}
	}
	any := false
	for _, level := range levels {
		series, drawn := b.series(level, c.Categories)
		c.Series = append(c.Series, series)
		any = any || drawn
	}
	if !any || len(c.Categories) == 0 {
		return Drawing{}, false
	}
	c.DropEmpty("(missing)")
	c.Title = fmt.Sprintf("%s by %s, analysis set %s", Label(b.variable, ""), strings.ToLower(Label(b.across, "")), b.set)
	c.Desc = fmt.Sprintf("Mean with 95 %% confidence interval and 10th to 90th percentile in %d strata. The numbers stand in the table of summaries.", len(c.Categories)*len(c.Series))
	return Drawing{c.Draw(), fmt.Sprintf("%s, analysis set %s. Marker: mean; thick bar: its 95 %% confidence interval; thin line: 10th to 90th percentile, where enough people lie beyond. n: people with a value; %s in place of a mean or of n: confidential, hidden by disclosure control, neither zero nor missing.", c.YLabel, b.set, Confidential)}, true
}

// thresholdLabel says of a line what it is, and what it is not.
func thresholdLabel(at float64, unit string) string {
	return fmt.Sprintf("%s %s: outcome threshold, not a reference limit", plain(at), unit)
}

// bandUnit is the unit in which bands of a column are cut.
func bandUnit(column string) string {
	if column == "age_band" {
		return "years"
	}
	return ""
}

func (b bands) series(level string, categories []string) (figure.Series, bool) {
	s := figure.Series{Label: groupName(level)}
	any := false
	for _, category := range categories {
		find := func(statistic string) int {
			key := []string{b.set, b.variable, statistic}
			for _, name := range b.strata {
				switch name {
				case b.across:
					key = append(key, category)
				case b.by:
					key = append(key, level)
				default:
					key = append(key, "all")
				}
			}
			return b.at.row(key...)
		}
		number := func(statistic, column string) float64 {
			if row := find(statistic); row >= 0 {
				return b.f.Number(row, column)
			}
			return math.NaN()
		}
		s.Mean = append(s.Mean, number("mean", "estimate"))
		s.Low, s.High = append(s.Low, number("mean", "low")), append(s.High, number("mean", "high"))
		s.P10, s.P90 = append(s.P10, number("p10", "estimate")), append(s.P90, number("p90", "estimate"))
		s.N = append(s.N, cell(b.f, find("n"), "estimate", b.style.Count))
		sign := ""
		if cell(b.f, find("mean"), "estimate", b.style.Count) == Confidential {
			sign = Confidential
		}
		s.Sign = append(s.Sign, sign)
		any = any || !math.IsNaN(number("mean", "estimate"))
	}
	return s, any
}
