package figure

import (
	"math"
	"slices"
)

// Bands are series of values by category: a mean with its interval, and the
// spread of the people about it.
type Bands struct {
	Name, Title, Desc string
	XLabel, YLabel    string
	Categories        []string
	Series            []Series
	Line              float64 // a value to hold them to; NaN: none
	LineLabel         string
}

// Series has a value, or NaN, for every category.
type Series struct {
	Label     string
	Mean      []float64
	Low, High []float64 // interval of the mean
	P10, P90  []float64
	N         []string
	Sign      []string // what stands where no mean is: the sign of a hidden one
}

// DropEmpty leaves out a category of which nothing can be drawn.
func (c *Bands) DropEmpty(category string) {
	k := slices.Index(c.Categories, category)
	if k < 0 || slices.ContainsFunc(c.Series, func(s Series) bool { return !math.IsNaN(s.Mean[k]) }) {
		return
	}
	c.Categories = slices.Delete(c.Categories, k, k+1)
	for i := range c.Series {
		s := &c.Series[i]
		for _, list := range []*[]float64{&s.Mean, &s.Low, &s.High, &s.P10, &s.P90} {
			*list = slices.Delete(*list, k, k+1)
		}
		s.N, s.Sign = slices.Delete(s.N, k, k+1), slices.Delete(s.Sign, k, k+1)
	}
}

// bandsLeft is the most that the names of the series take at the left.
const bandsLeft, bandsLine = 190.0, 14.0

// Draw draws the series beside each other, with the number of people below.
func (c Bands) Draw() *Figure {
	const right = 14.0
	f := &Figure{Name: c.Name, Title: c.Title, Desc: c.Desc, Width: 720}
	var names [][]string // of the rows of counts
	labels := 62.0
	for _, s := range c.Series {
		lines := wrap("n, "+s.Label, small, bandsLeft-16, false)
		for _, l := range lines {
			labels = max(labels, widthOf(l, small, false)+16)
		}
		names = append(names, lines)
	}
	slot := (f.Width - right - labels) / float64(max(1, len(c.Categories)))
	var categories [][]string
	tall := 1
	for _, name := range c.Categories {
		lines := wrap(name, small, slot-4, false)
		categories = append(categories, lines)
		tall = max(tall, len(lines))
	}
	top := f.legend(c.entries(f)) + 8
	plot := top + 306 // lower edge of the panel
	y := newAxis(c.values(), plot, top, false, 6)
	f.beside(y, labels, f.Width-right, c.YLabel, true)
	f.line(frame, 1.2, nil, point{labels, plot}, point{f.Width - right, plot})
	if !math.IsNaN(c.Line) {
		f.line(ink, 1.2, threshold, point{labels, y.at(c.Line)}, point{f.Width - right, y.at(c.Line)})
	}
	under := plot + 17 + float64(tall)*bandsLine
	counts := under + 26
	for k := range c.Categories {
		middle := labels + (float64(k)+0.5)*slot
		for i, l := range categories[k] {
			f.text(middle, plot+17+float64(i)*bandsLine, l, small, atMiddle)
		}
		at := counts
		for i, s := range c.Series {
			rows := float64(len(c.Series))
			x := middle + (float64(i)-(rows-1)/2)*min(24, slot/(rows+1))
			f.estimate(s, k, x, y, lookOf(i))
			if s.Sign[k] != "" {
				f.text(x, plot-6, s.Sign[k], small, atMiddle)
			}
			f.text(middle, at, s.N[k], small, atMiddle)
			at += float64(len(names[i])-1)*bandsLine + 17
		}
	}
	f.text((labels+f.Width-right)/2, under+5, c.XLabel, normal, atMiddle)
	for _, lines := range names {
		for i, l := range lines {
			f.text(8, counts+float64(i)*bandsLine, l, small, atStart)
		}
		counts += float64(len(lines)-1)*bandsLine + 17
	}
	f.Height = counts
	return f
}

// values are what the axis must hold.
func (c Bands) values() []float64 {
	var ys []float64
	for _, s := range c.Series {
		for _, list := range [][]float64{s.Mean, s.Low, s.High, s.P10, s.P90} {
			ys = append(ys, list...)
		}
	}
	if !math.IsNaN(c.Line) {
		ys = append(ys, c.Line)
	}
	return ys
}

// threshold is the dash of a line that values are held to.
var threshold = []float64{10, 3, 2, 3}

// entries name each series by its very marker, and the line.
func (c Bands) entries(f *Figure) []entry {
	var list []entry
	for i, s := range c.Series {
		list = append(list, entry{s.Label, 19, func(x, y float64) { f.marker(x+8, y, 5, lookOf(i)) }})
	}
	if !math.IsNaN(c.Line) {
		list = append(list, f.thresholdEntry(c.LineLabel))
	}
	return list
}

// entry is a sign and what it means.
type entry struct {
	text string
	sign float64 // width that the sign takes
	draw func(x, y float64)
}

func (f *Figure) thresholdEntry(text string) entry {
	return entry{text, 34, func(x, y float64) { f.line(ink, 1.2, threshold, point{x + 2, y}, point{x + 28, y}) }}
}

// legend sets entries beside each other, in as many lines as they take, and returns
// its lower edge.
func (f *Figure) legend(list []entry) float64 {
	x, y := 8.0, 18.0
	for _, e := range list {
		lines := wrap(e.text, normal, f.Width-16-e.sign, false)
		if x > 8 && (len(lines) > 1 || x+e.sign+widthOf(e.text, normal, false) > f.Width-8) {
			x, y = 8, y+20
		}
		e.draw(x, y)
		for i, l := range lines {
			if i > 0 {
				y += forestLine
			}
			f.text(x+e.sign, y+4, l, normal, atStart)
		}
		x += e.sign + widthOf(lines[len(lines)-1], normal, false) + 24
		if len(lines) > 1 {
			x = f.Width // the next starts a line of its own
		}
	}
	return y + 8
}

func (f *Figure) estimate(s Series, k int, x float64, y axis, l look) {
	if !math.IsNaN(s.P10[k]) && !math.IsNaN(s.P90[k]) {
		f.line(l.colour, 1.2, l.dash, point{x, y.at(s.P10[k])}, point{x, y.at(s.P90[k])})
		for _, v := range []float64{s.P10[k], s.P90[k]} {
			f.line(l.colour, 1.2, nil, point{x - 4, y.at(v)}, point{x + 4, y.at(v)})
		}
	}
	if math.IsNaN(s.Mean[k]) {
		return
	}
	if !math.IsNaN(s.Low[k]) && !math.IsNaN(s.High[k]) {
		f.line(l.colour, 4, nil, point{x, y.at(s.Low[k])}, point{x, y.at(s.High[k])})
	}
	f.marker(x, y.at(s.Mean[k]), 5, l)
}
