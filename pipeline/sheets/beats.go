package sheets

import (
	"fmt"
	"html/template"
	"math"
	"strings"
)

// Sizes of the small figures.
const (
	smallWidth  = 300
	smallHeight = 236
	smallLeft   = 40
	smallRight  = 10
	smallTop    = 24
	smallBottom = 38
)

// reasonCount is how many beats a rule rejected, and which.
type reasonCount struct {
	Reason, Meaning string
	Beats           []int // numbers, from 1
}

// rejections lists the rules that rejected beats, in the order of their first.
func rejections(beats []Beat) []reasonCount {
	var list []reasonCount
	at := map[string]int{}
	for i, b := range beats {
		if b.Accepted {
			continue
		}
		k, ok := at[b.Reason]
		if !ok {
			k = len(list)
			at[b.Reason] = k
			list = append(list, reasonCount{Reason: words(b.Reason), Meaning: meanings[b.Reason]})
		}
		list[k].Beats = append(list[k].Beats, i+1)
	}
	return list
}

// Numbers lists beats as 3–5, 9.
func (r reasonCount) Numbers() string {
	var parts []string
	for i := 0; i < len(r.Beats); {
		k := i
		for k+1 < len(r.Beats) && r.Beats[k+1] == r.Beats[k]+1 {
			k++
		}
		switch k - i {
		case 0:
			parts = append(parts, fmt.Sprint(r.Beats[i]))
		case 1:
			parts = append(parts, fmt.Sprintf("%d, %d", r.Beats[i], r.Beats[k]))
		default:
			parts = append(parts, fmt.Sprintf("%d–%d", r.Beats[i], r.Beats[k]))
		}
		i = k + 1
	}
	return strings.Join(parts, ", ")
}

func accepted(beats []Beat) int {
	n := 0
	for _, b := range beats {
		if b.Accepted {
			n++
		}
	}
	return n
}

// beatSentence says what was found.
func beatSentence(beats []Beat) string {
	if len(beats) == 0 {
		return "No beat was found"
	}
	text := fmt.Sprintf("%d beats, %d accepted", len(beats), accepted(beats))
	for _, r := range rejections(beats) {
		text += fmt.Sprintf("; %s: beat %s", r.Reason, r.Numbers())
	}
	return text
}

// most is how many beats of a kind are drawn over each other.
const most = 40

// overlay draws the beats from the trace over each other with their average.
func overlay(s *Sheet) (image template.HTML, note string) {
	t, waves := s.Trace, s.Waves()
	scale, offset, unit := s.Scale, s.Offset, "mmHg"
	if math.IsNaN(scale) {
		scale, offset, unit = 1, 0, t.Unit
	}
	x, y := overlayFrame(s, scale, offset)
	d := &drawing{}
	d.open("small", smallWidth, smallHeight, "Beats over each other", beatSentence(s.Beats))
	smallAxes(d, x, y, unit)
	drawn := [2]int{}
	for _, kind := range []bool{false, true} {
		class, of := "rejected", len(s.Beats)-accepted(s.Beats)
		if kind {
			class, of = "accepted", accepted(s.Beats)
		}
		var c curve
		k := 0
		for _, b := range s.Beats {
			if b.Accepted != kind || math.IsNaN(b.PeriodS) {
				continue
			}
			if k++; k*most/max(of, most) == (k-1)*most/max(of, most) {
				continue // evenly left out where there are many
			}
			drawn[btoi(kind)]++
			c.lift()
			beatCurve(&c, t, b, x, func(v float64) float64 { return y.clamped(offset + float64(scale*v)) })
		}
		d.curve(class, &c)
	}
	if waves != nil && unit == "mmHg" {
		d.curve("average", waveCurve(waves.Peripheral, 0, waves.StepS, x, y))
	}
	return d.close(), overlayNote(s, drawn, waves != nil && unit == "mmHg")
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

func overlayNote(s *Sheet, drawn [2]int, average bool) string {
	text := fmt.Sprintf("Thin lines: %d accepted beats; broken lines: %d rejected beats that have an end", drawn[1], drawn[0])
	if average {
		text += "; thick line: the average of the accepted ones, after the low-pass"
	}
	return text + "."
}

// overlayFrame is the range of the accepted beats, else of all.
func overlayFrame(s *Sheet, scale, offset float64) (x, y span) {
	some := accepted(s.Beats) > 0
	longest, low, high := 0.0, math.Inf(1), math.Inf(-1)
	for _, b := range s.Beats {
		if math.IsNaN(b.PeriodS) || some && !b.Accepted {
			continue
		}
		longest = math.Max(longest, b.PeriodS)
		for _, v := range beatSamples(s.Trace, b) {
			if !math.IsNaN(v) {
				low, high = math.Min(low, offset+float64(scale*v)), math.Max(high, offset+float64(scale*v))
			}
		}
	}
	if !(high > low) {
		low, high = 0, 1
	}
	if longest == 0 {
		longest = 1
	}
	margin := (high - low) * 0.08
	return span{0, longest, smallLeft, smallWidth - smallRight}, span{low - margin, high + margin, smallHeight - smallBottom, smallTop}
}

// beatSamples are the samples from the foot of a beat to the next.
func beatSamples(t *Trace, b Beat) []float64 {
	from := max(0, int(math.Ceil(b.FootS*t.SamplingHz)))
	to := min(len(t.Samples), int(math.Floor((b.FootS+b.PeriodS)*t.SamplingHz))+1)
	if from >= to {
		return nil
	}
	return t.Samples[from:to]
}

func beatCurve(c *curve, t *Trace, b Beat, x span, y func(float64) float64) {
	first := math.Max(0, math.Ceil(b.FootS*t.SamplingHz)) / t.SamplingHz
	apart := (x.b - x.a) / (x.high - x.low) / t.SamplingHz
	inside := beatSamples(t, b)
	if room := int((x.high-first+b.FootS)*t.SamplingHz) + 1; room < len(inside) {
		inside = inside[:max(0, room)]
	}
	c.strip(inside, x.at(first-b.FootS), apart, y)
}

func waveCurve(wave []float32, from, step float64, x, y span) *curve {
	var c curve
	for i, v := range wave {
		c.to(x.at(from+float64(float64(i)*step)), y.clamped(float64(v)))
	}
	return &c
}

// smallAxes draws the axes of a small figure: seconds below, a unit at the side.
func smallAxes(d *drawing, x, y span, unit string) {
	ticks, digits := y.ticks(5)
	grid := make([][4]float64, len(ticks))
	for i, v := range ticks {
		grid[i] = [4]float64{x.a, y.at(v), x.b, y.at(v)}
	}
	d.lines("grid", grid)
	for _, v := range ticks {
		d.text(x.a-5, y.at(v)+4, "end", "", number(v, digits))
	}
	d.text(2, smallTop-10, "start", "", unit)
	ticks, digits = x.ticks(4)
	below := make([][4]float64, len(ticks))
	for i, v := range ticks {
		below[i] = [4]float64{x.at(v), y.a, x.at(v), y.a + 4}
		d.text(x.at(v), y.a+17, "middle", "", number(v, digits))
	}
	d.lines("tick", below)
	d.text((x.a+x.b)/2, y.a+33, "middle", "", "seconds from the foot")
}
