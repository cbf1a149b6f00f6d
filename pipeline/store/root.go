package store

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"slices"
	"strings"
	"sync"
	"syscall"
)

// Root opens files for reading below one folder and nowhere else: absolute
// paths, "..", links that leave, folders, devices and FIFOs are refused with an
// *Error. It may be used by several goroutines at once.
type Root struct {
	root *os.Root

	mu   sync.Mutex // guards what follows
	last string     // the folder that the last file was in
	held *folder
}

// OpenRoot opens the folder.
func OpenRoot(dir string) (*Root, error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, pathError(dir, CodeMissing, err)
	}
	return &Root{root: root}, nil
}

// Close releases the folder; files that are open stay so.
func (r *Root) Close() error {
	r.hold(nil)
	return r.root.Close()
}

// Open opens a regular file for reading; name is relative, with '/'.
func (r *Root) Open(name string) (*os.File, error) {
	f, _, err := r.open(name)
	return f, err
}

// Size returns the size of a regular file in bytes, and the *Error that Open
// would give, without opening it.
func (r *Root) Size(name string) (int64, error) {
	if err := checkName(name); err != nil {
		return 0, err
	}
	info, err := r.root.Stat(name)
	if err != nil {
		return 0, pathError(name, CodeRead, err)
	}
	return info.Size(), checkRegular(name, info)
}

// Exists reports whether Open would find a regular file.
func (r *Root) Exists(name string) bool {
	_, err := r.Size(name)
	return err == nil
}

// IsFolder reports whether a name is a folder itself, not a link to one.
func (r *Root) IsFolder(name string) bool {
	if checkName(name) != nil {
		return false
	}
	info, err := r.root.Lstat(name)
	return err == nil && info.IsDir()
}

// Names lists the names in a folder, sorted; dir "." is the root itself.
func (r *Root) Names(dir string) ([]string, error) {
	if err := checkName(dir); err != nil {
		return nil, err
	}
	f, err := r.root.OpenFile(dir, os.O_RDONLY|syscall.O_DIRECTORY, 0)
	if err != nil {
		return nil, pathError(dir, CodeRead, err)
	}
	defer f.Close()
	names, err := f.Readdirnames(-1)
	if err != nil {
		return nil, pathError(dir, CodeRead, err)
	}
	slices.Sort(names)
	return names, nil
}

// open opens a file from its folder, where that is held, and else from the root,
// which also says what is wrong: a link that leads from one folder to another, for
// one, is followed from there alone.
func (r *Root) open(name string) (*os.File, fs.FileInfo, error) {
	if err := checkName(name); err != nil {
		return nil, nil, err
	}
	if k := strings.LastIndexByte(name, '/'); k > 0 {
		if dir := r.folder(name[:k]); dir != nil {
			if f, info, err := openIn(dir, name[k+1:], name); err == nil {
				return f, info, nil
			}
		}
	}
	return openIn(r.root, name, name)
}

// openIn looks before it opens, since opening a device can already act on it,
// and once more at what was opened, since the name may have changed hands in
// between. O_NONBLOCK keeps a FIFO put there in that moment from hanging us.
// shown is the name for messages.
func openIn(root *os.Root, name, shown string) (*os.File, fs.FileInfo, error) {
	info, err := root.Stat(name)
	if err != nil {
		return nil, nil, pathError(shown, CodeRead, err)
	}
	if err := checkRegular(shown, info); err != nil {
		return nil, nil, err
	}
	f, err := root.OpenFile(name, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, nil, pathError(shown, CodeRead, err)
	}
	if info, err = f.Stat(); err != nil {
		err = pathError(shown, CodeRead, err)
	} else {
		err = checkRegular(shown, info)
	}
	if err != nil {
		f.Close()
		return nil, nil, err
	}
	return f, info, nil
}

func checkRegular(name string, info fs.FileInfo) error {
	what := ""
	switch mode := info.Mode(); {
	case mode.IsRegular():
		return nil
	case mode.IsDir():
		what = "a folder"
	case mode&fs.ModeNamedPipe != 0:
		what = "a FIFO"
	case mode&fs.ModeDevice != 0:
		what = "a device"
	case mode&fs.ModeSocket != 0:
		what = "a socket"
	default:
		what = "not a regular file"
	}
	return &Error{Code: CodeNotRegular, Path: name, Message: "is " + what, Hint: "only regular files are read"}
}

// chunk is how much is read before it is hashed: it stays in the second-level
// cache, so that hashing does not fetch it from memory again.
const chunk = 256 << 10

// ReadFile reads a whole file and returns its bytes with their SHA-256 in hex:
// the very bytes handed out are those that were hashed. The data stand in buf
// where its capacity suffices, else in a new slice. A file above limit bytes
// is an *Error, and so is one whose size or time of change moves while it is
// read.
func (r *Root) ReadFile(name string, buf []byte, limit int64) (data []byte, sha256hex string, err error) {
	f, before, err := r.open(name)
	if err != nil {
		return nil, "", err
	}
	defer f.Close()
	size := before.Size()
	if size > limit {
		return nil, "", &Error{Code: CodeTooLarge, Path: name, Message: fmt.Sprintf("has %d bytes, more than the limit of %d", size, limit)}
	}
	// One byte of room beyond the size shows a file that has grown.
	if int64(cap(buf)) < size+1 {
		buf = make([]byte, 0, size+size/8+1)
	}
	data, digest := buf[:0], sha256.New()
	for int64(len(data)) <= size {
		room := data[len(data):min(len(data)+chunk, int(size)+1)]
		n, err := f.Read(room)
		digest.Write(room[:n])
		data = data[:len(data)+n]
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, "", pathError(name, CodeRead, err)
		}
	}
	if err := unchanged(name, f, before, int64(len(data))); err != nil {
		return nil, "", err
	}
	return data, hex.EncodeToString(digest.Sum(nil)), nil
}

// unchanged reports a file that is no longer as it was when it was opened.
func unchanged(name string, f *os.File, before fs.FileInfo, read int64) error {
	after, err := f.Stat()
	if err != nil {
		return pathError(name, CodeRead, err)
	}
	if read != before.Size() || after.Size() != before.Size() || !after.ModTime().Equal(before.ModTime()) {
		return &Error{Code: CodeChanged, Path: name, Message: "changed while it was read", Hint: "wait until it is complete and run again"}
	}
	return nil
}

// Digest identifies the content of one file.
type Digest struct {
	Path   string // relative, with '/'
	Bytes  int64
	SHA256 string // hex
}

// Hash reads a file through and returns its digest, in constant memory.
func (r *Root) Hash(name string) (Digest, error) {
	f, before, err := r.open(name)
	if err != nil {
		return Digest{}, err
	}
	defer f.Close()
	return digestOf(name, f, before)
}

// HashFile returns the digest of a regular file anywhere: of the running
// executable, for one. The digest's Path is the base name alone.
func HashFile(name string) (Digest, error) {
	f, err := os.OpenFile(name, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return Digest{}, pathError(path.Base(name), CodeMissing, err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return Digest{}, pathError(path.Base(name), CodeRead, err)
	}
	if err := checkRegular(path.Base(name), info); err != nil {
		return Digest{}, err
	}
	return digestOf(path.Base(name), f, info)
}

func digestOf(name string, f *os.File, before fs.FileInfo) (Digest, error) {
	digest := sha256.New()
	n, err := io.CopyBuffer(struct{ io.Writer }{digest}, struct{ io.Reader }{f}, make([]byte, chunk))
	if err != nil {
		return Digest{}, pathError(name, CodeRead, err)
	}
	if err := unchanged(name, f, before, n); err != nil {
		return Digest{}, err
	}
	return Digest{Path: name, Bytes: n, SHA256: hex.EncodeToString(digest.Sum(nil))}, nil
}

// IsMissing reports whether the error says that there is no such file.
func IsMissing(err error) bool {
	var e *Error
	return errors.As(err, &e) && e.Code == CodeMissing
}
