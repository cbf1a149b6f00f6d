package figure

import "math"

// Flow is the way of what is counted through the stages of a study.
type Flow struct {
	Name, Title, Desc string
	Start             string // the first box
	Stages            []Stage
}

// Stage is a box that is reached, and what left on the way to it. A branch stands
// beside the stages after it: it leads nowhere.
type Stage struct {
	Text   string
	Left   []string // one line a reason, number first
	Branch bool
}

const (
	flowBox   = 330.0 // width of a stage
	flowSide  = 340.0 // width of what left
	flowGap   = 40.0  // between stages, where the arrow stands
	flowLine  = 17.0
	flowInset = 10.0
)

// Draw draws the flow downwards, with what left at the right.
func (c Flow) Draw() *Figure {
	f := &Figure{Name: c.Name, Title: c.Title, Desc: c.Desc, Width: 720}
	y := f.textBox(4, 4, flowBox, c.Start, true)
	trunk := y
	for _, s := range c.Stages {
		x, from := 4.0, y
		if s.Branch {
			x = 34
		}
		width := flowBox - (x - 4)
		lines := f.wrapped(s.Left, flowSide-2*flowInset)
		left := 0.0
		if len(lines) > 0 {
			left = float64(len(lines))*flowLine + 2*flowInset
		}
		top := from + math.Max(flowGap, left+16)
		if s.Branch {
			top = from + math.Max(14, left-10)
		}
		bottom := f.textBox(x, top, width, s.Text, false)
		if s.Branch {
			middle := (top + bottom) / 2
			f.line(frame, 1.4, nil, point{18, trunk}, point{18, middle})
			f.arrow(point{18, middle}, point{x, middle})
		} else {
			f.arrow(point{4 + flowBox/2, from}, point{4 + flowBox/2, top})
			trunk = bottom
		}
		if left > 0 {
			at := (from+top)/2 - left/2
			start := point{4 + flowBox/2, at + left/2}
			if s.Branch {
				at = math.Max(from+4, (top+bottom)/2-left/2)
				start = point{4 + flowBox, at + left/2}
			}
			f.arrow(start, point{720 - flowSide - 4, at + left/2})
			f.box(720-flowSide-4, at, flowSide, left, paper, frame)
			for i, l := range lines {
				f.text(720-flowSide-4+flowInset, at+flowInset+13+float64(i)*flowLine, l, normal, atStart)
			}
			bottom = math.Max(bottom, at+left)
		}
		y = bottom
	}
	f.Height = y + 6
	return f
}

func (f *Figure) wrapped(texts []string, width float64) []string {
	var lines []string
	for _, text := range texts {
		for i, l := range wrap(text, normal, width, false) {
			if i > 0 {
				l = "\u2003" + l
			}
			lines = append(lines, l)
		}
	}
	return lines
}

// textBox draws a box around a text and returns its lower edge.
func (f *Figure) textBox(x, y, width float64, text string, bold bool) float64 {
	lines := wrap(text, large, width-2*flowInset, bold)
	height := float64(len(lines))*flowLine + 2*flowInset
	f.box(x, y, width, height, paper, ink)
	for i, l := range lines {
		at := y + flowInset + 13 + float64(i)*flowLine
		if bold {
			f.boldText(x+width/2, at, l, large, atMiddle)
		} else {
			f.text(x+width/2, at, l, large, atMiddle)
		}
	}
	return y + height
}

// arrow draws a line with a head at its end; it runs level or upright.
func (f *Figure) arrow(from, to point) {
	f.line(frame, 1.4, nil, from, to)
	if from.y == to.y {
		f.area(frame, "", 0, to, point{to.x - 8, to.y - 4}, point{to.x - 8, to.y + 4})
		return
	}
	f.area(frame, "", 0, to, point{to.x - 4, to.y - 8}, point{to.x + 4, to.y - 8})
}
