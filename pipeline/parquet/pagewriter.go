package parquet

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"sync"

	"github.com/apache/arrow/go/v17/parquet"
	"github.com/apache/arrow/go/v17/parquet/file"
	"github.com/apache/arrow/go/v17/parquet/metadata"
	"github.com/apache/thrift/lib/go/thrift"
	"github.com/klauspost/compress/zstd"
)

// pageWriter writes the pages of one column chunk after the other for the
// library's column writers. The library's own page writer makes an encoder, which
// is megabytes of tables, for every dictionary page; here all pages share one.
type pageWriter struct {
	file.PageWriter // nil: of its methods the library calls those below alone
	out             *sink
	packed, header  []byte
	statistics      *thrift.TMemoryBuffer

	about                *metadata.ColumnChunkMetaDataBuilder
	chunk                metadata.ChunkMetaInfo
	dictPages, dataPages map[parquet.Encoding]int32
}

func newPageWriter(out *sink) *pageWriter {
	return &pageWriter{out: out, statistics: thrift.NewTMemoryBuffer()}
}

// encoder is that of the pages of all tables: what it makes of a page does not depend
// on the pages before. Its megabytes are made once, however often the collector comes
// by; who comes while a page is being compressed waits.
var encoder = sync.OnceValue(func() *zstd.Encoder {
	encoder, err := zstd.NewWriter(nil, zstd.WithZeroFrames(true), zstd.WithEncoderConcurrency(1), zstd.WithWindowSize(1<<20))
	if err != nil {
		panic(fmt.Sprintf("parquet: %v", err)) // of the options alone
	}
	return encoder
})

// begin starts a column chunk.
func (p *pageWriter) begin(about *metadata.ColumnChunkMetaDataBuilder) {
	p.about = about
	p.chunk = metadata.ChunkMetaInfo{IndexPageOffset: -1}
	p.dictPages, p.dataPages = map[parquet.Encoding]int32{}, map[parquet.Encoding]int32{}
}

// HasCompressor says that Compress is to be asked.
func (p *pageWriter) HasCompressor() bool { return true }

// Compress returns the compressed page, which holds until the next call.
func (p *pageWriter) Compress(_ *bytes.Buffer, page []byte) []byte {
	p.packed = encoder().EncodeAll(page, p.packed[:0])
	return p.packed
}

// Close ends the column chunk.
func (p *pageWriter) Close(hasDict, fallback bool) error {
	stats := metadata.EncodingStats{DictEncodingStats: p.dictPages, DataEncodingStats: p.dataPages}
	if err := p.about.Finish(p.chunk, hasDict, fallback, stats, nil); err != nil {
		return err
	}
	_, err := p.about.WriteTo(p.out)
	return err
}

// WriteDictionaryPage writes the dictionary of the chunk.
func (p *pageWriter) WriteDictionaryPage(page *file.DictionaryPage) (int64, error) {
	p.chunk.DictPageOffset = p.out.Tell()
	p.dictPages[parquet.Encoding(page.Encoding())]++
	packed := p.Compress(nil, page.Data())
	p.startHeader(dictionaryPage, len(page.Data()), len(packed))
	p.structure(7 - 3)
	p.integer(1, page.NumValues())
	p.integer(1, int32(page.Encoding()))
	p.header = append(p.header, 1<<4|compactFalse) // not sorted
	p.stop()
	return p.write(len(page.Data()), packed)
}

// WriteDataPage writes a data page of version 1, whose data are compressed.
func (p *pageWriter) WriteDataPage(given file.DataPage) (int64, error) {
	page, ok := given.(*file.DataPageV1)
	if !ok {
		return 0, fmt.Errorf("a data page of type %T", given)
	}
	if len(p.dataPages) == 0 {
		p.chunk.DataPageOffset = p.out.Tell()
	}
	p.chunk.NumValues += int64(page.NumValues())
	p.dataPages[parquet.Encoding(page.Encoding())]++
	p.statistics.Reset()
	known := page.Statistics()
	if err := known.ToThrift().Write(context.Background(), thrift.NewTCompactProtocolConf(p.statistics, nil)); err != nil {
		return 0, err
	}
	p.startHeader(dataPage, int(page.UncompressedSize()), len(page.Data()))
	p.structure(5 - 3)
	p.integer(1, page.NumValues())
	p.integer(1, int32(page.Encoding()))
	p.integer(1, int32(page.DefinitionLevelEncoding()))
	p.integer(1, int32(page.RepetitionLevelEncoding()))
	p.structure(1)
	p.header = append(p.header, p.statistics.Bytes()...)
	p.stop()
	return p.write(int(page.UncompressedSize()), page.Data())
}

// write writes a page behind its header, which it ends.
func (p *pageWriter) write(uncompressed int, data []byte) (int64, error) {
	p.stop()
	for _, part := range [][]byte{p.header, data} {
		if _, err := p.out.Write(part); err != nil {
			return 0, err
		}
	}
	written := int64(len(p.header) + len(data))
	p.chunk.UncompressedSize += int64(len(p.header) + uncompressed)
	p.chunk.CompressedSize += written
	return written, nil
}

// Types of Thrift's compact protocol. Before a field stands a byte: how much
// further its number is than that of the one before, and its type.
const (
	compactFalse  = 2
	compactInt32  = 5
	compactStruct = 12
)

// startHeader starts Parquet's PageHeader with its first three fields.
func (p *pageWriter) startHeader(kind int32, uncompressed, compressed int) {
	p.header = p.header[:0]
	p.integer(1, kind)
	p.integer(1, int32(uncompressed))
	p.integer(1, int32(compressed))
}

func (p *pageWriter) integer(further int, v int32) {
	p.header = binary.AppendVarint(append(p.header, byte(further<<4|compactInt32)), int64(v))
}

func (p *pageWriter) structure(further int) {
	p.header = append(p.header, byte(further<<4|compactStruct))
}

func (p *pageWriter) stop() { p.header = append(p.header, 0) }
