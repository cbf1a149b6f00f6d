package figure

import (
	"math"
	"strconv"
	"strings"
)

// axis carries values to places on the paper.
type axis struct {
	low, high float64 // of the values
	from, to  float64 // of the places
	log       bool
	ticks     []float64
}

// newAxis makes an axis that holds the values; NaN and infinities are passed
// over. About so many ticks are labelled.
func newAxis(values []float64, from, to float64, log bool, about int) axis {
	a := axis{low: math.Inf(1), high: math.Inf(-1), from: from, to: to, log: log}
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) || log && v <= 0 {
			continue
		}
		a.low, a.high = min(a.low, v), max(a.high, v)
	}
	switch {
	case a.low > a.high && log:
		a.low, a.high = 0.5, 2
	case a.low > a.high:
		a.low, a.high = 0, 1
	case a.low == a.high && log:
		a.low, a.high = a.low/2, a.high*2
	case a.low == a.high:
		a.low, a.high = a.low-1, a.high+1
	}
	if log {
		a.low, a.high = a.low/1.1, a.high*1.1
		a.ticks = logTicks(a.low, a.high)
		return a
	}
	margin := 0.04 * (a.high - a.low)
	a.low, a.high = a.low-margin, a.high+margin
	// One tick tells no scale; values too large for their differences have none.
	for most := 2 * about; len(a.ticks) < 2 && about <= most; about++ {
		a.ticks = evenTicks(a.low, a.high, about)
	}
	return a
}

// at is the place of a value; outside the axis it is the nearer end.
func (a axis) at(v float64) float64 {
	low, high := a.low, a.high
	if a.log {
		v, low, high = math.Log(max(v, 1e-300)), math.Log(low), math.Log(high)
	}
	share := math.Min(1, math.Max(0, (v-low)/(high-low)))
	return a.from + float64(share*(a.to-a.from))
}

func (a axis) holds(v float64) bool { return v >= a.low && v <= a.high }

// evenTicks are multiples of 1, 2 or 5 times a power of ten, of which the step is
// no finer than three quarters of what was asked for.
func evenTicks(low, high float64, about int) []float64 {
	raw := (high - low) / float64(max(about, 1))
	power := math.Pow(10, math.Floor(math.Log10(raw)))
	step := 10 * power
	for _, s := range []float64{1, 2, 5} {
		if s*power >= raw*0.75 {
			step = s * power
			break
		}
	}
	var ticks []float64
	for i := math.Ceil(low / step); i*step <= high+1e-9*step; i++ {
		ticks = append(ticks, roundTo(i*step, step))
	}
	return ticks
}

// roundTo takes away what binary fractions add to a multiple of a step.
func roundTo(v, step float64) float64 {
	decimals := max(0, int(math.Ceil(-math.Log10(step))))
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'f', decimals, 64), 64)
	if err != nil {
		return v
	}
	return rounded
}

func logTicks(low, high float64) []float64 {
	var ticks []float64
	for power := math.Floor(math.Log10(low)); power <= math.Ceil(math.Log10(high)); power++ {
		for _, s := range []float64{1, 2, 5} {
			if v := s * math.Pow(10, power); v >= low && v <= high {
				ticks = append(ticks, v)
			}
		}
	}
	return ticks
}

// tickTexts writes the ticks with the same decimals, those that the finest needs.
func tickTexts(ticks []float64, log bool) []string {
	decimals := 0
	for _, v := range ticks {
		text := strconv.FormatFloat(v, 'f', -1, 64)
		if at := strings.IndexByte(text, '.'); at >= 0 {
			decimals = max(decimals, min(6, len(text)-at-1))
		}
	}
	texts := make([]string, len(ticks))
	for i, v := range ticks {
		d := decimals
		if log {
			d = -1
		}
		texts[i] = strings.Replace(strconv.FormatFloat(v, 'f', d, 64), "-", "\u2212", 1)
		if strings.Trim(texts[i], "\u22120.") == "" {
			texts[i] = strconv.FormatFloat(0, 'f', max(d, 0), 64)
		}
	}
	return texts
}

// below draws an axis under a panel, with grid lines up to its top.
func (f *Figure) below(a axis, y, top float64, title string) {
	for i, text := range tickTexts(a.ticks, a.log) {
		x := a.at(a.ticks[i])
		f.line(rule, 1, nil, point{x, top}, point{x, y})
		f.line(frame, 1, nil, point{x, y}, point{x, y + 4})
		f.text(x, y+17, text, small, atMiddle)
	}
	f.line(frame, 1.2, nil, point{a.from, y}, point{a.to, y})
	if title != "" {
		f.text((a.from+a.to)/2, y+36, title, normal, atMiddle)
	}
}

// beside draws an axis at the left of a panel, with grid lines to its right end;
// texts are left out where the panel shares those of its neighbour.
func (f *Figure) beside(a axis, x, right float64, title string, texts bool) {
	labels := tickTexts(a.ticks, a.log)
	widest := 0.0
	for i, text := range labels {
		y := a.at(a.ticks[i])
		f.line(rule, 1, nil, point{x, y}, point{right, y})
		if texts {
			f.line(frame, 1, nil, point{x - 4, y}, point{x, y})
			f.text(x-7, y+4, text, small, atEnd)
			widest = max(widest, widthOf(text, small, false))
		}
	}
	f.line(frame, 1.2, nil, point{x, a.from}, point{x, a.to})
	if title != "" {
		f.turnedText(x-widest-16, (a.from+a.to)/2, title, normal)
	}
}

// apart moves places that are closer than the gap away from each other, keeping
// their order; they must be ascending.
func apart(places []float64, gap, lowest, highest float64) []float64 {
	out := append([]float64{}, places...)
	for i := range out {
		if i > 0 {
			out[i] = max(out[i], out[i-1]+gap)
		}
		out[i] = max(out[i], lowest)
	}
	for i := len(out) - 1; i >= 0; i-- {
		limit := highest
		if i < len(out)-1 {
			limit = out[i+1] - gap
		}
		out[i] = min(out[i], limit)
	}
	return out
}
