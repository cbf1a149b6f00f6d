package figure

import "math"

// Specification sets the same coefficient under many choices side by side: the
// estimates above, ascending, and below them which choice each was made under.
type Specification struct {
	Name, Title, Desc string
	YLabel            string
	Primary           int // column of the primary analysis; −1: none
	Columns           []Estimate
	Choices           []Choice
}

// Choice is a kind of decision and the ways it was taken.
type Choice struct {
	Label  string
	Levels []Level
}

// Level is one way; On says by column whether the estimate was made so.
type Level struct {
	Label string
	On    []bool
}

// Draw draws the columns over their choices.
func (c Specification) Draw() *Figure {
	const top, panel, row = 14.0, 220.0, 20.0
	f := &Figure{Name: c.Name, Title: c.Title, Desc: c.Desc, Width: 720}
	left := 70.0
	for _, choice := range c.Choices {
		left = max(left, widthOf(choice.Label, normal, true)+18)
		for _, l := range choice.Levels {
			left = max(left, widthOf(l.Label, normal, false)+34)
		}
	}
	left = min(left, 300)
	slot := min((f.Width-left-16)/float64(max(1, len(c.Columns))), 90)
	var values []float64
	for _, e := range c.Columns {
		values = append(values, e.Est, e.Low, e.High)
	}
	right := left + slot*float64(len(c.Columns))
	y := newAxis(values, top+panel, top, false, 5)
	f.beside(y, left, right, c.YLabel, true)
	if y.holds(0) {
		f.line(ink, 1, nil, point{left, y.at(0)}, point{right, y.at(0)})
	}
	if c.Primary >= 0 && !math.IsNaN(c.Columns[c.Primary].Est) {
		at := y.at(c.Columns[c.Primary].Est)
		f.line(frame, 1, []float64{5, 3}, point{left, at}, point{right, at})
	}
	middle := func(k int) float64 { return left + (float64(k)+0.5)*slot }
	for k, e := range c.Columns {
		f.column(e, middle(k), y, k == c.Primary)
	}
	at := top + panel + 12
	f.text(left-8, at+14, "n", normal, atEnd)
	tall := 0.0 // of counts that are wider than their column, and so stand upright
	for _, e := range c.Columns {
		if width := widthOf(e.N, small, false); width > slot-4 {
			tall = max(tall, width)
		}
	}
	for k, e := range c.Columns {
		if tall > 0 {
			f.turnedText(middle(k)+4, at+4+tall/2, e.N, small)
		} else {
			f.text(middle(k), at+14, e.N, small, atMiddle)
		}
	}
	at += max(24, tall+12)
	for _, choice := range c.Choices {
		f.boldText(6, at+15, choice.Label, normal, atStart)
		at += row
		for _, l := range choice.Levels {
			f.line(rule, 1, nil, point{left, at + 10}, point{right, at + 10})
			for k, on := range l.On {
				if on {
					f.choice(middle(k), at+10, k == c.Primary)
				}
			}
			for i, text := range wrap(l.Label, normal, left-30, false) {
				if i > 0 {
					at += 15
				}
				f.text(20, at+14, text, normal, atStart)
			}
			at += row
		}
		at += 6
	}
	f.Height = at + 4
	return f
}

func primaryLook(primary bool) look {
	if primary {
		return lookOf(3)
	}
	return lookOf(0)
}

func (f *Figure) choice(x, y float64, primary bool) { f.marker(x, y, 4, primaryLook(primary)) }

// column draws one estimate upright; the primary has a marker of its own.
func (f *Figure) column(e Estimate, x float64, y axis, primary bool) {
	if math.IsNaN(e.Est) {
		return
	}
	l := primaryLook(primary)
	if !math.IsNaN(e.Low) && !math.IsNaN(e.High) {
		f.line(l.colour, 2, nil, point{x, y.at(e.Low)}, point{x, y.at(e.High)})
		for _, v := range []float64{e.Low, e.High} {
			f.line(l.colour, 2, nil, point{x - 4, y.at(v)}, point{x + 4, y.at(v)})
		}
	}
	f.marker(x, y.at(e.Est), 5, l)
	if primary {
		f.text(x+9, y.at(e.Est)-7, "primary", small, atStart)
	}
}
