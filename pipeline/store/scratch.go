package store

import (
	"fmt"
	"math/rand/v2"
	"os"
)

// Scratch is a file for what a run puts aside until it is done with it. It has no
// name from the moment it is made, so that nothing of it stays behind, however the
// program ends. What has been written may be read by several goroutines at once.
type Scratch struct {
	file *os.File
	end  int64
}

// NewScratch makes one on the disk of the folder dir, which must exist: what is put
// aside there stays with the study.
func NewScratch(dir string) (*Scratch, error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, pathError(dir, CodeWrite, err)
	}
	defer root.Close()
	// Killed before it has lost its name, it is swept as a file that is not finished.
	name := fmt.Sprintf(".scratch%s%016x", partialMark, rand.Uint64())
	file, err := root.OpenFile(name, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return nil, pathError(name, CodeWrite, err)
	}
	if err := root.Remove(name); err != nil {
		file.Close()
		return nil, pathError(name, CodeWrite, err)
	}
	return &Scratch{file: file}, nil
}

// Write appends.
func (s *Scratch) Write(b []byte) (int, error) {
	n, err := s.file.WriteAt(b, s.end)
	s.end += int64(n)
	return n, err
}

// ReadAt reads what has been written.
func (s *Scratch) ReadAt(b []byte, at int64) (int, error) { return s.file.ReadAt(b, at) }

// Len is the number of bytes that have been written.
func (s *Scratch) Len() int64 { return s.end }

// Close gives the room on the disk back.
func (s *Scratch) Close() error { return s.file.Close() }
