package regress

import "math"

// newton fills in the weights and the outcome of the least-squares problem whose
// solution is the Newton step; the step alone is fitted, so that a large
// predictor costs no digits.
func (f *BinaryFit) newton(y, predictor, weights, working []float64) {
	const least = 1e-280 // a row that is predicted perfectly fades out
	for i := range y {
		mean, derivative := f.mean(predictor[i])
		derivative = max(derivative, least)
		working[i] = (y[i] - mean) / derivative
		weights[i] = derivative
		if f.prior != nil {
			weights[i] = max(float64(derivative*f.prior[i]), least)
		}
	}
}

// advance moves the linear predictor by the change, or by a part of it where the
// deviance would rise, and returns the part.
func (f *BinaryFit) advance(y, predictor, change []float64, deviance *float64) (part float64) {
	trial := make([]float64, len(y))
	for part = 1; part > 1e-6; part /= 2 {
		for i := range trial {
			trial[i] = predictor[i] + float64(part*change[i])
		}
		if d := f.devianceAt(y, trial); d <= *deviance+1e-9*math.Abs(*deviance) {
			*deviance = d
			break
		}
	}
	copy(predictor, trial)
	return part
}

// devianceAt is minus twice the log likelihood (for Poisson up to a constant).
func (f *BinaryFit) devianceAt(y, predictor []float64) float64 {
	var total float64
	for i, v := range predictor {
		var term float64
		if f.Family == LogisticFamily {
			if y[i] == 0 {
				v = -v
			}
			term = math.Log1p(math.Exp(-math.Abs(v))) + max(-v, 0)
		} else {
			term = math.Exp(v) - float64(y[i]*v) - y[i]
		}
		if f.prior != nil {
			term *= f.prior[i]
		}
		total += 2 * term
	}
	return total
}

// progress returns the largest change of a predictor, and whether every change
// goes the way of its row's outcome or nowhere.
func (f *BinaryFit) progress(y, change []float64) (largest float64, settled bool) {
	settled = true
	for i, c := range change {
		largest = max(largest, math.Abs(c))
		against := c
		if y[i] == 1 {
			against = -c
			if f.Family == ModifiedPoissonFamily {
				against = math.Abs(c)
			}
		}
		settled = settled && against < separationRest
	}
	return largest, settled
}
