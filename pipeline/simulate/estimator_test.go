package simulate

import (
	"math"
	"math/cmplx"
	"strconv"
)

// estimate is what a simple estimator with population values makes of a
// recording: the average of the beats, each laid out on its own period and
// freed of its drift, scaled by the cuff, sent back through a tube of constant
// reflection (Td 62.5 ms, Γ 9/19: the published peak of 2.8 at 4 Hz,
// Karamanoglu 1993) with a raised-cosine end between 8 and 12 Hz. It is here
// so that the cohort can be judged without the pipeline.
type estimate struct {
	bSBP, bDBP, cSBP, cPP, amplification float64
	augmentation                         float64 // index in %, NaN where no shoulder shows
	radialForm                           float64
}

const points = 128

// averageBeat folds the samples over the true beats.
func averageBeat(samples []float64, hz float64, onsets []float64) []float64 {
	average := make([]float64, points)
	count := 0.0
	for i := 0; i+1 < len(onsets); i++ {
		from, to := onsets[i]*hz, onsets[i+1]*hz
		if from < 0 || int(to)+1 >= len(samples) {
			continue
		}
		at := func(x float64) float64 {
			j := int(x)
			return samples[j] + (x-float64(j))*(samples[j+1]-samples[j])
		}
		for k := range average {
			share := float64(k) / points
			average[k] += at(from+share*(to-from)) - share*(at(to)-at(from))
		}
		count++
	}
	for k := range average {
		average[k] /= count
	}
	return average
}

func estimateOf(average []float64, periodS, sbp, dbp float64) estimate {
	low, high, mean := describe(average)
	scale := (sbp - dbp) / (high - low)
	central := make([]float64, points)
	for k := 0; float64(k)/periodS < 12; k++ {
		var c complex128
		for i, v := range average {
			sin, cos := math.Sincos(2 * math.Pi * float64(k*i) / points)
			c += complex((dbp+(v-low)*scale)*cos, -(dbp+(v-low)*scale)*sin)
		}
		c /= points
		if k > 0 {
			f := float64(k) / periodS
			const travel, reflection = 0.0625, 9.0 / 19
			turn := cmplx.Rect(1, 2*math.Pi*f*travel)
			c *= 2 * (turn + reflection/turn) / (1 + reflection)
			if f > 8 {
				c *= complex(0.5+0.5*math.Cos(math.Pi*(f-8)/4), 0)
			}
		}
		for i := range central {
			sin, cos := math.Sincos(2 * math.Pi * float64(k*i) / points)
			central[i] += real(c)*cos - imag(c)*sin
		}
	}
	cLow, cHigh, _ := describe(central)
	return estimate{bSBP: sbp, bDBP: dbp, cSBP: cHigh, cPP: cHigh - cLow, amplification: (sbp - dbp) / (cHigh - cLow),
		augmentation: augmentation(central, periodS), radialForm: (mean - low) / (high - low)}
}

// augmentation finds the shoulder by the fourth derivative: a fall through
// zero before the peak, a rise through zero after it.
func augmentation(wave []float64, periodS float64) float64 {
	n := len(wave)
	foot := 0
	for i, v := range wave {
		if v < wave[foot] {
			foot = i
		}
	}
	y := make([]float64, n)
	peak := 0
	for i := range y {
		y[i] = wave[(foot+i)%n]
		if y[i] > y[peak] {
			peak = i
		}
	}
	fourth := make([]float64, n)
	for k := 1; float64(k)/periodS < 14; k++ {
		f := float64(k) / periodS
		var c complex128
		for i, v := range y {
			sin, cos := math.Sincos(2 * math.Pi * float64(k*i) / float64(n))
			c += complex(v*cos, -v*sin)
		}
		c *= complex(2*math.Pow(f, 4)*math.Exp(-math.Pow(f/9, 4))/float64(n), 0)
		for i := range fourth {
			sin, cos := math.Sincos(2 * math.Pi * float64(k*i) / float64(n))
			fourth[i] += real(c)*cos - imag(c)*sin
		}
	}
	step := periodS / float64(n)
	pp := y[peak] - y[0]
	for i := int(0.06 / step); float64(i)*step < float64(peak)*step-0.02; i++ {
		if fourth[i-1] > 0 && fourth[i] <= 0 {
			return 100 * (y[peak] - y[i]) / pp
		}
	}
	for i := peak + int(0.03/step); float64(i)*step < 0.36; i++ {
		if fourth[i-1] < 0 && fourth[i] >= 0 {
			return 100 * (y[i] - y[peak]) / pp
		}
	}
	return math.NaN()
}

// cuffOf combines the readings of a visit: one is used, of two the mean, of
// three the first is dropped.
func cuffOf(rows [][]string) (sbp, dbp float64) {
	var s, d []float64
	for _, row := range rows {
		a, errA := strconv.ParseFloat(row[3], 64)
		b, errB := strconv.ParseFloat(row[4], 64)
		if errA != nil || errB != nil || a <= b || a > 280 {
			continue
		}
		s, d = append(s, a), append(d, b)
	}
	if len(s) > 2 {
		s, d = s[1:], d[1:]
	}
	return mean(s), mean(d)
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

func spread(x []float64) float64 {
	m, sum := mean(x), 0.0
	for _, v := range x {
		sum += (v - m) * (v - m)
	}
	return math.Sqrt(sum / float64(len(x)-1))
}
