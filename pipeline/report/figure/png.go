package figure

import (
	"image/color"
	"io"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
)

// WritePNG writes the figure at so many dots per inch; 96 makes one dot of every
// pixel of the SVG.
func (f *Figure) WritePNG(w io.Writer, dpi int) error {
	// One unit of the drawing is 1/96 inch, one point of vg is 1/72.
	width, height := vg.Length(f.Width*0.75), vg.Length(f.Height*0.75)
	canvas := vgimg.NewWith(vgimg.UseWH(width, height), vgimg.UseDPI(dpi), vgimg.UseBackgroundColor(color.White))
	canvas.Scale(0.75, 0.75)
	for _, s := range f.shapes {
		s.draw(canvas, f.Height)
	}
	_, err := vgimg.PngCanvas{Canvas: canvas}.WriteTo(w)
	return err
}

// draw puts a shape on a canvas whose y axis points upwards.
func (s shape) draw(c vg.Canvas, height float64) {
	at := func(p point) vg.Point { return vg.Point{X: vg.Length(p.x), Y: vg.Length(height - p.y)} }
	if s.kind == label {
		s.drawText(c, at(s.points[0]))
		return
	}
	var path vg.Path
	if s.kind == disc {
		centre := at(s.points[0])
		path.Move(vg.Point{X: centre.X + vg.Length(s.radius), Y: centre.Y})
		path.Arc(centre, vg.Length(s.radius), 0, 2*3.141592653589793)
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
		c.SetColor(rgb(s.fill))
		c.Fill(path)
	}
	if s.stroke != "" {
		c.SetColor(rgb(s.stroke))
		c.SetLineWidth(vg.Length(s.width))
		dash := make([]vg.Length, len(s.dash))
		for i, d := range s.dash {
			dash[i] = vg.Length(d)
		}
		c.SetLineDash(dash, 0)
		c.Stroke(path)
	}
}

func (s shape) drawText(c vg.Canvas, at vg.Point) {
	face := faces().Lookup(fontOf(s.bold), font.Length(s.size))
	shift := map[anchor]float64{atStart: 0, atMiddle: -0.5, atEnd: -1}[s.anchor] * widthOf(s.text, s.size, s.bold)
	c.SetColor(rgb(s.fill))
	c.Push()
	c.Translate(at)
	if s.turned {
		c.Rotate(3.141592653589793 / 2)
	}
	c.FillString(face, vg.Point{X: vg.Length(shift)}, s.text)
	c.Pop()
}

// rgb reads a colour of this package: #RRGGBB.
func rgb(code string) color.Color {
	digit := func(i int) uint8 {
		if d := code[i]; d > '9' {
			return d&^0x20 - 'A' + 10
		}
		return code[i] - '0'
	}
	return color.NRGBA{R: digit(1)<<4 | digit(2), G: digit(3)<<4 | digit(4), B: digit(5)<<4 | digit(6), A: 0xff}
}
