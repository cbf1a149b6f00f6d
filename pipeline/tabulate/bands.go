package tabulate

import "tonocohort/schema"

// bandsOf puts ages into the bands of the plan.
func bandsOf(ages []float64, s schema.AgeSettings) factor {
	f := factor{levels: s.Labels(), code: make([]int32, len(ages))}
	for row, age := range ages {
		f.code[row] = int32(s.Band(age))
	}
	return f
}
