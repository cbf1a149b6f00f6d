package parquet

import (
	"encoding/binary"
	"fmt"
	"math/bits"
	"slices"

	pq "github.com/apache/arrow/go/v17/parquet"
	pqschema "github.com/apache/arrow/go/v17/parquet/schema"
)

// checkRuns reports whether RLE/bit-packed data of the given width hold at
// least n values. Where they do not, the library's reader asks for more for
// ever.
func checkRuns(b []byte, width, n int) error {
	for n > 0 {
		head, size := binary.Uvarint(b)
		if size <= 0 {
			return fmt.Errorf("levels end %d values early", n)
		}
		b = b[size:]
		count, need := head>>1, uint64((width+7)/8)
		if head&1 == 1 { // groups of eight values; the last may be cut short
			if count > uint64(len(b))+1 {
				count = uint64(len(b)) + 1
			}
			need = min(count*uint64(width), uint64(len(b)))
			if count *= 8; width > 0 {
				count = min(count, need*8/uint64(width))
			}
		}
		if count == 0 || need > uint64(len(b)) {
			return fmt.Errorf("levels are damaged, %d values early", n)
		}
		b = b[need:]
		n -= int(min(count, uint64(n)))
	}
	return nil
}

// levelWidth is how many bits a level takes.
func levelWidth(highest int16) int { return bits.Len16(uint16(highest)) }

// checkPage judges an uncompressed data page: what it lets through the library
// decodes in bounded time and memory. It returns the part with the values.
func checkPage(h pageHeader, c *pqschema.Column, page []byte, dictionary int32) ([]byte, error) {
	rest := page
	section := func(highest int16, encoding, size int32) error {
		if h.kind == dataPage {
			if highest == 0 {
				return nil
			}
			if pq.Encoding(encoding) != pq.Encodings.RLE {
				return fmt.Errorf("levels in encoding %v are not supported", pq.Encoding(encoding))
			}
			if len(rest) < 4 {
				return fmt.Errorf("page too short for its levels")
			}
			size, rest = int32(binary.LittleEndian.Uint32(rest)), rest[4:]
		}
		if size < 0 || int(size) > len(rest) {
			return fmt.Errorf("page too short for its levels")
		}
		runs := rest[:size]
		rest = rest[size:]
		if highest == 0 {
			return nil
		}
		return checkRuns(runs, levelWidth(highest), int(h.values))
	}
	if err := section(c.MaxRepetitionLevel(), h.reps, h.repBytes); err != nil {
		return nil, err
	}
	if err := section(c.MaxDefinitionLevel(), h.defs, h.defBytes); err != nil {
		return nil, err
	}
	return rest, checkValues(h, c, rest, dictionary)
}

// checkValues judges the encoded values of a data page.
func checkValues(h pageHeader, c *pqschema.Column, values []byte, dictionary int32) error {
	switch encoding := pq.Encoding(h.encoding); encoding {
	case pq.Encodings.Plain, pq.Encodings.RLE:
		return nil
	case pq.Encodings.PlainDict, pq.Encodings.RLEDict:
		// An index reaches as far as its width allows, and the library
		// takes memory up to it.
		if len(values) > 0 && int(values[0]) > max(16, bits.Len32(uint32(dictionary))+1) {
			return fmt.Errorf("indices of %d bits into a dictionary of %d entries", values[0], dictionary)
		}
		return nil
	case pq.Encodings.DeltaBinaryPacked, pq.Encodings.DeltaLengthByteArray:
		return checkDelta(h, c, values)
	case byteStreamSplit:
		if t := c.PhysicalType(); t == pq.Types.Float || t == pq.Types.Double {
			return nil
		}
	}
	return fmt.Errorf("encoding %v is not supported", pq.Encoding(h.encoding))
}

// byteStreamSplit is an encoding that the library does not know: all first
// bytes of the values, then all second bytes, and so on.
const byteStreamSplit = pq.Encoding(9)

// join turns byte-stream-split values of the given size into plain ones.
func join(values []byte, size int) error {
	n := len(values) / size
	if n*size != len(values) {
		return fmt.Errorf("%d bytes for values of %d", len(values), size)
	}
	split := slices.Clone(values)
	for i := range n {
		for k := range size {
			values[i*size+k] = split[k*n+i]
		}
	}
	return nil
}

// checkDelta judges the header of delta-packed integers: block size, number
// of miniblocks, number of values.
func checkDelta(h pageHeader, c *pqschema.Column, b []byte) error {
	var head [3]uint64
	for i := range head {
		v, size := binary.Uvarint(b)
		if size <= 0 {
			return fmt.Errorf("delta header cut short")
		}
		head[i], b = v, b[size:]
	}
	block, blocks, n := head[0], head[1], head[2]
	if blocks == 0 || blocks > 1<<12 || block > 1<<20 || block < blocks || block%blocks != 0 {
		return fmt.Errorf("delta header claims blocks of %d values in %d parts", block, blocks)
	}
	if n > uint64(h.values) || c.MaxDefinitionLevel() == 0 && n != uint64(h.values) {
		return fmt.Errorf("delta header claims %d of %d values", n, h.values)
	}
	return nil
}
