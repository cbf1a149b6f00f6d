package sheets

import (
	"fmt"
	"html/template"
	"math"
	"slices"
)

// Sizes of the trace, in pixels. A row of it holds rowS seconds at most as long
// as rowsMost rows suffice.
const (
	traceWidth = 960
	traceLeft  = 52
	traceRight = 8
	bandReason = 30 // above: reasons, on two lines
	bandPlot   = 104
	bandMarks  = 16 // below: a mark for each beat
	bandTime   = 18
	rowHeight  = bandReason + bandPlot + bandMarks + bandTime + 6
	rowS       = 16.0
	rowsMost   = 8
)

// traceFigure draws the trace in rows with a mark for each beat, and says in a
// sentence what is drawn at the edge.
func traceFigure(s *Sheet) (image template.HTML, note string) {
	t := s.Trace
	seconds := t.DurationS()
	rows := int(math.Min(rowsMost, math.Ceil(seconds/rowS)))
	perRow := seconds / float64(rows)
	low, high, beyond := frameOf(t.Samples)
	if beyond > 0 {
		note = fmt.Sprintf("%d of %d samples lie beyond the frame and are drawn at its edge.", beyond, len(t.Samples))
	}
	d := &drawing{}
	d.open("trace", traceWidth, rows*rowHeight, "The recording as it was written", beatSentence(s.Beats))
	for row := range rows {
		r := traceRow{sheet: s, top: float64(row * rowHeight), from: float64(row) * perRow, to: float64(row+1) * perRow}
		r.x = span{r.from, r.to, traceLeft, traceWidth - traceRight}
		r.y = span{low, high, r.top + bandReason + bandPlot, r.top + bandReason}
		r.draw(d)
	}
	return d.close(), note
}

// frameOf is the range that is shown: what most samples lie in and a quarter of
// it on either side, so that one artefact does not flatten the pulses.
func frameOf(samples []float64) (low, high float64, beyond int) {
	sorted := make([]float64, 0, len(samples))
	for _, v := range samples {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			sorted = append(sorted, v)
		}
	}
	if len(sorted) == 0 {
		return 0, 1, 0
	}
	slices.Sort(sorted)
	n := len(sorted) - 1
	p1, p99 := sorted[n/100], sorted[n-n/100]
	margin := (p99 - p1) / 4
	low, high = math.Max(sorted[0], p1-margin), math.Min(sorted[n], p99+margin)
	if !(high > low) {
		low, high = low-1, high+1
	}
	for _, v := range sorted {
		if v < low || v > high {
			beyond++
		}
	}
	return low, high, beyond
}

type traceRow struct {
	sheet    *Sheet
	top      float64
	from, to float64 // seconds
	x, y     span
}

func (r *traceRow) draw(d *drawing) {
	r.axes(d)
	r.beats(d)
	t := r.sheet.Trace
	first := int(math.Ceil(r.from * t.SamplingHz))
	last := min(len(t.Samples), int(math.Ceil(r.to*t.SamplingHz))+1)
	apart := (r.x.b - r.x.a) / (r.to - r.from) / t.SamplingHz
	var c curve
	c.strip(t.Samples[first:last], r.x.at(float64(first)/t.SamplingHz), apart, r.y.clamped)
	d.curve("raw", &c)
}

func (r *traceRow) axes(d *drawing) {
	s := r.sheet
	y, unit, at := r.y, s.Trace.Unit, r.y.at
	if !math.IsNaN(s.Scale) && s.Scale > 0 {
		y.low, y.high = s.Offset+s.Scale*r.y.low, s.Offset+s.Scale*r.y.high
		unit, at = "mmHg", y.at
	}
	ticks, digits := y.ticks(4)
	grid := make([][4]float64, len(ticks))
	for i, v := range ticks {
		grid[i] = [4]float64{traceLeft, at(v), r.x.b, at(v)}
	}
	d.lines("grid", grid)
	for _, v := range ticks {
		d.text(traceLeft-6, at(v)+4, "end", "", number(v, digits))
	}
	d.text(0, r.top+bandReason-16, "start", "", unit)
	bottom := r.y.a + bandMarks
	ticks, digits = r.x.ticks(16)
	below := make([][4]float64, len(ticks))
	for i, v := range ticks {
		below[i] = [4]float64{r.x.at(v), bottom, r.x.at(v), bottom + 4}
		anchor := "middle"
		if r.x.at(v) > r.x.b-24 {
			anchor = "end"
		}
		word := number(v, digits)
		if v == ticks[0] {
			word += " s"
		}
		d.text(r.x.at(v), bottom+16, anchor, "", word)
	}
	d.lines("tick", below)
}

// end is where a beat ends on the trace: at its next foot, or at the next beat.
func end(beats []Beat, i int) float64 {
	b := beats[i]
	switch {
	case !math.IsNaN(b.PeriodS):
		return b.FootS + b.PeriodS
	case i+1 < len(beats):
		return math.Min(beats[i+1].FootS, b.FootS+1)
	}
	return b.FootS + 0.8
}

// beats marks every beat of the row: a dot at its foot where it was accepted; a
// cross, a hatched stretch and the reason where it was rejected.
func (r *traceRow) beats(d *drawing) {
	beats := r.sheet.Beats
	var hatch, dots, crosses curve
	free := [2]float64{} // where the two lines of reasons are free again
	marks := r.y.a + bandMarks/2
	for i := 0; i < len(beats); i++ {
		b := beats[i]
		if b.FootS < r.from || b.FootS >= r.to {
			continue
		}
		x := r.x.at(b.FootS)
		if b.Accepted {
			dots.to(x, marks)
			dots.to(x+0.5, marks)
			dots.lift()
			continue
		}
		cross(&crosses, x, marks)
		hatched(&hatch, x, math.Min(r.x.at(end(beats, i)), r.x.b), r.y.b, r.y.a)
		if i > 0 && !beats[i-1].Accepted && beats[i-1].Reason == b.Reason && beats[i-1].FootS >= r.from {
			continue // the label of the run stands already
		}
		word := words(b.Reason)
		if n := alike(beats[i:]); n > 1 {
			word += fmt.Sprintf(" ×%d", n)
		}
		r.label(d, &free, x, word)
	}
	d.curve("hatch", &hatch)
	d.curve("dot", &dots)
	d.curve("cross", &crosses)
}

// letter is the width of a letter of the labels, generously.
const letter = 6.6

// label puts a reason above its beat, on the line that is free; where neither
// is, the list of beats has it.
func (r *traceRow) label(d *drawing, free *[2]float64, x float64, word string) {
	width := letter * float64(len([]rune(word)))
	anchor, from := "start", x
	if x+width > r.x.b {
		anchor, from = "end", r.x.b-width
	}
	for line := range free {
		if from >= free[line] {
			if anchor == "end" {
				x = r.x.b
			}
			d.text(x, r.top+bandReason-6-14*float64(line), anchor, "why", word)
			free[line] = from + width + 6
			return
		}
	}
}

func alike(beats []Beat) int {
	n := 1
	for n < len(beats) && !beats[n].Accepted && beats[n].Reason == beats[0].Reason {
		n++
	}
	return n
}

func cross(c *curve, x, y float64) {
	c.lift()
	c.to(x-4, y-4)
	c.to(x+4, y+4)
	c.lift()
	c.to(x-4, y+4)
	c.to(x+4, y-4)
}

// hatched draws slanted lines over a stretch of the row.
func hatched(c *curve, from, to, top, bottom float64) {
	const apart, slant = 7, 12
	for x := from; x < to; x += apart {
		c.lift()
		c.to(x, bottom)
		c.to(math.Min(x+slant, to), bottom-(bottom-top)*math.Min(1, (to-x)/slant))
	}
}
