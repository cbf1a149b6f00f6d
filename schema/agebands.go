package schema

import (
	"math"
	"strconv"
)

// Labels names the bands: <18, 18-29 (both ends included) … 80+ for completed
// years; <18, 18-<30 … 80+ for exact age; any where there is no bound.
func (s AgeSettings) Labels() []string {
	if len(s.Bands) == 0 {
		return []string{"any"}
	}
	plain := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	labels := []string{"<" + plain(s.Bands[0])}
	for i, low := range s.Bands {
		switch {
		case i == len(s.Bands)-1:
			labels = append(labels, plain(low)+"+")
		case !s.CompletedYears:
			labels = append(labels, plain(low)+"-<"+plain(s.Bands[i+1]))
		case s.Bands[i+1]-1 == low:
			labels = append(labels, plain(low))
		default:
			labels = append(labels, plain(low)+"-"+plain(s.Bands[i+1]-1))
		}
	}
	return labels
}

// Band returns the position in Labels of the band that an age is in, −1 for NaN.
// With completed years an age counts as its whole years; else it counts as it is.
func (s AgeSettings) Band(age float64) int {
	if math.IsNaN(age) {
		return -1
	}
	if s.CompletedYears {
		age = math.Floor(age)
	}
	band := 0 // below the first bound
	for i, low := range s.Bands {
		if age >= low {
			band = i + 1
		}
	}
	return band
}
