package store

import (
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"math/rand/v2"
	"path"
	"slices"
	"strings"
)

// Folder writes files below one folder so that each appears whole or not at
// all: bytes go to a partial file beside the target, which is made durable and
// then renamed. Losing power at any moment leaves the old file or the new one.
type Folder struct {
	fs        FS
	journal   File            // nil: names are not noted
	apart     string          // folder of the journal, with '/'
	unsettled map[string]bool // folders with names that are not durable; nil: each is made so at once
}

// OpenFolder opens the folder for writing, making it if need be.
func OpenFolder(dir string) (*Folder, error) {
	fsys, err := OpenFS(dir)
	if err != nil {
		return nil, pathError(dir, CodeWrite, err)
	}
	return NewFolder(fsys), nil
}

// NewFolder writes through a file system of the caller's.
func NewFolder(fsys FS) *Folder { return &Folder{fs: fsys} }

// Close releases the folder.
func (d *Folder) Close() error {
	if d.journal != nil {
		d.journal.Close()
		d.journal = nil
	}
	return d.fs.Close()
}

// partialMark stands in the name of a file that is not finished; the number
// after it keeps two writers of one target apart.
const partialMark = ".partial-"

// Pending is a file being written. It takes its place on Commit; Abort, or a
// failure at any step, leaves the folder as it was. Not for several goroutines.
type Pending struct {
	folder  *Folder
	owned   bool // the folder is closed with the file
	name    string
	partial string // "" once committed or aborted
	file    File
	buffer  *bufio.Writer
	digest  hash.Hash
	bytes   int64
	failed  error
	noted   io.Writer // the journal; nil: none
	light   bool      // neither made durable nor digested
}

// Create starts a file; name is relative to the folder, with '/'. Folders on
// the way are made. Finish with Commit; a deferred Abort does no harm then.
func (d *Folder) Create(name string) (*Pending, error) {
	if err := checkName(name); err != nil {
		return nil, err
	}
	if err := d.fs.MkdirAll(path.Dir(name)); err != nil {
		return nil, pathError(name, CodeWrite, err)
	}
	dir, base := path.Split(name)
	partial := fmt.Sprintf("%s.%s%s%016x", dir, base, partialMark, rand.Uint64())
	file, err := d.fs.Create(partial)
	if err != nil {
		return nil, pathError(name, CodeWrite, err)
	}
	p := &Pending{folder: d, name: name, partial: partial, file: file, digest: sha256.New(), noted: d.noted(name)}
	p.buffer = bufio.NewWriterSize(sink{p}, 64<<10)
	return p, nil
}

// sink takes the buffered bytes to the file and into the digest.
type sink struct{ p *Pending }

func (s sink) Write(b []byte) (int, error) {
	n, err := s.p.file.Write(b)
	if !s.p.light {
		s.p.digest.Write(b[:n])
	}
	s.p.bytes += int64(n)
	if err == nil && n < len(b) {
		err = io.ErrShortWrite
	}
	return n, err
}

// Write appends to the file. After an error nothing more is taken and Commit
// refuses.
func (p *Pending) Write(b []byte) (int, error) {
	if p.failed != nil {
		return 0, p.failed
	}
	if p.partial == "" {
		return 0, &Error{Code: CodeWrite, Path: p.name, Message: "is already finished"}
	}
	n, err := p.buffer.Write(b)
	if err != nil {
		p.failed = pathError(p.name, CodeWrite, err)
	}
	return n, p.failed
}

// Commit makes the bytes durable, puts the file in its place and returns the
// digest of what was written. After an error the target is as it was before,
// unless the very last step failed, which makes the new name durable: then the
// new file stands there whole. After Gather that step is left to Settle.
func (p *Pending) Commit() (Digest, error) {
	defer p.Abort()
	if p.partial == "" {
		return Digest{}, &Error{Code: CodeWrite, Path: p.name, Message: "is already finished"}
	}
	err := p.failed
	if err == nil {
		err = p.buffer.Flush()
	}
	if err == nil && !p.light {
		err = p.file.Sync()
	}
	if err == nil {
		file := p.file
		p.file = nil
		err = file.Close()
	}
	if err == nil && p.noted != nil {
		_, err = io.WriteString(p.noted, p.name+"\n")
	}
	if err == nil {
		err = p.folder.fs.Rename(p.partial, p.name)
	}
	if err == nil {
		p.partial = ""
		if !p.light && !p.folder.settleLater(p.name) {
			err = p.folder.fs.SyncDir(path.Dir(p.name))
		}
	}
	if err != nil {
		var own *Error
		if !errors.As(err, &own) {
			err = pathError(p.name, CodeWrite, err)
		}
		return Digest{}, err
	}
	return Digest{Path: p.name, Bytes: p.bytes, SHA256: hex.EncodeToString(p.digest.Sum(nil))}, nil
}

// Abort throws the partial file away; after Commit it does nothing.
func (p *Pending) Abort() {
	if p.file != nil {
		p.file.Close()
		p.file = nil
	}
	if p.partial != "" {
		// A partial file that cannot be removed is swept before the next run.
		_ = p.folder.fs.Remove(p.partial)
		p.partial = ""
	}
	if p.owned {
		p.folder.Close()
		p.owned = false
	}
}

// WriteAtomic writes one file by the given function and returns the digest of
// its bytes. An error of the function, or of any step, leaves the old file (or
// none) and nothing beside it.
func (d *Folder) WriteAtomic(name string, write func(io.Writer) error) (Digest, error) {
	p, err := d.Create(name)
	if err != nil {
		return Digest{}, err
	}
	defer p.Abort()
	if err := write(p); err != nil {
		return Digest{}, err
	}
	return p.Commit()
}

// WriteLight is WriteAtomic without making the file durable: it outlives the end
// of the program, however that comes, but a loss of power may leave it cut off
// or gone. It is for what carries its own digest and can be made again, so that
// none is taken here.
func (d *Folder) WriteLight(name string, write func(io.Writer) error) error {
	p, err := d.Create(name)
	if err != nil {
		return err
	}
	defer p.Abort()
	p.light = true
	if err := write(p); err != nil {
		return err
	}
	_, err = p.Commit()
	return err
}

// Sweep removes the partial files that killed runs have left in the named
// subfolders ("." is the folder itself) and returns how many. Call it with the
// folder locked: it would also take those of a living run.
func (d *Folder) Sweep(dirs ...string) (int, error) {
	swept := 0
	for _, dir := range dirs {
		names, err := d.fs.Names(dir)
		if err != nil {
			if err = pathError(dir, CodeWrite, err); IsMissing(err) {
				continue
			}
			return swept, err
		}
		slices.Sort(names)
		for _, name := range names {
			if !strings.HasPrefix(name, ".") || !strings.Contains(name, partialMark) {
				continue
			}
			if err := d.fs.Remove(path.Join(dir, name)); err != nil {
				return swept, pathError(path.Join(dir, name), CodeWrite, err)
			}
			swept++
		}
	}
	return swept, nil
}

// Create starts a file of the folder dir, which is made if need be.
func Create(dir, name string) (*Pending, error) {
	d, err := OpenFolder(dir)
	if err != nil {
		return nil, err
	}
	p, err := d.Create(name)
	if err != nil {
		d.Close()
		return nil, err
	}
	p.owned = true
	return p, nil
}

// WriteAtomic writes one file of the folder dir, which is made if need be; see
// Folder.WriteAtomic.
func WriteAtomic(dir, name string, write func(io.Writer) error) (Digest, error) {
	d, err := OpenFolder(dir)
	if err != nil {
		return Digest{}, err
	}
	defer d.Close()
	return d.WriteAtomic(name, write)
}
