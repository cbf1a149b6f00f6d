package pulse

import (
	"math"
	"testing"
)

// Each point of a beat is read at its own time, also where a beat that is shorter
// than its firm part takes the points after it backwards.
func TestPointsOfABeatAreReadAtTheirTimes(t *testing.T) {
	wave := pulseTrain(256, 4, 70, 0.5)
	a := Analyser{wave: wave}
	for _, c := range []struct{ own, period, firm float64 }{
		{219.4, 219.4, 100.2}, {230.7, 219.4, 100.2}, {131.3, 219.4, 100.2}, {90.8, 240.1, 120}, {60.2, 61.9, 30.9}, {700.1, 219.4, 100.2},
	} {
		for _, n := range []int{61, 219, 438} {
			b := beat{foot: 17.6, period: c.own}
			row, sums := make([]float64, n), make([]float64, n)
			for j := range sums {
				sums[j] = float64(j)
			}
			a.layGrid(n, c.period, c.firm)
			a.fillRow(row, sums, &b, c.period, c.firm)
			drift := (between(wave, b.foot+c.own) - between(wave, b.foot)) / float64(n)
			for j, v := range row {
				at := float64(j) * c.period / float64(n)
				if at > c.firm {
					at = c.firm + (at-c.firm)*(c.own-c.firm)/(c.period-c.firm)
				}
				want := between(wave, b.foot+at) - (float64(j)-float64(n-1)/2)*drift
				if math.Abs(v-want) > 1e-9 || sums[j] != float64(j)+v {
					t.Fatalf("%+v, point %d of %d: %g, want %g; sum %g", c, j, n, v, want, sums[j])
				}
			}
		}
	}
}
