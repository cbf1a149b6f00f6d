package regress

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// newBlock makes work columns of the given number of rows, in one piece of memory.
func newBlock(columns, rows int) [][]float64 {
	flat := make([]float64, columns*rows)
	block := make([][]float64, columns)
	for j := range block {
		block[j] = flat[j*rows : (j+1)*rows : (j+1)*rows]
	}
	return block
}

// load copies rows from … to−1 of the named columns into block, scaled and
// weighted, and returns the block cut to their number, until the next load.
func (f *Model) load(r *reader, block [][]float64, columns []int, scales []float64, from, to int) [][]float64 {
	r.heads = cut(r.heads, block[:len(columns)], to-from)
	rows := r.heads
	for k, j := range columns {
		scale := scales[k]
		if column := r.at(j, from, to); column == nil {
			for i := range rows[k] {
				rows[k][i] = scale
			}
		} else {
			for i, v := range column {
				rows[k][i] = float64(v * scale)
			}
		}
		f.weigh(rows[k], from)
	}
	return rows
}

// weigh multiplies rows from… by the square roots of their weights.
func (f *Model) weigh(x []float64, from int) {
	if f.weights == nil {
		return
	}
	for i := range x {
		x[i] = float64(x[i] * math.Sqrt(f.weights[from+i]))
	}
}

func allColumns(p int) []int {
	out := make([]int, p)
	for j := range out {
		out[j] = j
	}
	return out
}

// powerOfTwoScale returns the power of two that brings the largest magnitude of a
// column into [1/2, 1); scaling by it rounds nothing.
func powerOfTwoScale(largest float64) float64 {
	if largest == 0 {
		return 1
	}
	_, exponent := math.Frexp(largest)
	return math.Ldexp(1, max(min(-exponent, 1023), -1022))
}

// largestMagnitude of finite numbers; of others an infinity or NaN. Magnitudes
// have the order of their bits, which compare faster.
func largestMagnitude(x []float64) float64 {
	var largest uint64
	for _, v := range x {
		largest = max(largest, math.Float64bits(v)&^(1<<63))
	}
	return math.Float64frombits(largest)
}

// firstBad is the first row that holds no finite number, or −1.
func firstBad(x []float64) int {
	if largest := largestMagnitude(x); largest <= math.MaxFloat64 {
		return -1
	}
	return slices.IndexFunc(x, func(v float64) bool { return math.IsNaN(v) || math.IsInf(v, 0) })
}

// conditionNumber is the ratio of the extreme singular values of r with its
// columns at unit length.
func conditionNumber(r triangle) float64 {
	rank := len(r)
	if rank == 0 {
		return math.NaN()
	}
	m := mat.NewDense(rank, rank, nil)
	for k := range r {
		length := norm(r[k][:k+1])
		for i := 0; i <= k; i++ {
			m.Set(i, k, r[k][i]/length)
		}
	}
	var svd mat.SVD
	if !svd.Factorize(m, mat.SVDNone) {
		return math.NaN()
	}
	values := svd.Values(nil)
	return values[0] / values[rank-1]
}

// product returns a·b for a block of columns and an upper triangular matrix,
// column by column, into out.
func (t triangle) product(block, out [][]float64) [][]float64 {
	result := make([][]float64, len(t))
	for k := range t {
		result[k] = out[k][:len(block[0])]
		clear(result[k])
		for j := 0; j <= k; j++ {
			axpy(t[k][j], block[j], result[k])
		}
	}
	return result
}
