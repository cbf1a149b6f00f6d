package parquet

import (
	"encoding/binary"
	"fmt"
	"hash/crc32"

	"github.com/apache/arrow/go/v17/arrow/memory"
	pq "github.com/apache/arrow/go/v17/parquet"
	"github.com/apache/arrow/go/v17/parquet/compress"
	"github.com/apache/arrow/go/v17/parquet/file"
	pqschema "github.com/apache/arrow/go/v17/parquet/schema"
	"github.com/klauspost/compress/zstd"
)

// budget is the memory, in bytes, that cells may still take.
type budget struct{ left int64 }

// What a file may unfold to: a fixed amount, and more for a larger file. Nulls
// and repeated values compress without limit, hence the large factor.
const (
	budgetBase   = 1 << 30
	budgetFactor = 4096
	maxPage      = 1 << 28 // bytes of one page; writers make pages of about a MiB
)

func (b *budget) take(n int64) error {
	if n < 0 || n > b.left {
		return fmt.Errorf("it claims more data than a file of its size may hold")
	}
	b.left -= n
	return nil
}

// pages reads the pages of one column chunk for the library's column reader.
// Unlike the library's own page reader it checks every claim before it takes
// memory, bounds what is decompressed, verifies checksums and returns errors.
type pages struct {
	chunk      []byte // what is still to be read
	column     *pqschema.Column
	codec      compress.Compression
	left       int64 // values still to come
	dictionary int32 // entries, once its page was read
	budget     *budget
	scratch    *scratch

	page file.Page
	err  error
}

// scratch is memory that is used again for each page.
type scratch struct {
	zstd              *zstd.Decoder
	chunk, data, dict []byte
}

func newScratch() (*scratch, error) {
	d, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecodeAllCapLimit(true))
	return &scratch{zstd: d}, err
}

func (p *pages) Page() file.Page          { return p.page }
func (p *pages) Err() error               { return p.err }
func (p *pages) SetMaxPageHeaderSize(int) {}

// Reset is never called: a pages serves one column chunk.
func (p *pages) Reset(pq.BufferedReader, int64, compress.Compression, *file.CryptoContext) {
	p.err = fmt.Errorf("column chunks are read once")
}

// Next moves to the next dictionary or data page.
func (p *pages) Next() bool {
	p.page = nil
	for p.err == nil && p.left > 0 {
		if len(p.chunk) == 0 {
			p.err = fmt.Errorf("the column ends %d values early", p.left)
			break
		}
		if p.err = p.next(); p.page != nil {
			return true
		}
	}
	return false
}

func (p *pages) next() error {
	h, size, err := readPageHeader(p.chunk)
	if err != nil {
		return err
	}
	p.chunk = p.chunk[size:]
	if int(h.compressed) > len(p.chunk) {
		return fmt.Errorf("a page of %d bytes, %d are left", h.compressed, len(p.chunk))
	}
	body := p.chunk[:h.compressed]
	p.chunk = p.chunk[h.compressed:]
	if h.hasCRC && crc32.ChecksumIEEE(body) != uint32(h.crc) {
		return fmt.Errorf("checksum of a page does not match")
	}
	if h.uncompressed > maxPage {
		return fmt.Errorf("a page claims %d bytes, more than %d", h.uncompressed, maxPage)
	}
	switch h.kind {
	case dictionaryPage:
		return p.takeDictionary(h, body)
	case dataPage, dataPageV2:
		return p.takeData(h, body)
	}
	return nil // other pages carry no values
}

func (p *pages) takeDictionary(h pageHeader, body []byte) (err error) {
	if p.dictionary > 0 {
		return fmt.Errorf("two dictionaries in one column chunk")
	}
	if p.scratch.dict, err = p.unpack(p.codec, p.scratch.dict, body, int(h.uncompressed)); err != nil {
		return err
	}
	if least := leastBytes(p.column); int64(h.values)*least > int64(h.uncompressed) {
		return fmt.Errorf("a dictionary of %d entries in %d bytes", h.values, h.uncompressed)
	}
	p.dictionary = h.values
	p.page = file.NewDictionaryPage(memory.NewBufferBytes(p.scratch.dict), h.values, pq.Encoding(h.encoding))
	return nil
}

func (p *pages) takeData(h pageHeader, body []byte) (err error) {
	if int64(h.values) > p.left {
		return fmt.Errorf("pages hold more values than their column")
	}
	if t := p.column.PhysicalType(); t == pq.Types.ByteArray || t == pq.Types.FixedLenByteArray {
		p.scratch.data = nil // values point into their page, and a batch may span pages
	}
	if p.scratch.data, err = p.unpackData(h, body); err != nil {
		return err
	}
	values, err := checkPage(h, p.column, p.scratch.data, p.dictionary)
	if err != nil {
		return err
	}
	if pq.Encoding(h.encoding) == byteStreamSplit {
		if err := join(values, int(leastBytes(p.column))); err != nil {
			return err
		}
		h.encoding = int32(pq.Encodings.Plain)
	}
	if p.column.MaxRepetitionLevel() > 0 {
		const sample = 4
		if err := p.budget.take(int64(h.values) * sample); err != nil {
			return err
		}
	}
	p.left -= int64(h.values)
	data := memory.NewBufferBytes(p.scratch.data)
	if h.kind == dataPage {
		p.page = file.NewDataPageV1(data, h.values, pq.Encoding(h.encoding), pq.Encoding(h.defs), pq.Encoding(h.reps), h.uncompressed)
	} else {
		p.page = file.NewDataPageV2(data, h.values, 0, 0, pq.Encoding(h.encoding), h.defBytes, h.repBytes, h.uncompressed, false)
	}
	return nil
}

// unpackData returns a data page uncompressed. In version 2 the levels stand
// before the compressed part.
func (p *pages) unpackData(h pageHeader, body []byte) ([]byte, error) {
	if h.kind == dataPage {
		return p.unpack(p.codec, p.scratch.data, body, int(h.uncompressed))
	}
	levels := int(h.defBytes) + int(h.repBytes)
	if levels > len(body) || levels > int(h.uncompressed) {
		return nil, fmt.Errorf("page too short for its levels")
	}
	codec := p.codec
	if h.plain {
		codec = compress.Codecs.Uncompressed
	}
	values, err := p.unpack(codec, nil, body[levels:], int(h.uncompressed)-levels)
	if err != nil {
		return nil, err
	}
	return append(append(p.scratch.data[:0], body[:levels]...), values...), nil
}

// unpack decompresses body to exactly size bytes, in dst where that is large
// enough.
func (p *pages) unpack(codec compress.Compression, dst, body []byte, size int) (out []byte, err error) {
	if cap(dst) < size {
		dst = make([]byte, size)
	}
	dst = dst[:size]
	switch codec {
	case compress.Codecs.Uncompressed:
		out = append(dst[:0], body...)
	case compress.Codecs.Zstd:
		// The limit is the capacity: nothing unfolds to more than it claims.
		out, err = p.scratch.zstd.DecodeAll(body, dst[:0:size])
	case compress.Codecs.Snappy:
		if n, _ := binary.Uvarint(body); n != uint64(size) {
			return nil, fmt.Errorf("a page of %d bytes claims %d", n, size)
		}
		out, err = decode(codec, dst, body)
	case compress.Codecs.Gzip, compress.Codecs.Brotli:
		out, err = decode(codec, dst, body) // stops at the end of dst
	default:
		err = fmt.Errorf("compression %v is not supported", codec)
	}
	if err == nil && len(out) != size {
		err = fmt.Errorf("a page of %d bytes claims %d", len(out), size)
	}
	return out, err
}

// decode calls one of the library's codecs, which panic on damaged data.
func decode(codec compress.Compression, dst, body []byte) (out []byte, err error) {
	defer recovered(&err)
	c, err := compress.GetCodec(codec)
	if err != nil {
		return nil, err
	}
	return c.Decode(dst, body), nil
}

// leastBytes is the least that one value of the column takes in plain encoding.
func leastBytes(c *pqschema.Column) int64 {
	switch c.PhysicalType() {
	case pq.Types.Int64, pq.Types.Double:
		return 8
	case pq.Types.Int96:
		return 12
	case pq.Types.FixedLenByteArray:
		return max(1, int64(c.TypeLength()))
	}
	return 4
}
