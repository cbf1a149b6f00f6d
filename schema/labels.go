package schema

import "math"

// Labels are the cells of a text column, "" where missing, however they are held:
// as they are, or each different text once, or one behind the other.
type Labels struct {
	cells []string

	levels []string // levels[codes[row]]
	codes  []uint16

	bytes string // bytes[ends[row-1]:ends[row]]
	ends  []int64
}

// mostCoded bounds how many different texts are held once each.
const mostCoded = math.MaxUint16

// At returns the cell of a row.
func (l *Labels) At(row int) string {
	switch {
	case l.codes != nil:
		return l.levels[l.codes[row]]
	case l.ends != nil:
		from := int64(0)
		if row > 0 {
			from = l.ends[row-1]
		}
		return l.bytes[from:l.ends[row]]
	}
	return l.cells[row]
}

// Len returns the number of rows.
func (l *Labels) Len() int { return max(len(l.cells), len(l.codes), len(l.ends)) }

// Bytes is the memory that the cells take, about.
func (l *Labels) Bytes() int64 {
	const header = 16
	n := int64(len(l.bytes)) + 8*int64(len(l.ends)) + 2*int64(len(l.codes)) + header*int64(len(l.cells))
	for _, level := range l.levels {
		n += header + int64(len(level))
	}
	return n
}

// Each calls visit with every cell in the order of the rows.
func (l *Labels) Each(visit func(row int, text string)) {
	for row := range l.Len() {
		visit(row, l.At(row))
	}
}

// Coded maps every different text by code and returns what each row has: code is
// called once for a text where texts are held once.
func Coded[T any](l Labels, code func(text string) T) []T {
	out := make([]T, l.Len())
	if l.codes == nil {
		last, lastCode := "", code("")
		before, beforeCode := last, lastCode // two texts often take turns
		for row := range out {
			if text := l.At(row); text != last {
				textCode := beforeCode
				if text != before {
					textCode = code(text)
				}
				before, beforeCode = last, lastCode
				last, lastCode = text, textCode
			}
			out[row] = lastCode
		}
		return out
	}
	byLevel := make([]T, len(l.levels))
	for i, level := range l.levels {
		byLevel[i] = code(level)
	}
	for row, at := range l.codes {
		out[row] = byLevel[at]
	}
	return out
}

// LabelsBuilder gathers the cells of a text column in the order of their rows.
type LabelsBuilder struct {
	position map[string]uint16
	labels   Labels
	bytes    []byte
	last     string
	lastCode uint16
}

// NewLabelsBuilder has room for so many rows.
func NewLabelsBuilder(rows int) *LabelsBuilder {
	b := &LabelsBuilder{position: map[string]uint16{"": 0}}
	b.labels.codes, b.labels.levels = make([]uint16, 0, rows), []string{""}
	return b
}

// Add appends the cell of the next row.
func (b *LabelsBuilder) Add(text string) {
	if b.labels.codes == nil {
		b.addBytes(text)
		return
	}
	if text != b.last {
		code, known := b.position[text]
		if !known {
			if len(b.labels.levels) > mostCoded {
				b.spell()
				b.addBytes(text)
				return
			}
			code = uint16(len(b.labels.levels))
			b.position[text] = code
			b.labels.levels = append(b.labels.levels, text)
		}
		b.last, b.lastCode = text, code
	}
	b.labels.codes = append(b.labels.codes, b.lastCode)
}

// spell writes the texts out: there are too many of them.
func (b *LabelsBuilder) spell() {
	codes := b.labels.codes
	b.labels.codes, b.labels.ends = nil, make([]int64, 0, cap(codes))
	for _, code := range codes {
		b.addBytes(b.labels.levels[code])
	}
	b.labels.levels, b.position = nil, nil
}

func (b *LabelsBuilder) addBytes(text string) {
	b.bytes = append(b.bytes, text...)
	b.labels.ends = append(b.labels.ends, int64(len(b.bytes)))
}

// Labels returns what was gathered.
func (b *LabelsBuilder) Labels() Labels {
	if b.labels.codes == nil {
		b.labels.bytes = string(b.bytes)
	}
	return b.labels
}

// Numbered numbers the texts of a column in the order in which they first stand,
// and returns how many different ones there are. A sorted column needs no memory of
// what has been seen, and the texts themselves are not kept.
func (f *Frame) Numbered(name string) (numbers []int32, different int) {
	numbers = make([]int32, f.N)
	last, sorted, count := "", true, int32(0)
	f.EachText(name, func(row int, text string) {
		if row == 0 || text != last {
			sorted = sorted && (row == 0 || text > last)
			last = text
			count++
		}
		numbers[row] = count - 1
	})
	if sorted {
		return numbers, max(int(count), min(f.N, 1)) // also where nothing could be read
	}
	seen := map[string]int32{}
	f.EachText(name, func(row int, text string) {
		number, known := seen[text]
		if !known {
			number = int32(len(seen))
			seen[text] = number
		}
		numbers[row] = number
	})
	return numbers, len(seen)
}
