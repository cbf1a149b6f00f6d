package figure

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image/color"
	"image/png"
	"math"
	"strings"
	"testing"
)

// chunks takes a PNG apart and checks the sum of each chunk.
func chunks(t *testing.T, data []byte) (kinds []string, content map[string][]string) {
	t.Helper()
	content = map[string][]string{}
	for at := 8; at < len(data); {
		n := int(binary.BigEndian.Uint32(data[at:]))
		kind := string(data[at+4 : at+8])
		if crc32.ChecksumIEEE(data[at+4:at+8+n]) != binary.BigEndian.Uint32(data[at+8+n:]) {
			t.Errorf("the chunk %s has a wrong sum", kind)
		}
		kinds, content[kind] = append(kinds, kind), append(content[kind], string(data[at+8:at+8+n]))
		at += 12 + n
	}
	return kinds, content
}

// A PNG has the size and resolution that were asked for, what the SVG shows at
// its place, and its mark in the text chunks.
func TestPNGIsTheFigure(t *testing.T) {
	for _, f := range charts(turns([]string{"all", "mean ≥ 3 µ"})) {
		f.Mark = "Stays with the study ≥"
		f = f.Framed("A caption.")
		for _, dpi := range []int{96, 150} {
			var b bytes.Buffer
			if err := f.WritePNG(&b, dpi); err != nil {
				t.Fatal(err)
			}
			image, err := png.Decode(bytes.NewReader(b.Bytes()))
			if err != nil {
				t.Fatal(err)
			}
			scale := float64(dpi) / 96
			if got := image.Bounds().Dx(); math.Abs(float64(got)-f.Width*scale) > 1 {
				t.Errorf("%s: %d wide at %d dpi, want %.0f", f.Name, got, dpi, f.Width*scale)
			}
			kinds, content := chunks(t, b.Bytes())
			if kinds[0] != "IHDR" || kinds[len(kinds)-1] != "IEND" || kinds[1] != "pHYs" {
				t.Errorf("%s: chunks %v", f.Name, kinds)
			}
			if got := binary.BigEndian.Uint32([]byte(content["pHYs"][0])); math.Abs(float64(got)*0.0254-float64(dpi)) > 0.02 {
				t.Errorf("%s: %d dots a metre at %d dpi", f.Name, got, dpi)
			}
			if all := strings.Join(content["iTXt"], "\n"); !strings.Contains(all, "Warning\x00\x00\x00\x00\x00"+f.Mark) || !strings.Contains(all, f.Title) {
				t.Errorf("%s: text chunks %q", f.Name, all)
			}
			painted := 0
			for i, s := range f.shapes {
				if s.kind != disc || s.fill == paper || s.fill == "" || covered(f.shapes[i+1:], s.points[0]) {
					continue
				}
				painted++
				want := color.NRGBAModel.Convert(colourOf(s.fill))
				if got := color.NRGBAModel.Convert(image.At(int(s.points[0].x*scale), int(s.points[0].y*scale))); got != want {
					t.Errorf("%s at %d dpi: %v at the centre of a disc, want %v", f.Name, dpi, got, want)
				}
			}
			if painted == 0 && !strings.Contains("flow curves scatter", f.Name) {
				t.Errorf("%s: no disc to look for", f.Name)
			}
		}
	}
}

// covered reports whether a later shape may stand on a point.
func covered(later []shape, p point) bool {
	for _, s := range later {
		for i := range s.points {
			a, b := s.points[max(0, i-1)], s.points[i]
			if math.Min(a.x, b.x)-8 <= p.x && p.x <= math.Max(a.x, b.x)+8 && math.Min(a.y, b.y)-8 <= p.y && p.y <= math.Max(a.y, b.y)+8 {
				return true
			}
		}
	}
	return false
}

func TestPNGRefusesWhatItCannotHold(t *testing.T) {
	small, large := &Figure{Name: "a", Width: 100, Height: 100}, &Figure{Name: "b", Width: 760, Height: 3000}
	for _, c := range []struct {
		f    *Figure
		dpi  int
		want string
	}{{small, 71, "72 to 1200"}, {small, 1201, "72 to 1200"}, {large, 1200, "fewer dots"}} {
		var b bytes.Buffer
		if err := c.f.WritePNG(&b, c.dpi); err == nil || !strings.Contains(err.Error(), c.want) || b.Len() > 0 {
			t.Errorf("%d dpi: %v, %d bytes", c.dpi, err, b.Len())
		}
	}
}

// A figure as a file says what the page around it would say.
func TestFramedCarriesItsWords(t *testing.T) {
	f := charts(turns([]string{"all"}))[1]
	f.Mark = "Stays with the study & nobody else"
	framed := f.Framed("Bars: 95 % confidence intervals.")
	var b bytes.Buffer
	if err := framed.WriteSVG(&b); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{">Bars: 95\u00a0% confidence intervals.</text>", ">Stays with the study &amp; nobody else</text>", `<rights xmlns="http://purl.org/dc/elements/1.1/">Stays with the study &amp; nobody else</rights>`} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the file lacks %s", want)
		}
	}
	if strings.Contains(f.SVG(""), "Stays with") {
		t.Error("the figure of a page is marked twice")
	}
	if len(f.shapes) >= len(framed.shapes) || framed.Height <= f.Height {
		t.Error("nothing was added")
	}
}
