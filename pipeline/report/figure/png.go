package figure

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image/color"
	"image/png"
	"io"
	"math"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
)

// Resolutions of a picture, in dots per inch. A figure is laid out at 96 of them,
// so that its smallest text is 9 points high.
const (
	LeastDPI   = 72
	MostDPI    = 1200
	layoutDPI  = 96
	mostPixels = 120_000_000 // a picture and its copy take 8 bytes a pixel
)

// WritePNG writes the figure as a picture, with its title, description and mark
// in text chunks (PNG specification, third edition, 11.3.3), and its resolution.
// Letters that Liberation Sans lacks are drawn as empty boxes; the SVG has them.
func (f *Figure) WritePNG(w io.Writer, dpi int) error {
	if dpi < LeastDPI || dpi > MostDPI {
		return fmt.Errorf("%d dots per inch: %d to %d are possible", dpi, LeastDPI, MostDPI)
	}
	if pixels := f.Width * f.Height * math.Pow(float64(dpi)/layoutDPI, 2); pixels > mostPixels {
		return fmt.Errorf("the figure %s at %d dots per inch has %.0f million pixels; up to %d are written: take fewer dots, or the SVG", f.Name, dpi, pixels/1e6, mostPixels/1_000_000)
	}
	c := vgimg.NewWith(vgimg.UseWH(points(f.Width), points(f.Height)), vgimg.UseDPI(dpi))
	for _, s := range f.shapes {
		s.draw(c, f.Height)
	}
	var b bytes.Buffer
	if err := png.Encode(&b, c.Image()); err != nil {
		return err
	}
	const header = 8 + 4 + 4 + 13 + 4 // signature and the first chunk
	if _, err := w.Write(b.Next(header)); err != nil {
		return err
	}
	perMetre := uint32(math.Round(float64(dpi) / 0.0254))
	physical := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, perMetre), perMetre)
	if err := writeChunk(w, "pHYs", append(physical, 1)); err != nil {
		return err
	}
	for _, text := range []struct{ keyword, text string }{{"Title", f.Title}, {"Description", f.Desc}, {"Warning", f.Mark}} {
		// Keyword, no compression, no language, no translated keyword, UTF-8.
		if text.text == "" {
			continue
		}
		if err := writeChunk(w, "iTXt", []byte(text.keyword+"\x00\x00\x00\x00\x00"+clean(text.text))); err != nil {
			return err
		}
	}
	_, err := b.WriteTo(w)
	return err
}

func writeChunk(w io.Writer, kind string, data []byte) error {
	chunk := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
	chunk = append(append(chunk, kind...), data...)
	_, err := w.Write(binary.BigEndian.AppendUint32(chunk, crc32.ChecksumIEEE(chunk[4:])))
	return err
}

// points is a length of the layout in points.
func points(v float64) vg.Length { return vg.Length(v * 72 / layoutDPI) }

// draw draws a shape on a canvas, on which y goes upwards.
func (s shape) draw(c vg.Canvas, height float64) {
	at := func(p point) vg.Point { return vg.Point{X: points(p.x), Y: points(height - p.y)} }
	if s.kind == label {
		s.drawText(c, at(s.points[0]))
		return
	}
	var path vg.Path
	if s.kind == disc {
		centre, r := at(s.points[0]), points(s.radius)
		path.Move(vg.Point{X: centre.X + r, Y: centre.Y})
		path.Arc(centre, r, 0, 2*math.Pi)
		path.Close()
	} else {
		for i, p := range s.points {
			if i == 0 {
				path.Move(at(p))
			} else {
				path.Line(at(p))
			}
		}
		if s.kind == area {
			path.Close()
		}
	}
	if s.fill != "" {
		c.SetColor(colourOf(s.fill))
		c.Fill(path)
	}
	if s.stroke != "" {
		dash := make([]vg.Length, len(s.dash))
		for i, d := range s.dash {
			dash[i] = points(d)
		}
		c.SetLineDash(dash, 0)
		c.SetLineWidth(points(s.width))
		c.SetColor(colourOf(s.stroke))
		c.Stroke(path)
	}
}

func (s shape) drawText(c vg.Canvas, at vg.Point) {
	text := clean(s.text)
	face := faces().Lookup(fontOf(s.bold), font.Length(points(s.size)))
	before := map[anchor]float64{atStart: 0, atMiddle: 0.5, atEnd: 1}[s.anchor] * float64(face.Width(text))
	c.SetColor(colourOf(s.fill))
	c.Push()
	defer c.Pop()
	c.Translate(at)
	if s.turned {
		c.Rotate(math.Pi / 2)
	}
	c.FillString(face, vg.Point{X: vg.Length(-before)}, text)
}

// colourOf reads #RRGGBB.
func colourOf(text string) color.Color {
	var r, g, b uint8
	if _, err := fmt.Sscanf(text, "#%02x%02x%02x", &r, &g, &b); err != nil {
		panic(err) // colours are constants
	}
	return color.NRGBA{r, g, b, 255}
}
