package regress

import "math"

// column is a column of a Design: its values; or its place among those that a
// source computes; or, with neither, the constant.
type column struct {
	values []float64
	source *source
	place  int
}

// source computes columns of one term from a predictor for the block of rows in
// which they are wanted: that takes little longer than to read them and no memory
// for each row. The predictor is numbers, or the levels of a factor.
type source struct {
	x     []float64
	count int
	fill  func(x []float64, out [][]float64) // the columns at x

	codes  []int32 // in the place of x: the level of each row
	levels []int32 // by column: the level at which it is 1 and not 0
}

// rows is how many there are.
func (s *source) rows() int { return max(len(s.x), len(s.codes)) }

// block computes rows from … to−1.
func (s *source) block(from, to int, out [][]float64) {
	if s.levels == nil {
		s.fill(s.x[from:to], out)
		return
	}
	s.indicate(s.codes[from:to], out)
}

func (s *source) indicate(codes []int32, out [][]float64) {
	for k, level := range s.levels {
		for i, code := range codes {
			out[k][i] = 0
			if code == level {
				out[k][i] = 1
			}
		}
	}
}

// pick computes rows in any order, at most blockRows.
func (s *source) pick(rows []int, out [][]float64) {
	if s.levels != nil {
		var codes [blockRows]int32
		for i, row := range rows {
			codes[i] = s.codes[row]
		}
		s.indicate(codes[:len(rows)], out)
		return
	}
	var x [blockRows]float64
	for i, row := range rows {
		x[i] = s.x[row]
	}
	s.fill(x[:len(rows)], out)
}

func (c column) constant() bool { return c.values == nil && c.source == nil }

// rows is how many the column has; −1 for the constant, which has any number.
func (c column) rows() int {
	switch {
	case c.source != nil:
		return c.source.rows()
	case c.values != nil:
		return len(c.values)
	}
	return -1
}

// reader hands out the columns of a design block by block. Each goroutine has its
// own.
type reader struct {
	columns []column
	made    map[*source]*madeBlock
	heads   [][]float64 // room for what load and pick return
}

// madeBlock is the block of a source that was made last.
type madeBlock struct {
	from, to   int
	out, heads [][]float64
}

func (d *Design) reader() *reader { return &reader{columns: d.columns} }

// room is the block of a source, which is still to be filled.
func (r *reader) room(s *source) *madeBlock {
	m := r.made[s]
	if m == nil {
		m = &madeBlock{out: newBlock(s.count, blockRows)}
		if r.made == nil {
			r.made = map[*source]*madeBlock{}
		}
		r.made[s] = m
	}
	return m
}

// at returns rows from … to−1 of a column, at most blockRows, nil for the constant.
// They hold until other rows are asked for.
func (r *reader) at(j, from, to int) []float64 {
	c := r.columns[j]
	switch {
	case c.constant():
		return nil
	case c.source == nil:
		return c.values[from:to]
	}
	m := r.room(c.source)
	if m.from != from || m.to != to {
		m.from, m.to = from, to
		m.heads = cut(m.heads, m.out, to-from)
		c.source.block(from, to, m.heads)
	}
	return m.out[c.place][:to-from]
}

// pick copies rows in any order, at most blockRows, of some columns into block and
// returns it cut to their number, until the next pick.
func (r *reader) pick(columns, rows []int, block [][]float64) [][]float64 {
	r.heads = cut(r.heads, block[:len(columns)], len(rows))
	out := r.heads
	var last *source
	for k, j := range columns {
		c := r.columns[j]
		switch {
		case c.constant():
			for i := range out[k] {
				out[k][i] = 1
			}
		case c.source == nil:
			for i, row := range rows {
				out[k][i] = c.values[row]
			}
		default:
			m := r.room(c.source)
			if c.source != last {
				last = c.source
				m.from, m.to = 0, 0
				m.heads = cut(m.heads, m.out, len(rows))
				c.source.pick(rows, m.heads)
			}
			copy(out[k], m.out[c.place])
		}
	}
	return out
}

// cut puts the columns of a block, shortened, into heads.
func cut(heads, block [][]float64, rows int) [][]float64 {
	heads = heads[:0]
	for _, column := range block {
		heads = append(heads, column[:rows])
	}
	return heads
}

// magnitudes are the largest of each column in n rows: an infinity or NaN where one
// is among them, 1 for the constant.
func (d *Design) magnitudes(n int) []float64 {
	if d.largest != nil {
		return d.largest
	}
	parts := make([][]float64, chunkCount(n))
	inChunks(n, func() func(chunk, from, to int) {
		r := d.reader()
		return func(chunk, from, to int) {
			part := make([]float64, len(d.columns))
			blocks(from, to, func(from, to int) {
				for j := range part {
					part[j] = larger(part[j], largestMagnitude(r.at(j, from, to)))
				}
			})
			parts[chunk] = part
		}
	})
	out := make([]float64, len(d.columns))
	for j, c := range d.columns {
		if c.constant() {
			out[j] = 1
		}
		for _, part := range parts {
			out[j] = larger(out[j], part[j])
		}
	}
	return out
}

// larger of two magnitudes; NaN is the largest.
func larger(a, b float64) float64 {
	return math.Float64frombits(max(math.Float64bits(a), math.Float64bits(b)))
}

// whole returns a column of n rows as it is stored, or computes it.
func (d *Design) whole(j, n int) []float64 { return d.wholeInto(j, n, nil) }

// wholeInto does so in room, where that is large enough.
func (d *Design) wholeInto(j, n int, room []float64) []float64 {
	c := d.columns[j]
	if c.source == nil {
		return c.values
	}
	out, r := resized(room, n), d.reader()
	blocks(0, n, func(from, to int) { copy(out[from:to], r.at(j, from, to)) })
	return out
}
