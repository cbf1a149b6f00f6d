package figure

import (
	"fmt"
	"math"
	"slices"
)

// MostPoints is how many points of single persons are drawn one by one in a panel;
// of more, squares stand for how many lie in them, so that a figure of a million
// persons has the size of one of a thousand and no point is left out.
const MostPoints = 2000

// Scatter is points of single persons, a panel beside a panel on the same axes,
// with curves and level lines over them.
type Scatter struct {
	Name, Title, Desc string
	XLabel, YLabel    string
	Series            []string // names of those that a panel tells apart, in the legend; nil: none
	Panels            []Cloud
}

// Cloud is one panel. Points with a NaN are passed over.
type Cloud struct {
	Title  string
	X, Y   []float64
	Of     []int8      // the series of each point; nil: all are alike
	Part   bool        // the panel is of the points of one series alone
	Series int8        // that series
	Lines  []Line      // over the points
	Levels []LevelLine // from edge to edge
}

// each visits the points that the panel is of.
func (p Cloud) each(visit func(i int)) {
	for i := range p.X {
		if !math.IsNaN(p.X[i]) && !math.IsNaN(p.Y[i]) && (!p.Part || p.Of[i] == p.Series) {
			visit(i)
		}
	}
}

// ends widens two numbers to take in a further one.
func ends(of []float64, v float64) []float64 {
	if len(of) == 0 {
		return []float64{v, v}
	}
	of[0], of[1] = min(of[0], v), max(of[1], v)
	return of
}

// LevelLine is a horizontal line with its label at the right; that of a threshold
// stands in the legend, since it says at length what the threshold is not.
type LevelLine struct {
	At        float64
	Label     string
	Main      bool
	Threshold bool
}

// bins is how many squares an axis is cut into.
const bins = 48

// Draw draws the panels.
func (c Scatter) Draw() *Figure {
	const left, bottom, between, plot = 62.0, 48.0, 20.0, 318.0
	f := &Figure{Name: c.Name, Title: c.Title, Desc: c.Desc, Width: 720}
	switch n := len(c.Panels); {
	case n == 1:
		f.Width = 560
	case n > 2:
		f.Width = 360 * float64(n)
	}
	top := 34.0
	if entries := c.entries(f); len(entries) > 0 {
		top += f.legend(entries) + 2
	}
	height := top + plot + bottom
	f.Height = height
	var xs, ys []float64 // what the axes must reach
	right := 14.0
	for _, p := range c.Panels {
		var xEnds, yEnds []float64
		p.each(func(i int) { xEnds, yEnds = ends(xEnds, p.X[i]), ends(yEnds, p.Y[i]) })
		xs, ys = append(xs, xEnds...), append(ys, yEnds...)
		for _, l := range p.Lines {
			xs, ys = append(xs, known(l.X, l.Y)...), append(ys, l.Y...)
			right = max(right, widthOf(l.Label, small, true)+9)
		}
		for _, l := range p.Levels {
			ys = append(ys, l.At)
			if l.Threshold {
				continue
			}
			right = max(right, widthOf(l.Label, small, true)+9)
		}
	}
	n := float64(len(c.Panels))
	width := (f.Width - left - n*right - (n-1)*between) / n
	for i, p := range c.Panels {
		from := left + float64(i)*(width+right+between)
		x, y := newAxis(xs, from, from+width, false, 5), newAxis(ys, height-bottom, top, false, 6)
		label := c.YLabel
		if i > 0 {
			label = ""
		}
		f.below(x, height-bottom, top, c.XLabel)
		f.beside(y, from, from+width, label, i == 0)
		f.boldText(from, top-12, p.Title, large, atStart)
		f.cloud(p, x, y)
		f.lines(p.Lines, x, y)
		f.levels(p.Levels, x, y)
	}
	return f
}

// entries name the series by their very markers, and each threshold once.
func (c Scatter) entries(f *Figure) []entry {
	var list []entry
	for i, name := range c.Series {
		list = append(list, entry{name, 19, func(x, y float64) { f.point(x+8, y, int8(i)) }})
	}
	var named []string
	for _, p := range c.Panels {
		for _, l := range p.Levels {
			if l.Threshold && !slices.Contains(named, l.Label) {
				named = append(named, l.Label)
				list = append(list, f.thresholdEntry(l.Label))
			}
		}
	}
	return list
}

// point draws a person of a series: signs that can be told apart where they lie over
// each other.
func (f *Figure) point(x, y float64, series int8) {
	const r = 2.6
	switch l := lookOf(int(series)); series % 4 {
	case 0:
		f.add(shape{kind: disc, points: []point{{x, y}}, radius: r, stroke: l.colour, width: 1.1})
	case 1:
		f.line(l.colour, 1.2, nil, point{x - r, y - r}, point{x + r, y + r})
		f.line(l.colour, 1.2, nil, point{x - r, y + r}, point{x + r, y - r})
	case 2:
		f.area("", l.colour, 1.1, point{x, y - 1.3*r}, point{x + 1.3*r, y + r}, point{x - 1.3*r, y + r})
	default:
		f.area("", l.colour, 1.1, point{x - r, y - r}, point{x + r, y - r}, point{x + r, y + r}, point{x - r, y + r})
	}
}

// cloud draws the points, or how many lie in each square.
func (f *Figure) cloud(p Cloud, x, y axis) {
	shown := 0
	p.each(func(int) { shown++ })
	if shown <= MostPoints {
		p.each(func(i int) {
			if at := (point{x.at(p.X[i]), y.at(p.Y[i])}); p.Of != nil {
				f.point(at.x, at.y, p.Of[i])
			} else {
				f.add(shape{kind: disc, points: []point{at}, radius: 2, stroke: frame, width: 0.9})
			}
		})
		return
	}
	side := (x.to - x.from) / bins
	rows := int((y.from-y.to)/side) + 1
	counts := make([]int, bins*rows)
	most := 0
	p.each(func(i int) {
		column, row := min(bins-1, int((x.at(p.X[i])-x.from)/side)), min(rows-1, int((y.from-y.at(p.Y[i]))/side))
		counts[row*bins+column]++
		most = max(most, counts[row*bins+column])
	})
	colour := frame
	if p.Part {
		colour = lookOf(int(p.Series)).colour
	}
	for k, n := range counts {
		if n == 0 {
			continue
		}
		// The side grows with the root, the area with the number; one person is seen.
		half := max(0.8, side/2*math.Sqrt(float64(n)/float64(most)))
		cx, cy := x.from+(float64(k%bins)+0.5)*side, y.from-(float64(k/bins)+0.5)*side
		f.area(colour, "", 0, point{cx - half, cy - half}, point{cx + half, cy - half}, point{cx + half, cy + half}, point{cx - half, cy + half})
	}
	f.text(x.to, y.to-12, fmt.Sprintf("largest square: %d points", most), small, atEnd)
}

// levels draws lines from edge to edge, their labels apart at the right.
func (f *Figure) levels(levels []LevelLine, x, y axis) {
	var list []LevelLine
	for _, l := range levels {
		if l.Threshold {
			f.line(ink, 1.6, threshold, point{x.from, y.at(l.At)}, point{x.to, y.at(l.At)})
			continue
		}
		list = append(list, l)
	}
	places := make([]float64, len(list))
	for i, l := range list { // ascending places: the list comes from above
		places[i] = y.at(l.At)
		width, dash := 1.2, []float64{6, 3}
		if l.Main {
			width, dash = 2, nil
		}
		f.line(blue, width, dash, point{x.from, places[i]}, point{x.to, places[i]})
	}
	for i, at := range apart(places, 13, y.to, y.from) {
		f.text(x.to+5, at+4, list[i].Label, small, atStart)
	}
}
