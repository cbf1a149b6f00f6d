package sheets

import (
	"fmt"
	"math"
	"strconv"
)

// A curve is drawn in half pixels with whole numbers and scaled down, which makes
// it a third as long as text; points that the eye cannot tell from the line
// between their neighbours are left out, which halves it again.
type curve struct {
	strokes [][]place
	lifted  bool
}

// place is a point in half pixels.
type place struct{ x, y int }

// blur is how far the drawn line may lie beside a point that was left out, in half
// pixels: a third of a pixel, less than half the width of the thinnest line.
const blur = 2.0 / 3

// to goes on to a point in pixels.
func (c *curve) to(x, y float64) {
	p := place{int(math.Round(2 * x)), int(math.Round(2 * y))}
	if len(c.strokes) == 0 || c.lifted {
		c.strokes = append(c.strokes, nil)
		c.lifted = false
	}
	last := &c.strokes[len(c.strokes)-1]
	*last = append(*last, p)
}

// lift makes the next point the start of a new stroke.
func (c *curve) lift() { c.lifted = true }

// path is the curve as SVG writes it: from stroke to stroke, and within one from
// point to point, by the difference alone. A stroke of one point is a dot.
func (c *curve) path() []byte {
	var data []byte
	for _, stroke := range c.strokes {
		kept := thinned(stroke)
		data = append(strconv.AppendInt(append(data, 'M'), int64(kept[0].x), 10), ' ')
		data = append(strconv.AppendInt(data, int64(kept[0].y), 10), 'l')
		if len(kept) == 1 {
			kept = append(kept, kept[0])
		}
		for i := 1; i < len(kept); i++ {
			data = step(data, kept[i].x-kept[i-1].x)
			data = step(data, kept[i].y-kept[i-1].y)
		}
	}
	return data
}

// step appends a number; a minus sign parts it from the last one already.
func step(data []byte, n int) []byte {
	if n >= 0 && data[len(data)-1] != 'l' {
		data = append(data, ' ')
	}
	return strconv.AppendInt(data, int64(n), 10)
}

// thinned leaves out of a stroke what lies within blur of the line through the
// points that stay (Ramer 1972, Computer Graphics and Image Processing 1:244-56;
// Douglas and Peucker 1973; both from memory).
func thinned(stroke []place) []place {
	keep := make([]bool, len(stroke))
	keep[0], keep[len(stroke)-1] = true, true
	for open := [][2]int{{0, len(stroke) - 1}}; len(open) > 0; {
		part := open[len(open)-1]
		open = open[:len(open)-1]
		if at, off := farthest(stroke, part[0], part[1]); off > blur {
			keep[at] = true
			open = append(open, [2]int{part[0], at}, [2]int{at, part[1]})
		}
	}
	var kept []place
	for i, p := range stroke {
		if keep[i] && (len(kept) == 0 || p != kept[len(kept)-1]) {
			kept = append(kept, p)
		}
	}
	return kept
}

// farthest is the point between two others that lies farthest from the line that
// joins them, and how far.
func farthest(stroke []place, from, to int) (at int, off float64) {
	a, b := stroke[from], stroke[to]
	dx, dy := float64(b.x-a.x), float64(b.y-a.y)
	square := float64(dx*dx) + float64(dy*dy)
	for i := from + 1; i < to; i++ {
		x, y := float64(stroke[i].x-a.x), float64(stroke[i].y-a.y)
		along := 0.0
		if square > 0 {
			along = math.Min(1, math.Max(0, (float64(x*dx)+float64(y*dy))/square))
		}
		if d := math.Hypot(x-float64(along*dx), y-float64(along*dy)); d > off {
			at, off = i, d
		}
	}
	return at, off
}

func (d *drawing) curve(class string, c *curve) {
	if len(c.strokes) > 0 {
		fmt.Fprintf(d, `<path class="%s" transform="scale(.5)" d="%s"/>`, class, c.path())
	}
}

// strip draws samples that stand evenly from x0 on, x pixels apart, as the eye
// can see them: of each column of pixels the lowest and the highest, in their
// order. Missing samples lift the pen.
func (c *curve) strip(samples []float64, x0, apart float64, y func(float64) float64) {
	for i := 0; i < len(samples); {
		column := math.Floor(x0 + float64(float64(i)*apart))
		end := i + 1
		for end < len(samples) && math.Floor(x0+float64(float64(end)*apart)) == column {
			end++
		}
		c.column(samples[i:end], x0+float64(float64(i)*apart), apart, y)
		i = end
	}
}

func (c *curve) column(samples []float64, x, apart float64, y func(float64) float64) {
	low, high := -1, -1
	for i, v := range samples {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			continue
		}
		if low < 0 || v < samples[low] {
			low = i
		}
		if high < 0 || v > samples[high] {
			high = i
		}
	}
	if low < 0 {
		c.lift()
		return
	}
	for _, i := range [2]int{min(low, high), max(low, high)} {
		c.to(x+float64(float64(i)*apart), y(samples[i]))
	}
}
