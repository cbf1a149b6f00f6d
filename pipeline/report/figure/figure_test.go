package figure

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"testing"
)

// hostile are names that a study could give: markup, a mark that turns the
// direction, another script, a formula, a control character, one long word, many
// words.
var hostile = []string{
	`<script>alert("1")</script>&amp;`, "\u202e012 gnol\u2066", "שלום עולם", "=HYPERLINK(\"x\")", "a\x00b\x1bc\nd",
	strings.Repeat("Donaudampfschifffahrt", 4), strings.Repeat("healthy people without treatment ", 4), "]]></text><circle r=\"9\"/>",
}

// charts draws every kind of chart with these names at every place of a name.
func charts(name func() string) []*Figure {
	nan := math.NaN()
	flow := Flow{Name: "flow", Title: name(), Desc: name(), Start: "1080 " + name()}
	for range 3 {
		flow.Stages = append(flow.Stages, Stage{Text: "900 · " + name(), Left: []string{"12 " + name(), "[c] " + name()}}, Stage{Text: name(), Branch: true, Left: []string{name()}})
	}
	bands := Bands{Name: "bands", Title: name(), Desc: name(), XLabel: "Age (years)", YLabel: "Central PP (mmHg)", Line: 50, LineLabel: "50 mmHg: " + name()}
	for range 7 {
		bands.Categories = append(bands.Categories, name())
	}
	for range 4 {
		v := []float64{30, 31, 35, nan, 40, 44, 46}
		bands.Series = append(bands.Series, Series{Label: name(), Mean: v, Low: v, High: v, P10: v, P90: v,
			N: []string{"10", "11", "12", "[c]", "4000", "15", "16"}, Sign: []string{"", "", "", "[c]", "", "", ""}})
	}
	curves := Curves{Name: "curves", Title: name(), Desc: name(), XLabel: "Age (years)", YLabel: "Central PP (mmHg)"}
	for range 2 {
		p := Panel{Title: "Female, n = 200"}
		for k, c := range []string{"P95", "P90", "P75", "P50", "P25", "P10", "P5"} {
			y := float64(60 - k)
			p.Lines = append(p.Lines, Line{Label: c, X: []float64{20, 50, 80}, Y: []float64{y, nan, y}, Low: []float64{y - 1, y, y}, High: []float64{y + 1, y, y}, Weight: min(3, max(k-3, 3-k))})
		}
		curves.Panels = append(curves.Panels, p)
	}
	forest := func(shared bool) *Figure {
		c := Forest{Name: "forest", Title: name(), Desc: name(), Columns: [3]string{"Term and model", "n", "Coefficient (95 % CI)"}, Axis: "Second less first (mmHg)", Shared: shared}
		for k := range 3 {
			g := Group{Heading: name()}
			for range 2 {
				g.Rows = append(g.Rows, Estimate{Label: name(), N: "12000", Value: "−10.51 (−12.55 to −8.52); −22.2 to −1.1", Est: -10.51, Low: -12.55, High: -8.52, Series: k, Limits: []Limit{{-22, -24, -20}, {-1, -3, 1}}})
			}
			g.Rows = append(g.Rows, Estimate{Label: name(), N: "[c]", Value: "[c]", Est: nan, Low: nan, High: nan})
			c.Groups = append(c.Groups, g)
		}
		return c.Draw()
	}
	specification := Specification{Name: "spec", Title: name(), Desc: name(), YLabel: "Coefficient of Age (mmHg per year)", Primary: 1}
	for k := range 24 {
		specification.Columns = append(specification.Columns, Estimate{N: "12000", Est: float64(k), Low: float64(k - 1), High: float64(k + 1)})
	}
	for range 3 {
		specification.Choices = append(specification.Choices, Choice{Label: "Calibration", Levels: []Level{{Label: name(), On: make([]bool, 24)}, {Label: name(), On: slices.Repeat([]bool{true}, 24)}}})
	}
	scatter := func(n, panels int) *Figure {
		series := []string{name(), name(), name(), name(), name()}
		c := Scatter{Series: series[:panels], Name: "scatter", Title: name(), Desc: name(), XLabel: "Fitted Central PP (mmHg)", YLabel: "Observed less fitted (mmHg)"}
		for range panels {
			p := Cloud{Title: "n = 9", Levels: []LevelLine{{At: 3, Label: "upper limit"}, {At: 2.9, Label: "bias", Main: true}, {At: 2.8, Label: "lower limit"}, {At: 1, Label: name(), Threshold: true}}}
			for k := range n {
				p.X, p.Y, p.Of = append(p.X, float64(k%97)), append(p.Y, float64(k%89)/10), append(p.Of, int8(k%panels))
			}
			c.Panels = append(c.Panels, p)
		}
		return c.Draw()
	}
	return []*Figure{scatter(40, 2), scatter(40, 5), scatter(MostPoints+1, 1), flow.Draw(), bands.Draw(), curves.Draw(), forest(true), forest(false), specification.Draw()}
}

// turns gives the names one after the other.
func turns(names []string) func() string {
	at := -1
	return func() string { at++; return names[at%len(names)] }
}

// A name stays text: the drawing is well-formed, has no element of a name's own,
// and no mark that would turn what stands beside the name.
func TestNamesStayText(t *testing.T) {
	for shift := range hostile {
		for _, f := range charts(turns(append(slices.Clone(hostile[shift:]), hostile[:shift]...))) {
			decoder := xml.NewDecoder(strings.NewReader(f.SVG(`xmlns="http://www.w3.org/2000/svg" `)))
			for {
				token, err := decoder.Token()
				if errors.Is(err, io.EOF) {
					break
				}
				if err != nil {
					t.Fatalf("%s: %v", f.Name, err)
				}
				switch token := token.(type) {
				case xml.StartElement:
					if !slices.Contains([]string{"svg", "title", "desc", "path", "circle", "text"}, token.Name.Local) {
						t.Errorf("%s: a name became an element %s", f.Name, token.Name.Local)
					}
					for _, a := range token.Attr {
						if token.Name.Local == "circle" && a.Name.Local == "r" && a.Value == "9" {
							t.Errorf("%s: a name became a circle", f.Name)
						}
					}
				case xml.CharData:
					if strings.ContainsAny(string(token), "\u202e\u2066\x00\x1b") {
						t.Errorf("%s: %q keeps a mark of direction or control", f.Name, token)
					}
				}
			}
		}
	}
}

// extent is where a text stands: as wide as the font has it, from its ascent to
// its descent (of Liberation Sans 0.905 and 0.212 of the size; less is counted, as
// lines may touch).
func (s shape) extent() (x0, y0, x1, y1 float64) {
	w, p := widthOf(s.text, s.size, s.bold), s.points[0]
	before := map[anchor]float64{atStart: 0, atMiddle: w / 2, atEnd: w}[s.anchor]
	if s.turned {
		return p.x - 0.72*s.size, p.y - before, p.x, p.y - before + w
	}
	return p.x - before, p.y - 0.72*s.size, p.x - before + w, p.y
}

// No text is cut by the edge of the paper, and none stands on another, however
// long names are.
func TestTextsAreApart(t *testing.T) {
	short := []string{"all", "female", "adjusted"}
	for _, names := range [][]string{short, hostile, hostile[5:7]} {
		for _, f := range charts(turns(names)) {
			t.Run(fmt.Sprintf("%s/%.8q", f.Name, names[0]), func(t *testing.T) {
				var texts []shape
				for _, s := range f.shapes {
					if s.kind == label && strings.TrimSpace(s.text) != "" {
						texts = append(texts, s)
					}
				}
				for i, s := range texts {
					x0, y0, x1, y1 := s.extent()
					if x0 < -0.5 || y0 < -0.5 || x1 > f.Width+0.5 || y1 > f.Height+0.5 {
						t.Errorf("%q is cut: %.0f to %.0f of %.0f, %.0f to %.0f of %.0f", s.text, x0, x1, f.Width, y0, y1, f.Height)
					}
					for _, other := range texts[:i] {
						u0, v0, u1, v1 := other.extent()
						if x0 < u1-0.5 && u0 < x1-0.5 && y0 < v1-0.5 && v0 < y1-0.5 {
							t.Errorf("%q stands on %q", s.text, other.text)
						}
					}
				}
			})
		}
	}
}

// A hidden value is a sign of its own, at no height of the axis: no marker and no
// bar stand at its place.
func TestHiddenIsNoValue(t *testing.T) {
	nan := math.NaN()
	at := func(mean float64, sign string) *Figure {
		v := []float64{30, mean, 50}
		return Bands{Name: "x", Categories: []string{"a", "b", "c"}, Line: nan,
			Series: []Series{{Label: "All", Mean: v, Low: v, High: v, P10: v, P90: v, N: []string{"10", "[c]", "10"}, Sign: []string{"", sign, ""}}}}.Draw()
	}
	count := func(f *Figure) (discs, signs int) {
		for _, s := range f.shapes {
			if s.kind == disc {
				discs++
			}
			if s.text == "[c]" {
				signs++
			}
		}
		return discs, signs
	}
	if discs, signs := count(at(nan, "[c]")); discs != 3 || signs != 2 { // legend and two values; the sign and n
		t.Errorf("hidden: %d discs and %d signs, want 3 and 2", discs, signs)
	}
	if discs, signs := count(at(0, "")); discs != 4 || signs != 1 {
		t.Errorf("zero: %d discs and %d signs, want 4 and 1", discs, signs)
	}
}

// Of many points none is left out, and the figure stays small: a square stands
// for each place that holds any.
func TestManyPointsAreSquares(t *testing.T) {
	of := func(n int) (discs, squares int) {
		p := Cloud{}
		for k := range n {
			p.X, p.Y = append(p.X, float64(k%1009)), append(p.Y, float64(k%997))
		}
		p.X, p.Y = append(p.X, 1e5, math.NaN()), append(p.Y, 500, 1) // one far away, one missing
		for _, s := range (Scatter{Panels: []Cloud{p}}).Draw().shapes {
			switch s.kind {
			case disc:
				discs++
			case area:
				squares++
			}
		}
		return discs, squares
	}
	if discs, squares := of(100); discs != 101 || squares != 0 {
		t.Errorf("100 points: %d discs, %d squares", discs, squares)
	}
	if discs, squares := of(200_000); discs != 0 || squares > 48*48 || squares < 2 {
		t.Errorf("200000 points: %d discs, %d squares", discs, squares)
	}
}

// An axis has enough ticks to tell its scale, and all of them on it.
func TestTicksTellTheScale(t *testing.T) {
	for about := 3; about <= 6; about++ {
		for _, low := range []float64{-1234.5, -0.3, 0, 0.3099, 17, 99990} {
			for _, span := range []float64{1e-4, 0.0312, 0.97, 9.5, 41, 777, 1e6} {
				a := newAxis([]float64{low, low + span}, 0, 300, false, about)
				if n := len(a.ticks); n < 2 || n > 2*about+1 {
					t.Errorf("%g to %g: %d ticks, asked for about %d", low, low+span, n, about)
				}
				texts := tickTexts(a.ticks, false)
				for i, v := range a.ticks {
					if !a.holds(v) || i > 0 && (a.ticks[i-1] >= v || texts[i] == texts[i-1]) {
						t.Errorf("%g to %g: ticks %v, written %v", low, low+span, a.ticks, texts)
						break
					}
				}
			}
		}
	}
}
