package release

import (
	"encoding/binary"
	"hash/fnv"
	"math"
	"sync"
)

// variable is a column of the person-level table that some table describes.
type variable struct {
	name    string
	known   bool  // there is such a column
	numeric bool  // it holds numbers
	present flags // by person
	counted []int // by atom: rows with a value
	absent  int   // rows without
}

// flags say yes or no of every person; nil says yes of all.
type flags []uint64

func (f flags) at(i int) bool { return f == nil || f[i>>6]>>(i&63)&1 == 1 }

// digest is the same for the same people.
func (f flags) digest() string {
	h := fnv.New128a()
	var b [8]byte
	for _, word := range f {
		binary.LittleEndian.PutUint64(b[:], word)
		h.Write(b[:])
	}
	return string(h.Sum(nil))
}

// has is the people with a value.
func (v *variable) has() *part { return &part{v.present.at, v.counted} }

func (c *checker) variable(name string) (variable, bool) {
	v, read := c.cache[name]
	if !read {
		v = c.readVariable(name)
		c.cache[name] = v
	}
	return v, v.known
}

// numbers are the values of a variable by row; they are not kept.
func (c *checker) numbers(v variable) []float64 { return c.Visits.Numbers(v.name) }

// lazyNumbers are numbers that are read when they are first asked for, then held by
// who asks.
func (c *checker) lazyNumbers(v variable) func() []float64 {
	return sync.OnceValue(func() []float64 { return c.numbers(v) })
}

func (c *checker) readVariable(name string) variable {
	v := variable{name: name, known: true, counted: make([]int, len(c.layout.at))}
	need, asked := c.needs[name]
	switch {
	case asked:
		v.fill(c, need.has)
	case name == ageBand && c.Visits.Has("age_years"):
		cells := c.Visits.Numbers("age_years")
		v.fill(c, func(row int32) bool { return !math.IsNaN(cells[row]) })
	case !c.Visits.Has(name):
		return variable{name: name}
	case c.Visits.Column(name).Numeric():
		v.numeric = true
		cells := c.numbers(v)
		v.fill(c, func(row int32) bool { return !math.IsNaN(cells[row]) })
	case c.Visits.Column(name).Textual():
		cells := c.Visits.Labels(name)
		v.fill(c, func(row int32) bool { return cells.At(int(row)) != "" })
	default:
		return variable{name: name}
	}
	return v
}

func (v *variable) fill(c *checker, has func(row int32) bool) {
	present := make(flags, (len(c.People.Rows)+63)/64)
	for i, row := range c.People.Rows {
		if has(row) {
			present[i>>6] |= 1 << (i & 63)
			v.counted[c.layout.atomOf[i]] += c.People.times(i)
		} else {
			v.absent += c.People.times(i)
		}
	}
	if v.absent > 0 {
		v.present = present
	}
}
