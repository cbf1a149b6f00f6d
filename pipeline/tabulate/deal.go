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
	rows    []int32   // of the frame, by value; nil where no estimator wants them
	missing int
}

// dealer hands the values of one variable out to the cells of strata. They are
// sorted once, before that, so that every cell is sorted and no sum depends on
// the order in which people stand in the table. Its memory is used again, twice
// within one variable: what was spare while sorting holds the groups.
type dealer struct {
	sorted, spare []float64
	at, spareAt   []int32 // by sorted value: position in the set's rows
	missing       []int32 // positions without a value
}

// dealtBytes is the memory of a dealer for each row.
const dealtBytes = 24

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
	d.sort()
}

// sortable maps numbers to whole numbers of the same order.
func sortable(v float64) uint64 {
	bits := math.Float64bits(v)
	if bits>>63 == 1 {
		return ^bits
	}
	return bits | 1<<63
}

// Below fewKeys sorting by comparison is as fast as by digits.
const (
	fewKeys    = 1 << 10
	digitBits  = 11
	digitCount = 1 << digitBits
)

// sort orders the values, equal ones by position: by comparison where they are
// few, else digit by digit from the lowest.
func (d *dealer) sort() {
	n := len(d.sorted)
	if n < fewKeys {
		d.sortFew()
		return
	}
	from, fromAt, to, toAt := d.sorted, d.at, d.spare, d.spareAt
	for shift := 0; shift < 64; shift += digitBits {
		var counts [digitCount]int32
		for _, v := range from {
			counts[sortable(v)>>shift&(digitCount-1)]++
		}
		if counts[sortable(from[0])>>shift&(digitCount-1)] == int32(n) {
			continue // all have this digit
		}
		var start int32
		for i, c := range counts {
			counts[i] = start
			start += c
		}
		for i, v := range from {
			digit := sortable(v) >> shift & (digitCount - 1)
			to[counts[digit]], toAt[counts[digit]] = v, fromAt[i]
			counts[digit]++
		}
		from, to, fromAt, toAt = to, from, toAt, fromAt
	}
	d.sorted, d.at, d.spare, d.spareAt = from, fromAt, to, toAt
}

func (d *dealer) sortFew() {
	type item struct {
		value float64
		at    int32
	}
	items := make([]item, len(d.sorted))
	for i, v := range d.sorted {
		items[i] = item{v, d.at[i]}
	}
	slices.SortFunc(items, func(a, b item) int { return cmp.Or(cmp.Compare(a.value, b.value), cmp.Compare(a.at, b.at)) })
	for i, it := range items {
		d.sorted[i], d.at[i] = it.value, it.at
	}
}

// deal hands the loaded values out to the cells of one margin and calls each
// with the number of a cell and its group, cells upwards. setRows are the rows
// that were loaded; withRows says whether the groups need theirs.
func (d *dealer) deal(s strata, margin int, setRows []int32, withRows bool, each func(cell int, g group)) {
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
		values[next[cell]] = d.sorted[i]
		if withRows {
			rows[next[cell]] = setRows[at]
		}
		next[cell]++
	}
	for _, cell := range s.inMargin[margin] {
		g := group{values: values[start[cell]:start[cell+1]], missing: missing[cell]}
		if withRows {
			g.rows = rows[start[cell]:start[cell+1]]
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
func (c *cohort) groups(s strata, rows []int32, cells []float64) []group {
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

// rested lets go of the memory of the dealers.
func (c *cohort) rested() { c.dealers = nil }

// dealingMemory is what the dealers of all goroutines may take together; one may
// always work.
const dealingMemory = 512 << 20

// inParallel does the work i for every i below n, each with a dealer of so many
// rows. worker is called once for each goroutine, with its number, and returns what
// does one piece of work; pieces must not depend on each other.
func inParallel(n, rows int, worker func(number int) func(i int)) {
	var group sync.WaitGroup
	next := make(chan int)
	most := max(1, dealingMemory/(dealtBytes*max(1, rows)))
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
