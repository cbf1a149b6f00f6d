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
		s.N = slices.Delete(s.N, k, k+1)
	}
}

// Draw draws the series beside each other, with the number of people below.
func (c Bands) Draw() *Figure {
	const left, right, top = 62.0, 14.0, 44.0
	rows := float64(len(c.Series))
	f := &Figure{Name: c.Name, Title: c.Title, Desc: c.Desc, Width: 720, Height: 350 + 48 + 22 + 17*rows}
	plot := f.Height - 48 - 22 - 17*rows // lower edge of the panel
	var ys []float64
	for _, s := range c.Series {
		for _, list := range [][]float64{s.Mean, s.Low, s.High, s.P10, s.P90} {
			ys = append(ys, list...)
		}
	}
	if !math.IsNaN(c.Line) {
		ys = append(ys, c.Line)
	}
	y := newAxis(ys, plot, top, false, 6)
	labels := left
	for _, s := range c.Series {
		labels = max(labels, widthOf("n, "+s.Label, small, false)+16)
	}
	f.beside(y, labels, f.Width-right, c.YLabel, true)
	f.line(frame, 1.2, nil, point{labels, plot}, point{f.Width - right, plot})
	slot := (f.Width - right - labels) / float64(max(1, len(c.Categories)))
	if !math.IsNaN(c.Line) {
		f.line(ink, 1.2, []float64{10, 3, 2, 3}, point{labels, y.at(c.Line)}, point{f.Width - right, y.at(c.Line)})
		f.text(labels+4, y.at(c.Line)-4, c.LineLabel, small, atStart)
	}
	f.legend(c.Series, labels)
	for k, name := range c.Categories {
		middle := labels + (float64(k)+0.5)*slot
		for i, l := range wrap(name, small, slot-4, false) {
			if i < 2 {
				f.text(middle, plot+17+float64(i)*14, l, small, atMiddle)
			}
		}
		for i, s := range c.Series {
			x := middle + (float64(i)-(rows-1)/2)*min(24, slot/(rows+1))
			f.estimate(s, k, x, y, lookOf(i))
			f.text(middle, plot+68+float64(i)*17, s.N[k], small, atMiddle)
		}
	}
	f.text((labels+f.Width-right)/2, plot+48, c.XLabel, normal, atMiddle)
	for i, s := range c.Series {
		f.text(8, plot+68+float64(i)*17, "n, "+s.Label, small, atStart)
	}
	return f
}

// legend names the series by the very marker, in one line above the panel.
func (f *Figure) legend(list []Series, x float64) {
	for i, s := range list {
		f.marker(x+8, 18, 5, lookOf(i))
		f.text(x+19, 22, s.Label, normal, atStart)
		x += 19 + widthOf(s.Label, normal, false) + 24
	}
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
