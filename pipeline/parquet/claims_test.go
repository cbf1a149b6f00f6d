package parquet

import (
	"context"
	"encoding/binary"
	"hash/crc32"
	"math"
	"runtime"
	"strings"
	"testing"

	pq "github.com/apache/arrow/go/v17/parquet"
	"github.com/apache/arrow/go/v17/parquet/compress"
	pqschema "github.com/apache/arrow/go/v17/parquet/schema"
	"github.com/apache/thrift/lib/go/thrift"
	"github.com/klauspost/compress/zstd"
)

// fieldWriter writes compact Thrift by hand.
type fieldWriter struct {
	t   *testing.T
	buf *thrift.TMemoryBuffer
	p   *thrift.TCompactProtocol
}

func newFieldWriter(t *testing.T) *fieldWriter {
	buf := thrift.NewTMemoryBuffer()
	return &fieldWriter{t, buf, thrift.NewTCompactProtocolConf(buf, nil)}
}

func (w *fieldWriter) must(err error) {
	if err != nil {
		w.t.Fatal(err)
	}
}

func (w *fieldWriter) structure(fields func()) {
	w.must(w.p.WriteStructBegin(context.Background(), ""))
	fields()
	w.must(w.p.WriteFieldStop(context.Background()))
	w.must(w.p.WriteStructEnd(context.Background()))
}

func (w *fieldWriter) begin(id int16, kind thrift.TType) {
	w.must(w.p.WriteFieldBegin(context.Background(), "", kind, id))
}

func (w *fieldWriter) i32(id int16, v int32) {
	w.begin(id, thrift.I32)
	w.must(w.p.WriteI32(context.Background(), v))
}

func schemaFooter(t *testing.T, children ...int32) []byte {
	w := newFieldWriter(t)
	w.structure(func() {
		w.begin(2, thrift.LIST)
		w.must(w.p.WriteListBegin(context.Background(), thrift.STRUCT, len(children)))
		for _, n := range children {
			w.structure(func() { w.i32(5, n) })
		}
	})
	return w.buf.Bytes()
}

func TestSchemasThatClaimTooMuch(t *testing.T) {
	deep := make([]int32, 100)
	for i := range deep[:99] {
		deep[i] = 1
	}
	for want, footer := range map[string][]byte{
		"claims 2147483647 children": schemaFooter(t, 1, math.MaxInt32),
		"claims -1 children":         schemaFooter(t, -1),
		"nests deeper than 64":       schemaFooter(t, deep...),
		"":                           schemaFooter(t, 2, 1, 0, 0),
	} {
		if err := checkFooter(footer); (err == nil) != (want == "") || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", want, err)
		}
	}
}

func pageHeaderBytes(t *testing.T, h pageHeader) []byte {
	w := newFieldWriter(t)
	w.structure(func() {
		w.i32(1, h.kind)
		w.i32(2, h.uncompressed)
		w.i32(3, h.compressed)
		if h.hasCRC {
			w.i32(4, h.crc)
		}
		w.begin(map[int32]int16{dataPage: 5, dictionaryPage: 7}[h.kind], thrift.STRUCT)
		w.structure(func() {
			w.i32(1, h.values)
			w.i32(2, h.encoding)
			if h.kind == dataPage {
				w.i32(3, h.defs)
				w.i32(4, h.reps)
			}
		})
	})
	return w.buf.Bytes()
}

// TestPagesThatClaimTooMuch makes single pages by hand. Without the checks each
// takes gigabytes or never ends.
func TestPagesThatClaimTooMuch(t *testing.T) {
	optional := pqschema.NewColumn(pqschema.NewInt32Node("x", pq.Repetitions.Optional, -1), 1, 0)
	text := pqschema.NewColumn(pqschema.NewByteArrayNode("x", pq.Repetitions.Required, -1), 0, 0)
	e, err := zstd.NewWriter(nil)
	if err != nil {
		t.Fatal(err)
	}
	bomb := e.EncodeAll(make([]byte, 1<<28), nil)
	const rle = 3
	levels := func(runs ...byte) []byte {
		return append(binary.LittleEndian.AppendUint32(nil, uint32(len(runs))), runs...)
	}
	for name, c := range map[string]struct {
		column *pqschema.Column
		codec  compress.Compression
		h      pageHeader
		body   []byte
		values int64
	}{
		"a page claims 2147483647 bytes":        {text, compress.Codecs.Zstd, pageHeader{uncompressed: math.MaxInt32, values: 1}, nil, 1},
		"decompressed size exceeds":             {text, compress.Codecs.Zstd, pageHeader{uncompressed: 100, values: 1}, bomb, 1},
		"a dictionary of 2000000000 entries":    {text, compress.Codecs.Uncompressed, pageHeader{kind: dictionaryPage, values: 2e9, uncompressed: 4}, []byte{0, 0, 0, 0}, 1},
		"indices of 31 bits into a dictionary":  {text, compress.Codecs.Uncompressed, pageHeader{encoding: 8, values: 1, uncompressed: 6}, []byte{31, 2, 255, 255, 255, 63}, 1},
		"delta header claims blocks":            {text, compress.Codecs.Uncompressed, pageHeader{encoding: 6, values: 1, uncompressed: 9}, []byte{255, 255, 255, 255, 15, 1, 1, 0, 0}, 1},
		"delta header claims 34359738367 of 1":  {text, compress.Codecs.Uncompressed, pageHeader{encoding: 6, values: 1, uncompressed: 11}, []byte{128, 1, 4, 255, 255, 255, 255, 127, 0, 0, 0}, 1},
		"levels end 90 values early":            {optional, compress.Codecs.Uncompressed, pageHeader{defs: rle, values: 100, uncompressed: 6}, levels(20, 1), 100},
		"levels are damaged, 100 values early":  {optional, compress.Codecs.Uncompressed, pageHeader{defs: rle, values: 100, uncompressed: 6}, levels(0, 1), 100},
		"pages hold more values than":           {optional, compress.Codecs.Uncompressed, pageHeader{defs: rle, values: 100, uncompressed: 6}, levels(200, 1), 99},
		"levels in encoding BIT_PACKED are not": {optional, compress.Codecs.Uncompressed, pageHeader{defs: 4, values: 1, uncompressed: 1}, []byte{1}, 1},
		"checksum of a page":                    {text, compress.Codecs.Uncompressed, pageHeader{values: 1, uncompressed: 5, hasCRC: true, crc: 5}, []byte{1, 0, 0, 0, 65}, 1},
		"negative size":                         {text, compress.Codecs.Uncompressed, pageHeader{values: -1}, nil, 1},
	} {
		c.h.compressed = int32(len(c.body))
		s, err := newScratch()
		if err != nil {
			t.Fatal(err)
		}
		p := &pages{chunk: append(pageHeaderBytes(t, c.h), c.body...), column: c.column, codec: c.codec, left: c.values, budget: &budget{1 << 20}, scratch: s}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		if p.Next() || p.Err() == nil || !strings.Contains(p.Err().Error(), name) {
			t.Errorf("%s: %v", name, p.Err())
		}
		runtime.ReadMemStats(&after)
		if taken := after.TotalAlloc - before.TotalAlloc; taken > 1<<24 {
			t.Errorf("%s: %d bytes were taken", name, taken)
		}
	}
}

func TestChecksumThatMatches(t *testing.T) {
	body := []byte{1, 0, 0, 0, 65}
	h := pageHeader{values: 1, uncompressed: 5, compressed: 5, hasCRC: true, crc: int32(crc32.ChecksumIEEE(body))}
	text := pqschema.NewColumn(pqschema.NewByteArrayNode("x", pq.Repetitions.Required, -1), 0, 0)
	p := &pages{chunk: append(pageHeaderBytes(t, h), body...), column: text, left: 1, budget: &budget{}, scratch: &scratch{}}
	if !p.Next() {
		t.Error(p.Err())
	}
}
