package stats

import "math"

// DescribeFrequencies returns size, mean and standard deviation of a sample in
// which x[i] stands for count[i] persons.
func DescribeFrequencies(x, count []float64) Sample {
	var n, total sum
	for i, v := range x {
		n.add(count[i])
		total.add(float64(count[i] * v))
	}
	size := n.value()
	first := total.value() / size
	var rest, squares sum
	for i, v := range x {
		d := v - first
		rest.add(float64(count[i] * d))
		squares.add(float64(count[i] * float64(d*d)))
	}
	r := rest.value()
	s := Sample{N: int(math.Round(size)), Mean: first + r/size, SD: math.NaN()}
	if size > 1 {
		s.SD = math.Sqrt((squares.value() - float64(r*r)/size) / (size - 1))
	}
	return s
}

// Precision is a mean of values of unequal but known precision.
type Precision struct {
	Value float64
	SE    float64
	SD    float64 // of a value whose weight is the mean weight
	N     int
}

// PrecisionMean returns the mean of x with weights in proportion to the inverse
// of the variance of each value, and its error by weighted least squares on a
// constant: the scale of the weights is estimated, so that only their ratios
// count. SE and SD are NaN below two values.
func PrecisionMean(x, weight []float64) Precision {
	n := float64(len(x))
	var weights, products, squares sum
	for i, v := range x {
		weights.add(weight[i])
		products.add(float64(weight[i] * v))
	}
	total := weights.value()
	p := Precision{Value: products.value() / total, N: len(x), SE: math.NaN(), SD: math.NaN()}
	if len(x) < 2 {
		return p
	}
	for i, v := range x {
		d := v - p.Value
		squares.add(float64(weight[i] * float64(d*d)))
	}
	unit := squares.value() / (n - 1) // variance of a value of weight 1
	p.SE, p.SD = math.Sqrt(unit/total), math.Sqrt(unit*n/total)
	return p
}

// Interval returns Student's interval with n − 1 degrees of freedom.
func (p Precision) Interval(level float64) Interval {
	half := StudentQuantile((1+level)/2, float64(p.N-1)) * p.SE
	return around(p.Value, half, level, MethodPrecisionT)
}
