package pipeline

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"tonocohort/pipeline/store"
	"tonocohort/schema"
)

// A sealed file of the work folder holds the parts of some subjects: the parts
// one after the other, then an index in JSON, then the length of the index, its
// SHA-256 and a mark. It carries the digest of each of its parts, so that
// whatever is taken from one is as it was computed.
const (
	sealedMark   = "tonocohort sealed 2\n"
	sealedTail   = 8 + sha256.Size + len(sealedMark)
	sealedEnding = ".sealed"
	maxIndex     = 1 << 28
)

// part is what one subject leaves behind for the results.
type part struct {
	Trace  traces         `json:"trace"`
	Counts subjectCounts  `json:"counts"`
	Inputs []schema.File  `json:"inputs"`
	Issues []schema.Issue `json:"issues"`
	rows   []byte         // of one that was read back; see appendRows
}

// encode writes the part with its rows, which are those of the frames from the marks
// on: length of its JSON, the JSON, the rows.
func (p *part) encode(out []byte, frames []*schema.Frame, from []int) ([]byte, error) {
	about, err := json.Marshal(p)
	if err != nil {
		return out, err
	}
	out = binary.AppendUvarint(out, uint64(len(about)))
	return appendRows(append(out, about...), frames, from), nil
}

func decodePart(data []byte) (*part, error) {
	b := rowBytes{left: data}
	about := b.take(b.count(1))
	if b.bad {
		return nil, errRows
	}
	p := &part{rows: b.left}
	return p, json.Unmarshal(about, p)
}

// sealedIndex is the index of a sealed file.
type sealedIndex struct {
	Basis basis         `json:"basis"`
	Sum   string        `json:"basis_sha256"`
	Parts []sealedEntry `json:"parts"`
}

type sealedEntry struct {
	Subject string `json:"subject"`
	Key     string `json:"key"` // of what the study's tables say
	Offset  int64  `json:"offset"`
	Bytes   int64  `json:"bytes"`
	SHA256  string `json:"sha256"`
}

// sealedWriter gathers the parts of one sealed file.
type sealedWriter struct {
	index sealedIndex
	body  []byte
}

func (w *sealedWriter) add(subject string, key sum, p *part, frames []*schema.Frame, from []int) error {
	start := len(w.body)
	var err error
	if w.body, err = p.encode(w.body, frames, from); err != nil {
		return err
	}
	data := w.body[start:]
	digest := sha256.Sum256(data)
	w.index.Parts = append(w.index.Parts, sealedEntry{
		Subject: subject, Key: hex.EncodeToString(key[:]), Offset: int64(start), Bytes: int64(len(data)), SHA256: hex.EncodeToString(digest[:]),
	})
	return nil
}

// write seals the parts into a file that goes by the digest of its index.
func (w *sealedWriter) write(results *store.Folder) (name string, err error) {
	index, err := json.Marshal(w.index)
	if err != nil {
		return "", err
	}
	digest := sha256.Sum256(index)
	name = hex.EncodeToString(digest[:16]) + sealedEnding
	tail := binary.LittleEndian.AppendUint64(nil, uint64(len(index)))
	tail = append(append(tail, digest[:]...), sealedMark...)
	err = results.WriteLight(workFolder+name, func(out io.Writer) error {
		for _, piece := range [][]byte{w.body, index, tail} {
			if _, err := out.Write(piece); err != nil {
				return err
			}
		}
		return nil
	})
	w.index.Parts, w.body = w.index.Parts[:0], w.body[:0]
	return name, err
}

var errNotSealed = errors.New("not a whole sealed file")

// readIndex reads the index of a sealed file; a file that is damaged is an error.
func readIndex(file io.ReaderAt, size int64) (*sealedIndex, error) {
	tail := make([]byte, sealedTail)
	if size < int64(sealedTail) {
		return nil, errNotSealed
	}
	if _, err := file.ReadAt(tail, size-int64(sealedTail)); err != nil {
		return nil, err
	}
	length := binary.LittleEndian.Uint64(tail)
	if string(tail[8+sha256.Size:]) != sealedMark || length > maxIndex || int64(length) > size-int64(sealedTail) {
		return nil, errNotSealed
	}
	body := size - int64(sealedTail) - int64(length)
	text := make([]byte, length)
	if _, err := file.ReadAt(text, body); err != nil {
		return nil, err
	}
	if digest := sha256.Sum256(text); !bytes.Equal(digest[:], tail[8:8+sha256.Size]) {
		return nil, errNotSealed
	}
	var index sealedIndex
	if err := json.Unmarshal(text, &index); err != nil {
		return nil, err
	}
	for _, e := range index.Parts {
		if e.Offset < 0 || e.Bytes < 0 || e.Offset > body || e.Bytes > body-e.Offset {
			return nil, errNotSealed
		}
	}
	return &index, nil
}

// readPart reads one part and holds it to its digest.
func readPart(root *store.Root, at place) (*part, error) {
	file, err := root.Open(workFolder + at.file)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	data := make([]byte, at.bytes)
	if _, err := file.ReadAt(data, at.offset); err != nil {
		return nil, err
	}
	if sha256.Sum256(data) != at.digest {
		return nil, fmt.Errorf("%s: %w", at.file, errNotSealed)
	}
	return decodePart(data)
}
