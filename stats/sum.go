package stats

import "math"

// sum is a compensated sum in the order of its additions: the error does not
// grow with the number of terms (Neumaier 1974, Z angew Math Mech 54:39-51).
type sum struct {
	total, lost float64
}

// add rounds v first: an inlined product must not be fused into the sum.
func (s *sum) add(v float64) {
	v = float64(v)
	t := s.total + v
	if math.Abs(s.total) >= math.Abs(v) {
		s.lost += (s.total - t) + v
	} else {
		s.lost += (v - t) + s.total
	}
	s.total = t
}

func (s *sum) value() float64 { return s.total + s.lost }

// Sum returns the compensated sum of x in the order of x; 0 for no values.
func Sum(x []float64) float64 {
	var s sum
	for _, v := range x {
		s.add(v)
	}
	return s.value()
}
