package sheets

import (
	"fmt"
	"html/template"
	"math"
	"strings"
)

// wavesFrame is the range of the waves of all replicates, so that they can be
// held against each other.
func wavesFrame(replicates []Replicate) (x, y span, any bool) {
	first, longest, low, high := 0.0, 0.0, math.Inf(1), math.Inf(-1)
	for _, r := range replicates {
		if r.Waves == nil {
			continue
		}
		longest = math.Max(longest, float64(len(r.Waves.Peripheral))*r.Waves.StepS)
		first = math.Min(first, r.Waves.AorticS)
		for _, wave := range [][]float32{r.Waves.Peripheral, r.Waves.Aortic} {
			for _, v := range wave {
				low, high = math.Min(low, float64(v)), math.Max(high, float64(v))
			}
		}
	}
	if !(high > low) || longest == 0 {
		return span{}, span{}, false
	}
	margin := (high - low) * 0.1
	return span{first, longest, smallLeft, smallWidth - smallRight}, span{low - margin, high + margin, smallHeight - smallBottom, smallTop}, true
}

// wavesFigure draws the recorded and the aortic wave of one recording on one
// axis, with shoulder and end of ejection of the aortic one.
func wavesFigure(r *Replicate, artery string, x, y span) template.HTML {
	w := r.Waves
	d := &drawing{}
	d.open("small", smallWidth, smallHeight, "Average waves of "+r.Recording, wavesSentence(w, artery))
	smallAxes(d, x, y, "mmHg")
	d.curve("peripheral", waveCurve(w.Peripheral, 0, w.StepS, x, y))
	if w.Aortic != nil {
		d.curve("aortic", waveCurve(w.Aortic, w.AorticS, w.StepS, x, y))
	}
	top := peak(w.Peripheral)
	d.text(x.at(float64(top)*w.StepS)+10, y.at(float64(w.Peripheral[top]))+2, "start", "named-peripheral", artery)
	if w.Aortic == nil {
		return d.close()
	}
	last := len(w.Aortic) * 3 / 4
	d.text(x.at(w.AorticS+float64(last)*w.StepS), y.at(float64(w.Aortic[last]))+18, "end", "named-aortic", "aorta")
	if v, ok := w.aorticAt(w.ShoulderS); ok {
		var c curve
		h, k := x.at(w.ShoulderS), y.at(v)
		c.to(h, k-6)
		c.to(h+6, k+5)
		c.to(h-6, k+5)
		c.to(h, k-6)
		d.curve("mark", &c)
		d.text(h+7, k+17, "start", "", "shoulder")
	}
	if v, ok := w.aorticAt(w.EjectionS); ok {
		var c curve
		h, k := x.at(w.EjectionS), y.at(v)
		c.to(h-5, k-5)
		c.to(h+5, k-5)
		c.to(h+5, k+5)
		c.to(h-5, k+5)
		c.to(h-5, k-5)
		d.curve("mark", &c)
		d.text(h+9, k-7, "start", "", "end of ejection")
	}
	return d.close()
}

// aorticAt is the aortic wave at a time.
func (w *Waves) aorticAt(seconds float64) (mmhg float64, ok bool) {
	if math.IsNaN(seconds) || len(w.Aortic) == 0 {
		return 0, false
	}
	at := (seconds - w.AorticS) / w.StepS
	i := int(math.Floor(at))
	if i < 0 || i >= len(w.Aortic) {
		return 0, false
	}
	next := float64(w.Aortic[(i+1)%len(w.Aortic)])
	return float64(w.Aortic[i]) + float64((at-float64(i))*(next-float64(w.Aortic[i]))), true
}

func peak(wave []float32) int {
	best := 0
	for i, v := range wave {
		if v > wave[best] {
			best = i
		}
	}
	return best
}

func wavesSentence(w *Waves, artery string) string {
	var parts []string
	parts = append(parts, fmt.Sprintf("%s peak %s mmHg", artery, number(float64(w.Peripheral[peak(w.Peripheral)]), 0)))
	if w.Aortic == nil {
		return parts[0] + "; the method gives no aortic wave"
	}
	parts = append(parts, fmt.Sprintf("aortic peak %s mmHg", number(float64(w.Aortic[peak(w.Aortic)]), 0)))
	for _, m := range []struct {
		name    string
		seconds float64
	}{{"shoulder", w.ShoulderS}, {"end of ejection", w.EjectionS}} {
		if v, ok := w.aorticAt(m.seconds); ok {
			parts = append(parts, fmt.Sprintf("%s %s ms after the aortic foot at %s mmHg", m.name, number((m.seconds-w.FootS)*1000, 0), number(v, 0)))
		} else {
			parts = append(parts, "no "+m.name)
		}
	}
	return strings.Join(parts, "; ")
}
