package recording

import (
	"bytes"
	"encoding/binary"
)

// column is one column of a text table.
type column struct {
	shape
	name string
	end  string    // what ends its cells: the delimiter, or the end of the line
	out  []float64 // nil: the column is not wanted
}

// table is the body of a text table: rows of cells, numbers where a column is
// wanted.
type table struct {
	file      string
	data      []byte // the whole file
	start     int    // where the body starts
	firstLine int    // number of its first line, as an editor counts
	delimiter byte
	point     byte
	strict    bool   // the format leaves the text no choice, so that no setting can
	missing   string // a word that stands for a missing value; "" only empty cells do
	columns   []column
	thousands string // sign between groups of three digits; "": none
	joined    []int  // where line breaks became blanks

	unseen, firstUnseen int // cells with a non-breaking space around their number, and the line of the first
}

// capacity is how many rows the body can have at most.
func (t *table) capacity() int {
	body := t.data[t.start:]
	n := bytes.Count(body, []byte{'\n'})
	if len(body) > 0 && body[len(body)-1] != '\n' {
		n++
	}
	return n
}

// rows reads every row; each wanted column's out has room for them. A missing
// value is NaN.
func (t *table) rows() (int, error) {
	for c := range t.columns {
		t.columns[c].shape = noShape()
	}
	row, i := 0, t.start
	for {
		row, i = t.fastRows(row, i)
		if t.onlyBlankLines(i) {
			return row, nil
		}
		next, err := t.slowRow(row, i)
		if err != nil {
			return row, err
		}
		row, i = row+1, next
	}
}

// fastRows reads rows from position i on, as long as they hold plain numbers,
// and returns the row and the position of the first that does not. It is one
// loop without calls, since it sees every byte of every text recording.
func (t *table) fastRows(row, i int) (int, int) {
	data, columns := t.data, t.columns
	for {
		start := i
		for c := range columns {
			s := &columns[c]
			if len(data)-i < window {
				return row, start
			}
			b := data[i:]
			x := binary.LittleEndian.Uint64(b) ^ s.fixed0
			wrong := (x + s.add0 | x) & s.care0
			y := uint64(0)
			if s.reach != 0 {
				y = binary.LittleEndian.Uint64(b[8:]) ^ s.fixed1
				wrong |= (y + s.add1 | y) & s.care1
			}
			switch {
			case wrong != 0:
				v, ok := t.otherCell(s, i)
				if !ok {
					return row, start
				}
				if s.out != nil {
					s.out[row] = v
				}
			case s.out != nil:
				m := eight(x&s.before | x>>8&s.after)
				if s.reach == 2 {
					m = m*1e7 + eight(y&s.keep1)
				}
				s.out[row] = float64(int64(m)) / s.scale
			}
			i += s.step
		}
		row++
	}
}

// otherCell reads the cell at i, which has not the shape of the one before it
// in its column, and learns its shape; false where it is neither a plain number
// nor one that is not wanted.
func (t *table) otherCell(s *column, i int) (float64, bool) {
	b := t.data[i:]
	v, length, dot := plain(b, t.point)
	if length > 0 && len(b) >= length+len(s.end) && string(b[length:length+len(s.end)]) == s.end && s.learn(b, length, dot, t.point, s.end) {
		return v, true
	}
	return 0, s.out == nil && t.skip(s, i)
}

// skip sets the step over a cell that is not wanted and is no plain number, and
// no shape.
func (t *table) skip(s *column, i int) bool {
	for k, c := range t.data[i:] {
		switch c {
		case s.end[0]:
			s.shape = noShape()
			s.step = k + len(s.end)
			return bytes.HasPrefix(t.data[i+k:], []byte(s.end))
		case t.delimiter, '\n', '\r', '"':
			return false
		}
	}
	return false
}

func (t *table) onlyBlankLines(i int) bool {
	return len(bytes.TrimLeft(t.data[i:], "\r\n")) == 0
}

// slowRow reads the row at i cell by cell and says what is wrong with it; it
// returns where the next row starts.
func (t *table) slowRow(row, i int) (int, error) {
	start := i
	for c := range t.columns {
		s := &t.columns[c]
		cell, next, last, err := t.cell(i, c)
		if err != nil {
			return 0, err
		}
		if last != (c == len(t.columns)-1) {
			return 0, t.ragged(start, i)
		}
		if s.out != nil {
			if s.out[row], err = t.value(cell, row, i, c); err != nil {
				return 0, err
			}
		}
		i = next
	}
	return i, nil
}

// cell gives the trimmed text of the cell at i, where the next one starts, and
// whether the line ends after it.
func (t *table) cell(i, c int) (cell []byte, next int, last bool, err error) {
	k := i
	if k < len(t.data) && t.data[k] == '"' {
		for k++; k < len(t.data) && (t.data[k] != '"' || k+1 < len(t.data) && t.data[k+1] == '"'); k++ {
			if t.data[k] == '"' { // two stand for one within the cell
				k++
			}
			if t.data[k] == '\n' || t.data[k] == '\r' {
				return nil, 0, false, t.fault(i, c, nil, CodeQuotedNewline, "a quoted cell goes over the end of the line", lineBreakHint)
			}
		}
		k = min(k+1, len(t.data))
	}
	for k < len(t.data) && t.data[k] != t.delimiter && t.data[k] != '\n' && t.data[k] != '\r' {
		k++
	}
	cell = trimCell(t.data[i:k])
	switch {
	case k == len(t.data):
		return cell, k, true, nil
	case t.data[k] == t.delimiter:
		return cell, k + 1, false, nil
	case t.data[k] == '\n':
		return cell, k + 1, true, nil
	case k+1 < len(t.data) && t.data[k+1] == '\n':
		return cell, k + 2, true, nil
	}
	return nil, 0, false, t.fault(i, c, nil, CodeLoneCR, "a line ends with a carriage return alone", loneCRHint)
}

// trimCell takes off blanks around a cell and one pair of quotes.
func trimCell(cell []byte) []byte {
	cell = bytes.Trim(cell, " \t")
	if n := len(cell); n >= 2 && cell[0] == '"' && cell[n-1] == '"' {
		cell = bytes.Trim(cell[1:n-1], " \t")
	}
	return cell
}

// line gives the number of the line at position i, as an editor counts.
func (t *table) line(i int) int {
	return t.firstLine + bytes.Count(t.data[t.start:i], []byte{'\n'}) + t.joinedBefore(i) - t.joinedBefore(t.start)
}
