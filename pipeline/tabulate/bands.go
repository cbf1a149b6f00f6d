package tabulate

import "tonocohort/schema"

// bandsOf puts the ages of a frame into the bands of the plan.
func bandsOf(ages *schema.Frame, s schema.AgeSettings) factor {
	f := factor{levels: s.Labels(), code: make([]int32, 0, ages.N)}
	ages.EachNumbers(func(_ int, cells [][]float64) {
		for _, age := range cells[0] {
			f.code = append(f.code, int32(s.Band(age)))
		}
	}, "age_years")
	for len(f.code) < ages.N { // reading failed, which the frame remembers
		f.code = append(f.code, -1)
	}
	return f
}
