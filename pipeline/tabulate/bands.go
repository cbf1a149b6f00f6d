package tabulate

import (
	"math"

	"tonocohort/schema"
)

// bandsOf puts ages into the bands of the plan. With completed years an age
// counts as its whole years; else it counts as it is.
func bandsOf(ages []float64, s schema.AgeSettings) factor {
	f := factor{levels: bandLabels(s), code: make([]int32, len(ages))}
	for row, age := range ages {
		if s.CompletedYears {
			age = math.Floor(age)
		}
		f.code[row] = -1
		if math.IsNaN(age) {
			continue
		}
		f.code[row] = 0 // below the first bound
		for i, low := range s.Bands {
			if age >= low {
				f.code[row] = int32(i + 1)
			}
		}
	}
	return f
}

// bandLabels names the bands: <18, 18-29 (both ends included) … 80+ for
// completed years; <18, 18-<30 … 80+ for exact age.
func bandLabels(s schema.AgeSettings) []string {
	if len(s.Bands) == 0 {
		return []string{"any"}
	}
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
