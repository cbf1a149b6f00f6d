package figure

import "math"

// Forest is a list of estimates with intervals, in groups.
type Forest struct {
	Name, Title, Desc string
	Columns           [3]string // above labels, counts and values
	Axis              string    // what the estimate is, with its unit; of a shared scale
	Shared            bool      // one scale for all groups; else each has its own, of its own unit
	Groups            []Group
}

// Group is rows under a heading.
type Group struct {
	Heading string
	Log     bool // a ratio: no effect is 1
	Rows    []Estimate
}

// Estimate is one row. Where Est is NaN, Value says why nothing is drawn. Limits
// of agreement, NaN for none, have intervals of their own.
type Estimate struct {
	Label, N, Value string
	Est, Low, High  float64
	Limits          []Limit
	Series          int
}

// Limit is a limit of agreement with its interval.
type Limit struct{ At, Low, High float64 }

const (
	forestRow  = 22.0
	forestLine = 15.0
	forestPad  = 8.0
)

// forestLayout is where the columns stand.
type forestLayout struct {
	labels   float64 // width of the label column
	n        float64 // right end of the counts
	from, to float64 // of the plot
	values   float64 // left end of the values

}

// Draw draws the estimates below each other, texts at both sides.
func (c Forest) Draw() *Figure {
	f := &Figure{Name: c.Name, Title: c.Title, Desc: c.Desc, Width: 760}
	l := c.layout()
	for i, text := range c.Columns {
		switch i {
		case 0:
			f.boldText(4, 18, text, normal, atStart)
		case 1:
			f.boldText(l.n, 18, text, normal, atEnd)
		default:
			f.boldText(f.Width-4, 18, text, normal, atEnd)
		}
	}
	f.line(ink, 1.2, nil, point{0, 26}, point{f.Width, 26})
	y := 32.0
	shared := axis{}
	if c.Shared {
		shared = newAxis(c.values(c.Groups), l.from, l.to, c.anyLog(), 5)
		end := y
		for _, g := range c.Groups {
			end += c.heightOf(g, l)
		}
		f.below(shared, end+4, y, c.Axis)
		f.null(shared, y, end+4)
	}
	for _, g := range c.Groups {
		y = c.drawGroup(f, g, l, y, shared)
	}
	f.Height = y + 6
	if c.Shared {
		f.Height += 44
	}
	return f
}

func (c Forest) layout() forestLayout {
	labels, counts, values := widthOf(c.Columns[0], normal, true)+8, widthOf(c.Columns[1], normal, true), widthOf(c.Columns[2], normal, true)
	for _, g := range c.Groups {
		for _, r := range g.Rows {
			labels = max(labels, widthOf(r.Label, normal, false)+16)
			counts = max(counts, widthOf(r.N, normal, false))
			values = max(values, widthOf(r.Value, normal, false))
		}
	}
	labels, values = min(labels, 235), min(values, 230)
	l := forestLayout{labels: labels, n: labels + 14 + counts}
	l.from, l.to = l.n+16, 760-values-20
	l.values = l.to + 14
	return l
}

// values are what an axis of some groups must hold.
func (c Forest) values(groups []Group) []float64 {
	var list []float64
	for _, g := range groups {
		for _, r := range g.Rows {
			list = append(list, r.Est, r.Low, r.High)
			for _, limit := range r.Limits {
				list = append(list, limit.At, limit.Low, limit.High)
			}
		}
		if g.Log {
			list = append(list, 1)
		} else {
			list = append(list, 0)
		}
	}
	return list
}

func (c Forest) anyLog() bool { return len(c.Groups) > 0 && c.Groups[0].Log }

func (c Forest) heightOf(g Group, l forestLayout) float64 {
	height := forestPad
	if g.Heading != "" {
		height += float64(len(wrap(g.Heading, normal, 740, true)))*forestLine + 6
	}
	for _, r := range g.Rows {
		height += rowHeight(r, l)
	}
	if !c.Shared {
		height += 26
	}
	return height
}

func rowHeight(r Estimate, l forestLayout) float64 {
	lines := max(len(wrap(r.Label, normal, l.labels-14, false)), len(wrap(r.Value, normal, 760-l.values, false)))
	return forestRow + float64(lines-1)*forestLine
}

// null draws the line of no difference.
func (f *Figure) null(a axis, top, bottom float64) {
	v := 0.0
	if a.log {
		v = 1
	}
	if a.holds(v) {
		f.line(ink, 1.2, nil, point{a.at(v), top}, point{a.at(v), bottom})
	}
}

func (c Forest) drawGroup(f *Figure, g Group, l forestLayout, y float64, a axis) float64 {
	if g.Heading != "" {
		lines := wrap(g.Heading, normal, 740, true)
		for i, text := range lines {
			f.boldText(4, y+13+float64(i)*forestLine, text, normal, atStart)
		}
		y += float64(len(lines))*forestLine + 6
	}
	if !c.Shared {
		a = newAxis(c.values([]Group{g}), l.from, l.to, g.Log, 3)
		end := y
		for _, r := range g.Rows {
			end += rowHeight(r, l)
		}
		f.below(a, end+2, y, "")
		f.null(a, y, end+2)
	}
	for _, r := range g.Rows {
		f.row(r, l, y, a)
		y += rowHeight(r, l)
	}
	if !c.Shared {
		y += 26
	}
	return y + forestPad
}

func (f *Figure) row(r Estimate, l forestLayout, y float64, a axis) {
	for i, text := range wrap(r.Label, normal, l.labels-14, false) {
		f.text(14, y+14+float64(i)*forestLine, text, normal, atStart)
	}
	f.text(l.n, y+14, r.N, normal, atEnd)
	for i, text := range wrap(r.Value, normal, 760-l.values, false) {
		f.text(756, y+14+float64(i)*forestLine, text, normal, atEnd)
	}
	if math.IsNaN(r.Est) || a.log && r.Est <= 0 {
		return
	}
	middle, s := y+10, lookOf(r.Series)
	for _, limit := range r.Limits {
		f.interval(limit.Low, limit.High, middle, 1.2, s, a)
		f.line(s.colour, 2.2, nil, point{a.at(limit.At), middle - 7}, point{a.at(limit.At), middle + 7})
	}
	if len(r.Limits) == 2 {
		f.line(s.colour, 1, []float64{2, 3}, point{a.at(r.Limits[0].At), middle}, point{a.at(r.Limits[1].At), middle})
	}
	f.interval(r.Low, r.High, middle, 2, s, a)
	f.marker(a.at(r.Est), middle, 4.5, s)
}

// interval draws a bar with an end at both sides; an end outside the axis is an
// arrow.
func (f *Figure) interval(low, high, y, width float64, s look, a axis) {
	if math.IsNaN(low) || math.IsNaN(high) {
		return
	}
	f.line(s.colour, width, nil, point{a.at(low), y}, point{a.at(high), y})
	for _, end := range []struct{ v, side float64 }{{low, -1}, {high, 1}} {
		x := a.at(end.v)
		if a.holds(end.v) {
			f.line(s.colour, width, nil, point{x, y - 4}, point{x, y + 4})
		} else {
			f.area(s.colour, "", 0, point{x + end.side*2, y}, point{x - end.side*6, y - 4}, point{x - end.side*6, y + 4})
		}
	}
}
