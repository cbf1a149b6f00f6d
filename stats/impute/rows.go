package impute

import (
	"math"
	"slices"
	"sort"
)

// column is what a variable is in the models of others, computed from its values
// where it is wanted: the number about its mean in its spread, or 1 at one of the
// levels from 1 and 0 elsewhere.
type column struct {
	values        []float64
	centre, scale float64
	level         float64 // 0: numbers
}

// numbers centres and scales values as those given would be.
func numbers(given, values []float64) column {
	centre, scale := spread(given)
	return column{values: values, centre: centre, scale: scale}
}

// gather fills target with the column at rows.
func (c column) gather(rows []int32, target []float64) {
	target = target[:len(rows)]
	if c.level == 0 {
		for i, row := range rows {
			target[i] = (c.values[row] - c.centre) / c.scale
		}
		return
	}
	for i, row := range rows {
		target[i] = 0
		if c.values[row] == c.level {
			target[i] = 1
		}
	}
}

// missingRows lists the rows without a value.
func missingRows(x []float64) []int32 {
	missing := 0
	for _, v := range x {
		if math.IsNaN(v) {
			missing++
		}
	}
	if missing == 0 {
		return nil
	}
	rows := make([]int32, 0, missing)
	for i, v := range x {
		if math.IsNaN(v) {
			rows = append(rows, int32(i))
		}
	}
	return rows
}

// rowsBut are the rows from 0 to n−1 but for those left out, which ascend.
type rowsBut struct {
	n    int
	left []int32
}

func (r rowsBut) count() int { return r.n - len(r.left) }

// row is number k of the rows, from 0.
func (r rowsBut) row(k int) int {
	return k + sort.Search(len(r.left), func(j int) bool { return int(r.left[j])-j > k })
}

// blocks visits the rows in their order, gatherRows at a time; the slice is
// reused. from is the number of the first of them.
func (r rowsBut) blocks(visit func(from int, rows []int32)) {
	var room [gatherRows]int32
	rows, from, left := room[:0], 0, r.left
	for row := range int32(r.n) {
		if len(left) > 0 && left[0] == row {
			left = left[1:]
			continue
		}
		if rows = append(rows, row); len(rows) == gatherRows {
			visit(from, rows)
			from += gatherRows
			rows = rows[:0]
		}
	}
	if len(rows) > 0 {
		visit(from, rows)
	}
}

// room is memory that the draws of one chain use in turn.
type room struct {
	pool  []donor
	drawn []float64
	block [][]float64
}

// columns gives k work columns of gatherRows rows.
func (r *room) columns(k int) [][]float64 {
	for len(r.block) < k {
		r.block = append(r.block, make([]float64, gatherRows))
	}
	return r.block[:k]
}

func resized[T any](x []T, n int) []T { return slices.Grow(x[:0], n)[:n] }
