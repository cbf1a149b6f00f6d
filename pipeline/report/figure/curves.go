package figure

import (
	"math"
	"slices"
)

// Curves are lines over a common axis, a panel beside a panel.
type Curves struct {
	Name, Title, Desc string
	XLabel, YLabel    string
	Panels            []Panel
}

// Panel is one plot.
type Panel struct {
	Title string
	Lines []Line
}

// Line is a curve with its direct label. X ascends; a gap is NaN. Low and High are
// a band about it, nil for none.
type Line struct {
	Label     string
	X, Y      []float64
	Low, High []float64
	Weight    int // 0 the main line, then less and less
}

// Draw draws the panels on the same two axes.
func (c Curves) Draw() *Figure {
	const left, right, top, bottom, between, height = 62.0, 48.0, 30.0, 48.0, 46.0, 400.0
	f := &Figure{Name: c.Name, Title: c.Title, Desc: c.Desc, Width: 720, Height: height}
	if len(c.Panels) == 1 {
		f.Width = 480
	}
	var xs, ys []float64
	for _, p := range c.Panels {
		for _, l := range p.Lines {
			xs = append(xs, known(l.X, l.Y)...)
			ys = append(append(append(ys, l.Y...), l.Low...), l.High...)
		}
	}
	n := float64(len(c.Panels))
	width := (f.Width - left - right - (n-1)*between) / n
	for i, p := range c.Panels {
		from := left + float64(i)*(width+between)
		x := newAxis(xs, from, from+width, false, 5)
		y := newAxis(ys, height-bottom, top, false, 6)
		yLabel := c.YLabel
		if i > 0 {
			yLabel = ""
		}
		f.below(x, height-bottom, top, c.XLabel)
		f.beside(y, from, from+width, yLabel, i == 0)
		f.boldText(from, top-10, p.Title, large, atStart)
		f.lines(p.Lines, x, y)
	}
	return f
}

// known are the places of the values that are there.
func known(x, y []float64) []float64 {
	var out []float64
	for i := range x {
		if !math.IsNaN(y[i]) {
			out = append(out, x[i])
		}
	}
	return out
}

// lines draws bands, then lines, then the labels at the right ends.
func (f *Figure) lines(list []Line, x, y axis) {
	for _, l := range list {
		f.band(l, x, y)
	}
	type end struct {
		at   float64
		x    float64
		text string
		bold bool
	}
	var ends []end
	for _, l := range list {
		width, dash := 2.4, []float64(nil)
		if l.Weight > 0 {
			width, dash = 1.5, [][]float64{{8, 3}, {4, 3}, {1.5, 2.5}}[min(l.Weight-1, 2)]
		}
		var run []point
		var last *point
		for i := range l.X {
			if math.IsNaN(l.Y[i]) {
				if len(run) > 1 {
					f.line(blue, width, dash, run...)
				}
				run = nil
				continue
			}
			run = append(run, point{x.at(l.X[i]), y.at(l.Y[i])})
			last = &run[len(run)-1]
		}
		if len(run) > 1 {
			f.line(blue, width, dash, run...)
		}
		if last != nil {
			ends = append(ends, end{last.y, last.x, l.Label, l.Weight == 0})
		}
	}
	slices.SortStableFunc(ends, func(a, b end) int {
		switch {
		case a.at < b.at:
			return -1
		case a.at > b.at:
			return 1
		}
		return 0
	})
	places := make([]float64, len(ends))
	for i, e := range ends {
		places[i] = e.at
	}
	for i, at := range apart(places, 13, y.to, y.from) {
		if ends[i].bold {
			f.boldText(ends[i].x+5, at+4, ends[i].text, small, atStart)
		} else {
			f.text(ends[i].x+5, at+4, ends[i].text, small, atStart)
		}
	}
}

func (f *Figure) band(l Line, x, y axis) {
	if l.Low == nil {
		return
	}
	var upper, lower []point
	for i := range l.X {
		if math.IsNaN(l.Low[i]) || math.IsNaN(l.High[i]) {
			continue
		}
		upper = append(upper, point{x.at(l.X[i]), y.at(l.High[i])})
		lower = append(lower, point{x.at(l.X[i]), y.at(l.Low[i])})
	}
	if len(upper) < 2 {
		return
	}
	back := slices.Clone(lower)
	slices.Reverse(back)
	f.area(shade, "", 0, append(slices.Clone(upper), back...)...)
	f.line(blue, 0.7, nil, upper...)
	f.line(blue, 0.7, nil, lower...)
}
