package parquet

import (
	"bytes"
	"context"
	"fmt"

	"github.com/apache/thrift/lib/go/thrift"
)

// What a file claims about sizes is read here before the library acts on it:
// the library takes memory for a claimed number of children, dictionary
// entries or bytes at once, and memory that cannot be had ends the process.

// pageHeader is the part of Parquet's PageHeader that a reader needs.
type pageHeader struct {
	kind                     int32
	uncompressed, compressed int32
	crc                      int32
	hasCRC                   bool
	values                   int32
	encoding, defs, reps     int32 // encodings
	defBytes, repBytes       int32 // version 2
	plain                    bool  // version 2: the values are not compressed
}

// Page types of the format.
const (
	dataPage       = 0
	dictionaryPage = 2
	dataPageV2     = 3
)

// decoder reads compact Thrift from a buffer.
type decoder struct {
	ctx context.Context
	buf *thrift.TMemoryBuffer
	p   *thrift.TCompactProtocol
}

func newDecoder(b []byte) *decoder {
	buf := &thrift.TMemoryBuffer{Buffer: bytes.NewBuffer(b)}
	return &decoder{context.Background(), buf, thrift.NewTCompactProtocolConf(buf, &thrift.TConfiguration{})}
}

// fields calls visit for each field of a struct; what visit does not take is
// skipped.
func (d *decoder) fields(visit func(id int16, kind thrift.TType) (taken bool, err error)) error {
	if _, err := d.p.ReadStructBegin(d.ctx); err != nil {
		return err
	}
	for {
		_, kind, id, err := d.p.ReadFieldBegin(d.ctx)
		if err != nil {
			return err
		}
		if kind == thrift.STOP {
			return d.p.ReadStructEnd(d.ctx)
		}
		taken, err := visit(id, kind)
		if err == nil && !taken {
			err = d.p.Skip(d.ctx, kind)
		}
		if err != nil {
			return err
		}
	}
}

// ints reads a struct into the integers that it names by field number.
func (d *decoder) ints(into map[int16]*int32) error {
	return d.fields(func(id int16, kind thrift.TType) (bool, error) {
		at, wanted := into[id]
		if !wanted || kind != thrift.I32 {
			return false, nil
		}
		v, err := d.p.ReadI32(d.ctx)
		*at = v
		return true, err
	})
}

// readPageHeader reads a page header and returns how many bytes it took.
func readPageHeader(b []byte) (h pageHeader, size int, err error) {
	d := newDecoder(b)
	err = d.fields(func(id int16, kind thrift.TType) (bool, error) {
		switch {
		case kind == thrift.I32 && id >= 1 && id <= 4:
			v, err := d.p.ReadI32(d.ctx)
			*[]*int32{&h.kind, &h.uncompressed, &h.compressed, &h.crc}[id-1] = v
			h.hasCRC = h.hasCRC || id == 4
			return true, err
		case kind == thrift.STRUCT && id == 5:
			return true, d.ints(map[int16]*int32{1: &h.values, 2: &h.encoding, 3: &h.defs, 4: &h.reps})
		case kind == thrift.STRUCT && id == 7:
			return true, d.ints(map[int16]*int32{1: &h.values, 2: &h.encoding})
		case kind == thrift.STRUCT && id == 8:
			return true, d.version2(&h)
		}
		return false, nil
	})
	if err != nil {
		return h, 0, fmt.Errorf("page header: %w", err)
	}
	if h.uncompressed < 0 || h.compressed < 0 || h.values < 0 || h.defBytes < 0 || h.repBytes < 0 {
		return h, 0, fmt.Errorf("page header: negative size")
	}
	return h, len(b) - int(d.buf.RemainingBytes()), nil
}

// version2 reads a DataPageHeaderV2.
func (d *decoder) version2(h *pageHeader) error {
	numbers := map[int16]*int32{1: &h.values, 4: &h.encoding, 5: &h.defBytes, 6: &h.repBytes}
	return d.fields(func(id int16, kind thrift.TType) (bool, error) {
		if at, wanted := numbers[id]; wanted && kind == thrift.I32 {
			v, err := d.p.ReadI32(d.ctx)
			*at = v
			return true, err
		}
		if id == 7 && kind == thrift.BOOL {
			compressed, err := d.p.ReadBool(d.ctx)
			h.plain = !compressed
			return true, err
		}
		return false, nil
	})
}

// maxDepth is the deepest nesting of a schema that is looked at.
const maxDepth = 64

// checkFooter walks the schema elements of a footer: no element may claim more
// children than there are elements, nor nest deeper than maxDepth.
func checkFooter(b []byte) error {
	d := newDecoder(b)
	err := d.fields(func(id int16, kind thrift.TType) (bool, error) {
		if id != 2 || kind != thrift.LIST {
			return false, nil
		}
		element, n, err := d.p.ReadListBegin(d.ctx)
		if err != nil || element != thrift.STRUCT {
			return true, fmt.Errorf("no list of schema elements (%w)", err)
		}
		var open []int32 // children still to come, by depth
		for i := range n {
			var children int32
			if err := d.ints(map[int16]*int32{5: &children}); err != nil {
				return true, err
			}
			if children < 0 || int(children) >= n {
				return true, fmt.Errorf("schema element %d claims %d children", i, children)
			}
			for len(open) > 0 && open[len(open)-1] == 0 {
				open = open[:len(open)-1]
			}
			if len(open) > 0 {
				open[len(open)-1]--
			}
			if open = append(open, children); len(open) > maxDepth {
				return true, fmt.Errorf("the schema nests deeper than %d", maxDepth)
			}
		}
		return true, nil
	})
	if err != nil {
		return fmt.Errorf("footer: %w", err)
	}
	return nil
}
