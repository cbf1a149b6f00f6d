package regress

import "math"

// grouped returns the rows of each label, labels in the order of their first row.
func grouped(labels []int) [][]int {
	rows := make([]int, len(labels))
	for i := range rows {
		rows[i] = i
	}
	return groupedRows(rows, labels)
}

// groupedRows does so for some of the rows.
func groupedRows(rows, labels []int) [][]int {
	position := map[int]int{}
	var groups [][]int
	for _, i := range rows {
		g, seen := position[labels[i]]
		if !seen {
			g = len(groups)
			position[labels[i]] = g
			groups = append(groups, nil)
		}
		groups[g] = append(groups[g], i)
	}
	return groups
}

// loadRows is load for rows in any order.
func (f *Model) loadRows(r *reader, block [][]float64, rows []int) [][]float64 {
	out := r.pick(f.active, rows, block)
	for k, scale := range f.scales {
		for i, row := range rows {
			v := float64(out[k][i] * scale)
			if f.weights != nil {
				v = float64(v * math.Sqrt(f.weights[row]))
			}
			out[k][i] = v
		}
	}
	return out
}

// addOuter adds factor·v·vᵀ to m.
func addOuter(m [][]float64, v []float64, factor float64) {
	for a := range v {
		axpy(float64(factor*v[a]), v, m[a])
	}
}

func scale(m [][]float64, factor float64) {
	for _, row := range m {
		for k := range row {
			row[k] *= factor
		}
	}
}

// multiply returns m·v.
func multiply(m [][]float64, v []float64) []float64 {
	out := make([]float64, len(m))
	for i := range m {
		out[i] = dot(m[i], v)
	}
	return out
}
