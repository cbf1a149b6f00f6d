package figure

import (
	"bytes"
	"fmt"
	"html"
	"io"
	"strconv"
	"strings"
	"unicode"
)

// families name the font where Liberation Sans is not installed: Arial has the
// same widths.
const families = "Liberation Sans,Arial,Helvetica,sans-serif"

// WriteSVG writes the figure as a file of its own, its mark as rights (Dublin Core).
func (f *Figure) WriteSVG(w io.Writer) error {
	text := f.SVG(`xmlns="http://www.w3.org/2000/svg" `)
	if f.Mark != "" {
		text = strings.Replace(text, "</desc>\n", `</desc>
<metadata><rights xmlns="http://purl.org/dc/elements/1.1/">`+escape(f.Mark)+"</rights></metadata>\n", 1)
	}
	_, err := io.WriteString(w, text)
	return err
}

// SVG returns the element for a page; attributes stand first in it, as they are.
func (f *Figure) SVG(attributes string) string {
	var b bytes.Buffer
	id := html.EscapeString(f.Name)
	fmt.Fprintf(&b, `<svg %srole="img" aria-labelledby="%s-title %s-desc" width="%s" height="%s" viewBox="0 0 %s %s" font-family="%s">`,
		attributes, id, id, number(f.Width), number(f.Height), number(f.Width), number(f.Height), families)
	fmt.Fprintf(&b, "\n<title id=\"%s-title\">%s</title>\n<desc id=\"%s-desc\">%s</desc>\n", id, escape(f.Title), id, escape(f.Desc))
	fmt.Fprintf(&b, "<path data-decoration=\"\" fill=\"%s\" d=\"M0 0H%sV%sH0z\"/>\n", paper, number(f.Width), number(f.Height))
	for _, s := range f.shapes {
		s.svg(&b)
	}
	b.WriteString("</svg>\n")
	return b.String()
}

func (s shape) svg(b *bytes.Buffer) {
	switch s.kind {
	case disc:
		fmt.Fprintf(b, `<circle cx="%s" cy="%s" r="%s"%s/>`, number(s.points[0].x), number(s.points[0].y), number(s.radius), s.paint())
	case label:
		s.svgText(b)
	default:
		fmt.Fprintf(b, `<path d="%s"%s/>`, s.path(), s.paint())
	}
	b.WriteByte('\n')
}

func (s shape) path() string {
	var b strings.Builder
	for i, p := range s.points {
		if i == 0 {
			b.WriteByte('M')
		} else {
			b.WriteByte('L')
		}
		b.WriteString(number(p.x) + " " + number(p.y))
	}
	if s.kind == area {
		b.WriteByte('z')
	}
	return b.String()
}

func (s shape) paint() string {
	fill := s.fill
	if fill == "" {
		fill = "none"
	}
	text := fmt.Sprintf(` fill="%s"`, fill)
	if s.stroke == rule || s.stroke == "" && fill == shade {
		text = ` data-decoration=""` + text // nothing is lost with it
	}
	if s.stroke == "" {
		return text
	}
	text += fmt.Sprintf(` stroke="%s" stroke-width="%s"`, s.stroke, number(s.width))
	if len(s.dash) > 0 {
		parts := make([]string, len(s.dash))
		for i, d := range s.dash {
			parts[i] = number(d)
		}
		text += fmt.Sprintf(` stroke-dasharray="%s"`, strings.Join(parts, " "))
	}
	return text
}

func (s shape) svgText(b *bytes.Buffer) {
	x, y := number(s.points[0].x), number(s.points[0].y)
	fmt.Fprintf(b, `<text x="%s" y="%s" font-size="%s" fill="%s"`, x, y, number(s.size), s.fill)
	if s.anchor != atStart {
		fmt.Fprintf(b, ` text-anchor="%s"`, s.anchor)
	}
	if s.bold {
		b.WriteString(` font-weight="bold"`)
	}
	if s.turned {
		fmt.Fprintf(b, ` transform="rotate(-90 %s %s)"`, x, y)
	}
	if width := widthOf(s.text, s.size, s.bold); width > 0 && drawable(s.text) {
		// Another font, wider than the one it was laid out with, must not push it
		// over what stands beside it.
		fmt.Fprintf(b, ` textLength="%s" lengthAdjust="spacingAndGlyphs"`, number(width))
	}
	fmt.Fprintf(b, ">%s</text>", escape(s.text))
}

// escape makes a text safe inside an element.
func escape(text string) string { return html.EscapeString(clean(text)) }

// clean turns control characters, which XML forbids, into blanks, and drops the
// marks that turn the direction of what follows them: a name must not set the
// number beside it the other way round.
func clean(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r < ' ', r >= 0x7f && r <= 0x9f, r == 0xfffe, r == 0xffff:
			return ' '
		case unicode.Is(unicode.Bidi_Control, r):
			return -1
		}
		return r
	}, strings.ToValidUTF8(text, "\ufffd"))
}

// number writes a length to a tenth of a pixel.
func number(v float64) string {
	text := strconv.FormatFloat(v, 'f', 1, 64)
	text = strings.TrimSuffix(text, ".0")
	if text == "-0" {
		return "0"
	}
	return text
}
