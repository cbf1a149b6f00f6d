// Package figure draws charts for a report: flow of participants, curves over
// age, values by stratum, estimates with intervals, and a specification plot. A
// chart is made of plain data whose texts are in their last form, so that a figure
// says what the table beside it says.
//
// A figure is a list of a few shapes that are written as SVG (text as text, with
// title and description) or as PNG, the same shapes in both. Nothing is told by
// colour alone: every series has a marker or a dash of its own and a direct label.
// Colours are those of Okabe and Ito 2008 (Color Universal Design) that keep a
// contrast of 3:1 on white (WCAG 2.2, 1.4.11).
package figure

import (
	"sort"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	xfont "golang.org/x/image/font"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
	"gonum.org/v1/plot/font"
)

// Colours of what is drawn.
const (
	ink       = "#111111"
	blue      = "#0072B2"
	vermilion = "#D55E00"
	green     = "#009E73"
	purple    = "#AA5A8C" // reddish purple of the palette, darker so that small text keeps 4.5:1
	shade     = "#CCE3F0" // a light blue, only ever behind a line
	rule      = "#D9D9D9" // grid: decoration
	frame     = "#595959"
	paper     = "#FFFFFF"
)

// Sizes of text, in pixels; nothing is smaller than 12 at print size.
const (
	small  = 12.0
	normal = 13.0
	large  = 14.0
)

// Figure is a finished drawing.
type Figure struct {
	Name, Title, Desc string // Name is that of its file, without extension
	Mark              string // who may see it; "": it is part of a page that says so
	Width, Height     float64
	shapes            []shape
}

type point struct{ x, y float64 }

// kind of a shape.
type kind int

const (
	line kind = iota
	area
	disc
	label
)

// shape is one thing on the paper: a line or an area through points, a disc, or a
// text at its first point.
type shape struct {
	kind         kind
	points       []point
	radius       float64
	fill, stroke string // "": none
	width        float64
	dash         []float64
	text         string
	size         float64
	bold         bool
	anchor       anchor
	turned       bool // reads upwards
}

// anchor is the end of a text that stands at its point.
type anchor string

const (
	atStart  anchor = "start"
	atMiddle anchor = "middle"
	atEnd    anchor = "end"
)

// Alt is what a screen reader says of the figure: title and description.
func (f *Figure) Alt() string { return f.Title + ". " + f.Desc }

func (f *Figure) add(s shape) { f.shapes = append(f.shapes, s) }

func (f *Figure) line(stroke string, width float64, dash []float64, points ...point) {
	f.add(shape{kind: line, stroke: stroke, width: width, dash: dash, points: points})
}

func (f *Figure) area(fill, stroke string, width float64, points ...point) {
	f.add(shape{kind: area, fill: fill, stroke: stroke, width: width, points: points})
}

func (f *Figure) box(x, y, w, h float64, fill, stroke string) {
	f.area(fill, stroke, 1.2, point{x, y}, point{x + w, y}, point{x + w, y + h}, point{x, y + h})
}

func (f *Figure) text(x, y float64, text string, size float64, a anchor) {
	f.add(shape{kind: label, points: []point{{x, y}}, text: text, size: size, anchor: a, fill: ink})
}

func (f *Figure) boldText(x, y float64, text string, size float64, a anchor) {
	f.add(shape{kind: label, points: []point{{x, y}}, text: text, size: size, anchor: a, fill: ink, bold: true})
}

// turnedText writes a text that reads upwards, centred at its point.
func (f *Figure) turnedText(x, y float64, text string, size float64) {
	f.add(shape{kind: label, points: []point{{x, y}}, text: text, size: size, anchor: atMiddle, fill: ink, turned: true})
}

// look is how a series is told from others: colour and shape of its marker, and
// the dash of its line.
type look struct {
	colour string
	marker int // 0 disc, 1 square, 2 triangle, 3 diamond, 4 open disc, 5 open square
	dash   []float64
}

func lookOf(i int) look {
	looks := []look{{blue, 0, nil}, {vermilion, 1, []float64{7, 3}}, {green, 2, []float64{2, 3}}, {purple, 3, []float64{9, 3, 2, 3}}, {ink, 4, []float64{1, 3}}, {blue, 5, []float64{4, 4}}}
	return looks[i%len(looks)]
}

// marker draws the sign of a series.
func (f *Figure) marker(x, y, r float64, l look) {
	switch l.marker {
	case 1:
		f.area(l.colour, l.colour, 1, point{x - r, y - r}, point{x + r, y - r}, point{x + r, y + r}, point{x - r, y + r})
	case 2:
		f.area(l.colour, l.colour, 1, point{x, y - 1.2*r}, point{x + 1.2*r, y + r}, point{x - 1.2*r, y + r})
	case 3:
		f.area(l.colour, l.colour, 1, point{x, y - 1.4*r}, point{x + 1.4*r, y}, point{x, y + 1.4*r}, point{x - 1.4*r, y})
	case 5:
		f.area(paper, l.colour, 1.8, point{x - r, y - r}, point{x + r, y - r}, point{x + r, y + r}, point{x - r, y + r})
	case 4:
		f.add(shape{kind: disc, points: []point{{x, y}}, radius: r, fill: paper, stroke: l.colour, width: 1.8})
	default:
		f.add(shape{kind: disc, points: []point{{x, y}}, radius: r, fill: l.colour})
	}
}

// faces are the fonts by which text is measured and PNG is written: Liberation
// Sans, whose widths are those of Arial.
var faces = sync.OnceValue(func() *font.Cache {
	var collection font.Collection
	for _, f := range []struct {
		data []byte
		bold bool
	}{{liberationsansregular.TTF, false}, {liberationsansbold.TTF, true}} {
		face, err := opentype.Parse(f.data)
		if err != nil {
			panic(err) // the font is part of the program
		}
		collection = append(collection, font.Face{Font: fontOf(f.bold), Face: face})
	}
	return font.NewCache(collection)
})

func fontOf(bold bool) font.Font {
	f := font.Font{Typeface: "Liberation", Variant: "Sans"}
	if bold {
		f.Weight = xfont.WeightBold
	}
	return f
}

// widthOf is how wide a text is, in the unit of its size. A letter that the font
// lacks counts as wide as high: no script is wider, but for ligatures.
func widthOf(text string, size float64, bold bool) float64 {
	text = clean(text)
	face := faces().Lookup(fontOf(bold), font.Length(size))
	if drawable(text) {
		return float64(face.Width(text))
	}
	known := strings.Map(func(r rune) rune {
		if lacks(r) {
			return -1
		}
		return r
	}, text)
	missing := utf8.RuneCountInString(text) - utf8.RuneCountInString(known)
	return float64(face.Width(known)) + float64(missing)*size
}

// drawable reports that the font has every letter of a text.
func drawable(text string) bool { return !strings.ContainsFunc(text, lacks) }

func lacks(r rune) bool {
	if r >= ' ' && r <= '~' {
		return false
	}
	var buffer sfnt.Buffer
	at, err := faces().Lookup(fontOf(false), 1).Face.GlyphIndex(&buffer, r)
	return err != nil || at == 0
}

// wrap breaks a text into lines no wider than the width; a word that is wider
// itself is cut. A number keeps its percent sign.
func wrap(text string, size, width float64, bold bool) []string {
	var lines []string
	current := ""
	const noBreak = '\u00a0'
	words := strings.FieldsFunc(strings.ReplaceAll(text, " %", string(noBreak)+"%"), func(r rune) bool { return unicode.IsSpace(r) && r != noBreak })
	for _, word := range words {
		next := strings.TrimSpace(current + " " + word)
		if widthOf(next, size, bold) <= width {
			current = next
			continue
		}
		if current != "" {
			lines = append(lines, current)
		}
		for widthOf(word, size, bold) > width && len([]rune(word)) > 1 {
			letters := []rune(word)
			// The most letters that fit, at least one.
			cut := max(1, sort.Search(len(letters)-1, func(n int) bool { return widthOf(string(letters[:n+1]), size, bold) > width }))
			lines = append(lines, string(letters[:cut]))
			word = string(letters[cut:])
		}
		current = word
	}
	return append(lines, current)
}
