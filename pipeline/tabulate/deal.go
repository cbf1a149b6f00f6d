package tabulate

import (
	"math"
	"runtime"
	"slices"
	"sync"
)

// group is what the rows of one cell hold of one variable. The slices are the
// dealer's own and change with its next margin.
type group struct {
	values  []float64 // sorted upwards, missing ones left out
	rows    []int32   // of the frame, by value
	missing int
}

// dealer hands the values of one variable out to the cells of strata, with their rows,
// which estimators by weight or by cluster need. They are sorted once, before that, so
// that every cell is sorted and no sum depends on the order in which people stand in
// the table. Its memory is used again, twice within one variable: what was spare while
// sorting holds the groups.
type dealer struct {
	sorted, spare []float64
	at, spareAt   []int32 // by sorted value: position in the set's rows
	missing       []int32 // positions without a value
}

// load sorts the cells of rows; cells is by row of the frame.
func (d *dealer) load(rows []int32, cells []float64) {
	d.sorted, d.at, d.missing = d.sorted[:0], d.at[:0], d.missing[:0]
	if cap(d.sorted) < len(rows) {
		d.sorted, d.at = nil, nil // before the new ones are made
		d.sorted, d.at = make([]float64, 0, len(rows)), make([]int32, 0, len(rows))
	}
	for i, row := range rows {
		if v := cells[row]; math.IsNaN(v) {
			d.missing = append(d.missing, int32(i))
		} else {
			d.sorted, d.at = append(d.sorted, v+0), append(d.at, int32(i)) // −0 is 0
		}
	}
	d.spare, d.spareAt = resized(d.spare, len(d.at)), resized(d.spareAt, len(d.at))
	if len(d.at) < fewKeys {
		sortFew(d.sorted, d.at)
		return
	}
	d.sorted, d.spare, d.at, d.spareAt = byDigits(0, d.sorted, d.spare, d.at, d.spareAt)
}

// deal hands the loaded values out to the cells of one margin and calls each
// with the number of a cell and its group, cells upwards. setRows are the rows
// that were loaded.
func (d *dealer) deal(s *strata, margin int, setRows []int32, each func(cell int, g group)) {
	cells := s.cells[margin]
	start := make([]int, len(s.labels)+1)
	missing := make([]int, len(s.labels))
	for _, at := range d.missing {
		missing[cells[s.finest[at]]]++
	}
	for _, cell := range s.inMargin[margin] {
		start[cell+1] = s.size[cell] - missing[cell]
	}
	for i := range s.labels {
		start[i+1] += start[i]
	}
	values, rows := d.spare[:len(d.at)], d.spareAt[:len(d.at)]
	next := slices.Clone(start)
	for i, at := range d.at {
		cell := cells[s.finest[at]]
		values[next[cell]], rows[next[cell]] = d.sorted[i], setRows[at]
		next[cell]++
	}
	for _, cell := range s.inMargin[margin] {
		each(cell, group{values[start[cell]:start[cell+1]], rows[start[cell]:start[cell+1]], missing[cell]})
	}
}

// memory is what one goroutine deals with, used again for every variable.
type memory struct {
	dealer   dealer
	portions portions
}

// memory returns that of a goroutine by its number, as it was left.
func (c *cohort) memory(number int) *memory {
	for len(c.memories) <= number {
		c.memories = append(c.memories, &memory{portions: portions{ranks: map[rankKey][2]int{}}})
	}
	return c.memories[number]
}

func resized[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}

// dealtBytes is the memory that a goroutine needs for the rows of a set.
func (c *cohort) dealtBytes(s *strata, rows int) int {
	if c.byRow() {
		const numbers, places = 2 * 8, 2 * 4
		return (numbers + places) * rows
	}
	return portionBytes(s, rows)
}

// rested lets go of the memory of all goroutines.
func (c *cohort) rested() { c.memories = nil }

// dealingMemory is what all goroutines may take together; one may always work.
const dealingMemory = 512 << 20

// inParallel does the work i for every i below n, with so many bytes for each
// goroutine. worker is called once for each, with its number, and returns what does
// one piece of work; pieces must not depend on each other.
func inParallel(n, bytes int, worker func(number int) func(i int)) {
	var group sync.WaitGroup
	next := make(chan int)
	most := max(1, dealingMemory/max(1, bytes))
	for number := range min(n, runtime.GOMAXPROCS(0), most) {
		do := worker(number)
		group.Go(func() {
			for i := range next {
				do(i)
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	group.Wait()
}
