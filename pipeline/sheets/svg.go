package sheets

import (
	"bytes"
	"fmt"
	"html"
	"html/template"
	"math"
	"strconv"
)

// drawing gathers an SVG image in CSS pixels.
type drawing struct {
	bytes.Buffer
}

// open begins an image with its name and its finding in a sentence.
func (d *drawing) open(class string, width, height int, title, description string) {
	fmt.Fprintf(d, `<svg class="%s" role="img" width="%d" height="%d" viewBox="0 0 %d %d" aria-label="%s. %s">`,
		class, width, height, width, height, html.EscapeString(title), html.EscapeString(description))
}

func (d *drawing) close() template.HTML {
	d.WriteString("</svg>")
	return template.HTML(d.String()) //nolint:gosec // every text in it went through html.EscapeString
}

// text puts a word at a place; anchor is start, middle or end.
func (d *drawing) text(x, y float64, anchor, class, word string) {
	if anchor != "start" {
		anchor = ` text-anchor="` + anchor + `"`
	} else {
		anchor = ""
	}
	if class != "" {
		class = ` class="` + class + `"`
	}
	fmt.Fprintf(d, `<text paint-order="stroke" x="%s" y="%s"%s%s>%s</text>`, short(x), short(y), anchor, class, html.EscapeString(word))
}

func (d *drawing) line(class string, x1, y1, x2, y2 float64) {
	fmt.Fprintf(d, `<path class="%s" d="M%s %sL%s %s"/>`, class, short(x1), short(y1), short(x2), short(y2))
}

func short(v float64) string {
	return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64)
}

// A curve is drawn in half pixels with whole numbers and scaled down, which
// makes it a third as long as text.
type curve struct {
	data   []byte
	x, y   int
	length int
	moving bool
}

// to goes on to a point in pixels; a point that is where the last one was is
// left out.
func (c *curve) to(x, y float64) {
	h, v := int(math.Round(2*x)), int(math.Round(2*y))
	switch {
	case c.length == 0 || c.moving:
		c.data = append(c.data, 'M')
		c.data = strconv.AppendInt(c.data, int64(h), 10)
		c.number(v)
		c.data = append(c.data, 'l')
		c.moving = false
		c.x, c.y = h, v
		c.number(0)
		c.number(0)
	case h != c.x || v != c.y:
		c.number(h - c.x)
		c.number(v - c.y)
		c.x, c.y = h, v
	}
	c.length++
}

// lift makes the next point the start of a new stroke.
func (c *curve) lift() { c.moving = true }

func (c *curve) number(n int) {
	if n >= 0 && c.data[len(c.data)-1] != 'l' {
		c.data = append(c.data, ' ')
	}
	c.data = strconv.AppendInt(c.data, int64(n), 10)
}

func (d *drawing) curve(class string, c *curve) {
	if c.length > 0 {
		fmt.Fprintf(d, `<path class="%s" transform="scale(.5)" d="%s"/>`, class, c.data)
	}
}

// span maps values from low to high onto pixels from a to b.
type span struct{ low, high, a, b float64 }

func (s span) at(v float64) float64 {
	return s.a + float64((s.b-s.a)*(v-s.low)/(s.high-s.low))
}

// clamped is at with what lies outside drawn at the edge.
func (s span) clamped(v float64) float64 { return s.at(math.Min(math.Max(v, s.low), s.high)) }

// ticks are round numbers within the span, about n of them.
func (s span) ticks(n int) (at []float64, digits int) {
	width := s.high - s.low
	if !(width > 0) || math.IsInf(width, 0) {
		return nil, 0
	}
	step := math.Pow(10, math.Floor(math.Log10(width/float64(n))))
	for _, times := range []float64{1, 2, 5, 10} {
		if width/(step*times) <= float64(n)+0.5 {
			step *= times
			break
		}
	}
	digits = max(0, int(-math.Floor(math.Log10(step)+1e-9)))
	for k := math.Ceil(s.low/step - 1e-9); float64(k*step) <= s.high+1e-9*width; k++ {
		at = append(at, float64(k*step))
	}
	return at, digits
}

func number(v float64, digits int) string {
	text := strconv.FormatFloat(v, 'f', digits, 64)
	if zero := strconv.FormatFloat(0, 'f', digits, 64); text == "-"+zero {
		return zero
	}
	if text[0] == '-' {
		return "−" + text[1:]
	}
	return text
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
