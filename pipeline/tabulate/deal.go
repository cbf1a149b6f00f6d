package tabulate

import (
	"cmp"
	"math"
	"runtime"
	"slices"
	"sync"
)

// group is what the rows of one cell hold of one variable. The slices are the
// dealer's own and change with its next margin.
type group struct {
	values  []float64 // sorted upwards, missing ones left out
	rows    []int     // of the frame, by value; nil where no estimator wants them
	missing int
}

// dealer hands the values of one variable out to the cells of strata. They are
// sorted once, before that, so that every cell is sorted and no sum depends on
// the order in which people stand in the table. Its memory is used again.
type dealer struct {
	keys, spareKeys []uint64 // values as numbers of the same order
	at, spareAt     []int32  // by key: position in the set's rows
	missing         []int32  // positions without a value
	values          []float64
	rows            []int
}

// load sorts the cells of rows; cells is by row of the frame.
func (d *dealer) load(rows []int, cells []float64) {
	d.keys, d.at, d.missing = d.keys[:0], d.at[:0], d.missing[:0]
	if cap(d.keys) < len(rows) {
		d.keys, d.at = make([]uint64, 0, len(rows)), make([]int32, 0, len(rows))
	}
	for i, row := range rows {
		if v := cells[row]; math.IsNaN(v) {
			d.missing = append(d.missing, int32(i))
		} else {
			d.keys, d.at = append(d.keys, sortable(v)), append(d.at, int32(i))
		}
	}
	d.sort()
}

// sortable maps numbers to whole numbers of the same order.
func sortable(v float64) uint64 {
	bits := math.Float64bits(v + 0) // −0 is 0
	if bits>>63 == 1 {
		return ^bits
	}
	return bits | 1<<63
}

func unsortable(key uint64) float64 {
	if key>>63 == 1 {
		return math.Float64frombits(key &^ (1 << 63))
	}
	return math.Float64frombits(^key)
}

// Below fewKeys sorting by comparison is as fast as by digits.
const (
	fewKeys    = 1 << 10
	digitBits  = 11
	digitCount = 1 << digitBits
)

// sort orders the keys, equal ones by position: by comparison where they are
// few, else digit by digit from the lowest.
func (d *dealer) sort() {
	n := len(d.keys)
	if n < fewKeys {
		d.sortFew()
		return
	}
	if cap(d.spareKeys) < n {
		d.spareKeys, d.spareAt = make([]uint64, n), make([]int32, n)
	}
	from, fromAt, to, toAt := d.keys, d.at, d.spareKeys[:n], d.spareAt[:n]
	for shift := 0; shift < 64; shift += digitBits {
		var counts [digitCount]int32
		for _, k := range from {
			counts[k>>shift&(digitCount-1)]++
		}
		if counts[from[0]>>shift&(digitCount-1)] == int32(n) {
			continue // all have this digit
		}
		var start int32
		for i, c := range counts {
			counts[i] = start
			start += c
		}
		for i, k := range from {
			digit := k >> shift & (digitCount - 1)
			to[counts[digit]], toAt[counts[digit]] = k, fromAt[i]
			counts[digit]++
		}
		from, to, fromAt, toAt = to, from, toAt, fromAt
	}
	d.keys, d.at, d.spareKeys, d.spareAt = from, fromAt, to, toAt
}

func (d *dealer) sortFew() {
	type item struct {
		key uint64
		at  int32
	}
	items := make([]item, len(d.keys))
	for i, k := range d.keys {
		items[i] = item{k, d.at[i]}
	}
	slices.SortFunc(items, func(a, b item) int { return cmp.Or(cmp.Compare(a.key, b.key), cmp.Compare(a.at, b.at)) })
	for i, it := range items {
		d.keys[i], d.at[i] = it.key, it.at
	}
}

// deal hands the loaded values out to the cells of one margin and calls each
// with the number of a cell and its group, cells upwards. setRows are the rows
// that were loaded; withRows says whether the groups need theirs.
func (d *dealer) deal(s strata, margin int, setRows []int, withRows bool, each func(cell int, g group)) {
	cells := s.cells[margin]
	start := make([]int, len(s.labels)+1)
	missing := make([]int, len(s.labels))
	for _, at := range d.missing {
		missing[cells[at]]++
	}
	for _, cell := range s.inMargin[margin] {
		start[cell+1] = s.size[cell] - missing[cell]
	}
	for i := range s.labels {
		start[i+1] += start[i]
	}
	d.values = resized(d.values, len(d.at))
	if withRows {
		d.rows = resized(d.rows, len(d.at))
	}
	next := slices.Clone(start)
	for i, at := range d.at {
		cell := cells[at]
		d.values[next[cell]] = unsortable(d.keys[i])
		if withRows {
			d.rows[next[cell]] = setRows[at]
		}
		next[cell]++
	}
	for _, cell := range s.inMargin[margin] {
		g := group{values: d.values[start[cell]:start[cell+1]], missing: missing[cell]}
		if withRows {
			g.rows = d.rows[start[cell]:start[cell+1]]
		}
		each(cell, g)
	}
}

// dealer returns the dealer of a goroutine by its number, with the memory that
// it had before.
func (c *cohort) dealer(number int) *dealer {
	for len(c.dealers) <= number {
		c.dealers = append(c.dealers, &dealer{})
	}
	return c.dealers[number]
}

// groups deals the values of a variable out to all cells at once.
func (c *cohort) groups(s strata, rows []int, cells []float64) []group {
	var d dealer
	d.load(rows, cells)
	groups := make([]group, len(s.labels))
	for margin := range s.cells {
		d.deal(s, margin, rows, true, func(cell int, g group) {
			groups[cell] = group{slices.Clone(g.values), slices.Clone(g.rows), g.missing}
		})
	}
	return groups
}

func resized[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}

// inParallel does the work i for every i below n. worker is called once for
// each goroutine, with its number, and returns what does one piece of work;
// pieces must not depend on each other.
func inParallel(n int, worker func(number int) func(i int)) {
	var group sync.WaitGroup
	next := make(chan int)
	for number := range min(n, runtime.GOMAXPROCS(0)) {
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
