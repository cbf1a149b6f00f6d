package report

import (
	"bytes"
	"fmt"
	"image/color"
	"io"
	"math"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"

	"tonocohort/schema"
)

// strokes of the figure: colours that stay apart for the colour-blind (Okabe and
// Ito 2008, Color Universal Design), each with a dash of its own.
func measuredStroke() draw.LineStyle {
	return draw.LineStyle{Color: color.NRGBA{0x00, 0x72, 0xb2, 0xff}, Width: vg.Points(1.8)}
}

func bandFill() color.Color { return color.NRGBA{0xb3, 0xd5, 0xe8, 0xff} }

func tubeStroke(fitted bool) draw.LineStyle {
	if fitted {
		return draw.LineStyle{Color: color.NRGBA{0xd5, 0x5e, 0x00, 0xff}, Width: vg.Points(1.4), Dashes: []vg.Length{vg.Points(6), vg.Points(3)}}
	}
	return draw.LineStyle{Color: color.NRGBA{0x00, 0x00, 0x00, 0xff}, Width: vg.Points(1.1), Dashes: []vg.Length{vg.Points(1.5), vg.Points(2.5)}}
}

// TransferFigure draws a transfer function as SVG: modulus and phase with their
// band, the tube fitted to it and the published one beside it, and the coherence
// between subjects, over frequency.
func TransferFigure(w io.Writer, t *schema.Transfer) error {
	modulus, err := gainPanel(t, "modulus (1)", func(r schema.TransferRow) (float64, *float64, *float64) {
		return r.Modulus, r.ModulusLow, r.ModulusHigh
	},
		func(u schema.TransferTube) []float64 { return u.Modulus })
	if err != nil {
		return err
	}
	modulus.Title.Text = fmt.Sprintf("Transfer function, %s artery to aorta (n = %d subjects, %d pairs; truth %s)", t.Artery, t.Counts.Subjects, t.Counts.Pairs.Used, t.CentralArtery)
	modulus.Y.Min, modulus.Y.Max = 0, 1.35*modulus.Y.Max // room for the legend above the lines
	modulus.Y.Tick.Marker = evenTicks(0.25)
	phase, err := gainPanel(t, "phase, feet aligned (°)", func(r schema.TransferRow) (float64, *float64, *float64) {
		return r.PhaseDeg, r.PhaseLowDeg, r.PhaseHighDeg
	},
		func(u schema.TransferTube) []float64 { return u.PhaseDeg })
	if err != nil {
		return err
	}
	phase.Y.Tick.Marker = degreeTicks(phase.Y.Max - phase.Y.Min)
	coherence, err := coherencePanel(t)
	if err != nil {
		return err
	}
	if err := legend(modulus, t); err != nil {
		return err
	}
	return drawPanels(w, []*plot.Plot{modulus, phase, coherence},
		fmt.Sprintf("Modulus, phase and coherence of the transfer function from the %s artery to the aorta, by frequency, in %d subjects.", t.Artery, t.Counts.Subjects))
}

// shown are the tubes that are drawn: the constant one as fitted and as published.
func shown(t *schema.Transfer) []schema.TransferTube {
	var tubes []schema.TransferTube
	for _, u := range t.Tubes {
		if u.Method == "tube_constant_fitted" || u.Method == "tube_constant" {
			tubes = append(tubes, u)
		}
	}
	return tubes
}

func gainPanel(t *schema.Transfer, label string, of func(schema.TransferRow) (v float64, low, high *float64), tube func(schema.TransferTube) []float64) (*plot.Plot, error) {
	p := panel(t, label)
	var line, edge plotter.XYs
	var back plotter.XYs
	for _, row := range t.Table {
		v, low, high := of(row)
		line = append(line, plotter.XY{X: row.Hz, Y: v})
		if low != nil && high != nil {
			edge = append(edge, plotter.XY{X: row.Hz, Y: *low})
			back = append(plotter.XYs{{X: row.Hz, Y: *high}}, back...)
		}
	}
	if len(edge) > 1 {
		band, err := plotter.NewPolygon(append(edge, back...))
		if err != nil {
			return nil, err
		}
		band.Color, band.LineStyle = bandFill(), draw.LineStyle{}
		p.Add(band)
	}
	for _, u := range shown(t) {
		var xy plotter.XYs
		for i, v := range tube(u) {
			xy = append(xy, plotter.XY{X: t.Table[i].Hz, Y: v})
		}
		if err := addLine(p, xy, tubeStroke(u.Fitted)); err != nil {
			return nil, err
		}
	}
	return p, addLine(p, line, measuredStroke())
}

func coherencePanel(t *schema.Transfer) (*plot.Plot, error) {
	p := panel(t, "coherence between subjects (1)")
	var line plotter.XYs
	for _, row := range t.Table {
		line = append(line, plotter.XY{X: row.Hz, Y: row.Coherence})
	}
	p.Y.Min, p.Y.Max = 0, 1
	p.Y.Tick.Marker = evenTicks(0.25)
	p.X.Label.Text = "frequency (Hz)"
	return p, addLine(p, line, measuredStroke())
}

func addLine(p *plot.Plot, xy plotter.XYs, style draw.LineStyle) error {
	line, err := plotter.NewLine(xy)
	if err != nil {
		return err
	}
	line.LineStyle = style
	p.Add(line)
	return nil
}

// panel is an empty plot over the frequencies of the table.
func panel(t *schema.Transfer, label string) *plot.Plot {
	p := plot.New()
	for _, font := range []*vg.Length{&p.X.Label.TextStyle.Font.Size, &p.Y.Label.TextStyle.Font.Size, &p.X.Tick.Label.Font.Size, &p.Y.Tick.Label.Font.Size, &p.Legend.TextStyle.Font.Size} {
		*font = vg.Points(10)
	}
	p.Title.TextStyle.Font.Size = vg.Points(11)
	for _, style := range []*draw.TextStyle{&p.Title.TextStyle, &p.X.Label.TextStyle, &p.Y.Label.TextStyle, &p.X.Tick.Label, &p.Y.Tick.Label, &p.Legend.TextStyle} {
		style.Font.Variant = "Sans"
	}
	p.Y.Label.Text = label
	p.X.Min, p.X.Max = 0, t.Table[len(t.Table)-1].Hz
	p.X.Tick.Marker = evenTicks(2)
	grid := plotter.NewGrid()
	grid.Vertical.Color, grid.Horizontal.Color = color.Gray{0xdd}, color.Gray{0xdd}
	p.Add(grid)
	return p
}

// evenTicks labels every step.
func evenTicks(step float64) plot.Ticker {
	return plot.TickerFunc(func(low, high float64) []plot.Tick {
		var ticks []plot.Tick
		for i := math.Ceil(low / step); i*step <= high; i++ {
			ticks = append(ticks, plot.Tick{Value: i * step, Label: strings.Replace(fmt.Sprintf("%g", i*step), "-", "\u2212", 1)})
		}
		return ticks
	})
}

// degreeTicks labels round parts of a turn, some four to eight of them.
func degreeTicks(span float64) plot.Ticker {
	for _, step := range []float64{5, 15, 30, 45, 90} {
		if span <= 6*step {
			return evenTicks(step)
		}
	}
	return evenTicks(180)
}

// legend says on the first panel what each line is.
func legend(p *plot.Plot, t *schema.Transfer) error {
	key := func(style draw.LineStyle) (plot.Thumbnailer, error) {
		line, err := plotter.NewLine(plotter.XYs{{}, {X: 1}})
		if err == nil {
			line.LineStyle = style
		}
		return line, err
	}
	text := "measured"
	if t.BandMethod != "" {
		text = fmt.Sprintf("measured, with %g %% band", 100*t.Level)
	}
	entries := []struct {
		text  string
		style draw.LineStyle
	}{{text, measuredStroke()}}
	for _, u := range shown(t) {
		name := "published tube"
		if u.Fitted {
			name = "fitted tube"
		}
		entries = append(entries, struct {
			text  string
			style draw.LineStyle
		}{fmt.Sprintf("%s: Td %.1f ms, Γ %.2f", name, u.Parameters[0].Value, u.Parameters[1].Value), tubeStroke(u.Fitted)})
	}
	for _, e := range entries {
		line, err := key(e.style)
		if err != nil {
			return err
		}
		p.Legend.Add(e.text, line)
	}
	p.Legend.Top = true
	p.Legend.ThumbnailWidth = vg.Points(30)
	return nil
}

// drawPanels stacks plots with their axes aligned.
func drawPanels(w io.Writer, plots []*plot.Plot, description string) error {
	const width, height = 17 * vg.Centimeter, 20 * vg.Centimeter
	canvas := vgsvg.New(width, height)
	rows := make([][]*plot.Plot, len(plots))
	for i, p := range plots {
		rows[i] = []*plot.Plot{p}
	}
	tiles := draw.Tiles{Rows: len(plots), Cols: 1, PadTop: vg.Points(6), PadBottom: vg.Points(6), PadLeft: vg.Points(6), PadRight: vg.Points(10), PadY: vg.Points(8)}
	canvases := plot.Align(rows, tiles, draw.New(canvas))
	for i, p := range plots {
		p.Draw(canvases[i][0])
	}
	var b bytes.Buffer
	if _, err := canvas.WriteTo(&b); err != nil {
		return err
	}
	return described(w, b.Bytes(), description)
}

// described gives an SVG a role and a title, which a screen reader says, and its
// font the names that it has where Liberation is not installed.
func described(w io.Writer, svg []byte, description string) error {
	svg = bytes.ReplaceAll(svg, []byte("font-family:Liberation Sans;"), []byte("font-family:Liberation Sans,Arial,Helvetica,sans-serif;"))
	start := bytes.Index(svg, []byte("<svg"))
	end := start + bytes.IndexByte(svg[max(start, 0):], '>')
	if start < 0 || end < start {
		return fmt.Errorf("report: the figure is no SVG")
	}
	for _, part := range [][]byte{svg[:end], []byte(" role=\"img\""), svg[end : end+1], []byte("\n<title>" + escape(description) + "</title>"), svg[end+1:]} {
		if _, err := w.Write(part); err != nil {
			return err
		}
	}
	return nil
}
