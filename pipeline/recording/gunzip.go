package recording

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"

	"github.com/klauspost/compress/gzip"
)

// A text of more than freeText bytes that unpacks to more than mostRatio times
// its size is a bomb (own choice: decimal numbers pack to between a half and a
// fiftieth, and a flat line of this length is no recording).
const (
	freeText  = 16 << 20
	mostRatio = 100
)

// decompress unpacks gzip into the Reader's text buffer, up to the declared
// limit: a small file may unpack to any size.
func (x *reading) decompress(data []byte) ([]byte, error) {
	damaged := func(err error) error {
		return x.fault(CodeGzipDamaged, "cannot be unpacked: "+err.Error(), askWhole)
	}
	if len(data) > 0 && !bytes.HasPrefix(data, []byte{0x1f, 0x8b}) {
		return nil, x.fault(CodeGzipDamaged, "is no gzip, though its name ends in .gz", "pack it, or take .gz off its name")
	}
	source := bytes.NewReader(data)
	if x.gzip == nil {
		x.gzip = new(gzip.Reader)
	}
	if err := x.gzip.Reset(source); err != nil {
		return nil, damaged(err)
	}
	limit := x.options.TextBytes
	// The last four bytes give the size modulo 2^32 (RFC 1952): a hint to begin
	// with, held against what is accepted.
	if len(data) >= 18 {
		hint := int64(binary.LittleEndian.Uint32(data[len(data)-4:]))
		hint = min(hint, limit, mostRatio*int64(len(data)), 64<<20) + 512
		if int64(cap(x.text)) < hint {
			x.text = make([]byte, 0, hint)
		}
	}
	text := x.text[:0]
	for {
		if len(text) == cap(text) {
			text = append(text, 0)[:len(text)]
		}
		n, err := x.gzip.Read(text[len(text):cap(text)])
		text = text[:len(text)+n]
		x.text = text
		switch {
		case len(text) > freeText && len(text)/mostRatio > len(data):
			return nil, x.fault(CodeTextTooLarge, fmt.Sprintf("unpacks to more than %d times its size", mostRatio), "is it what it should be? numbers of a recording pack to a tenth; unpack it yourself to have it read")
		case int64(len(text)) > limit:
			return nil, x.fault(CodeTextTooLarge, fmt.Sprintf("unpacks to more than the limit of %d bytes", limit), "cut the recording")
		case err == io.EOF:
			return text, nil
		case err != nil:
			return nil, damaged(err)
		}
	}
}
