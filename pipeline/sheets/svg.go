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
	fmt.Fprintf(d, `<svg class="%s" paint-order="stroke" role="img" width="%d" height="%d" viewBox="0 0 %d %d" aria-label="%s. %s">`,
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
	fmt.Fprintf(d, `<text x="%s" y="%s"%s%s>%s</text>`, short(x), short(y), anchor, class, html.EscapeString(word))
}

// lines draws straight lines of one kind, each from one point to another.
func (d *drawing) lines(class string, ends [][4]float64) {
	if len(ends) == 0 {
		return
	}
	fmt.Fprintf(d, `<path class="%s" d="`, class)
	for _, e := range ends {
		fmt.Fprintf(d, "M%s %sL%s %s", short(e[0]), short(e[1]), short(e[2]), short(e[3]))
	}
	d.WriteString(`"/>`)
}

func short(v float64) string {
	return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64)
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
