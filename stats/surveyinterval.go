package stats

import "math"

// Interval returns Student's interval for a design-based estimate; without
// degrees of freedom there is none.
func (e Estimate) Interval(level float64) Interval {
	half := StudentQuantile((1+level)/2, e.Degrees) * e.SE
	return around(e.Value, half, level, MethodSurveyT)
}

// ProportionInterval returns the interval for a proportion that is Student's on
// the scale of its log odds, so that it stays within 0 and 1; there is none
// where the estimate is 0 or 1.
func (e Estimate) ProportionInterval(level float64) Interval {
	i := Interval{Low: math.NaN(), High: math.NaN(), Level: level, Method: MethodSurveyLogit}
	if !(e.Value > 0 && e.Value < 1) {
		return i
	}
	odds := math.Log(e.Value / (1 - e.Value))
	half := float64(StudentQuantile((1+level)/2, e.Degrees) * e.SE / float64(e.Value*(1-e.Value)))
	i.Low, i.High = 1/(1+math.Exp(half-odds)), 1/(1+math.Exp(-half-odds))
	return i
}

// Quantile estimates the p-quantile of the domain with its interval after
// Woodruff (1952, J Am Stat Assoc 47:635-46): Student's interval of the
// proportion at or below the estimate, carried back through the quantiles. x is
// sorted upwards and x[i] belongs to rows[i]; both ends are NaN where the
// interval of the proportion leaves 0 or 1, where nobody lies above the estimate
// (its proportion, 1, has no spread to judge by), or without degrees of freedom.
func (s *Survey) Quantile(w *Workspace, rows []int32, x []float64, p float64, t QuantileType, level float64) (float64, Interval) {
	i := Interval{Low: math.NaN(), High: math.NaN(), Level: level, Method: MethodWoodruff}
	cumulated := s.Cumulated(rows)
	q := WeightedQuantile(x, cumulated, p, t)
	if math.IsNaN(q) {
		return q, i
	}
	below := make([]float64, len(x))
	for k := range x {
		if x[k] <= q {
			below[k] = 1
		}
	}
	at := s.Mean(w, rows, below)
	if share := at.Interval(level); at.Value < 1 && share.Low >= 0 && share.High <= 1 {
		i.Low, i.High = WeightedQuantile(x, cumulated, share.Low, t), WeightedQuantile(x, cumulated, share.High, t)
	}
	return q, i
}

// Cumulated returns the running sum of the weights of rows.
func (s *Survey) Cumulated(rows []int32) []float64 {
	out := make([]float64, len(rows))
	var total sum
	for i, row := range rows {
		total.add(s.weight[row])
		out[i] = total.value()
	}
	return out
}
