package store

import (
	"io"
	"io/fs"
	"os"
	"path"
	"syscall"
)

// FS is what writing asks of a file system, in paths relative to one folder.
// It is this small so that a test can stand in for it and fail at any step.
type FS interface {
	// MkdirAll makes a folder with its parents, durably; it may exist.
	MkdirAll(dir string) error
	// Create makes a new file for writing; it must not exist.
	Create(name string) (File, error)
	Rename(from, to string) error
	Remove(name string) error
	// Names lists the names in a folder.
	Names(dir string) ([]string, error)
	// SyncDir makes the names in a folder durable.
	SyncDir(dir string) error
	Close() error
}

// File is a file being written.
type File interface {
	io.Writer
	Sync() error
	Close() error
}

// rootFS is the operating system's file system below one folder.
type rootFS struct{ root *os.Root }

// OpenFS gives the operating system's file system below dir, which is made if
// need be. Links that leave the folder are not followed.
func OpenFS(dir string) (FS, error) {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, err
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, err
	}
	return rootFS{root}, nil
}

func (r rootFS) MkdirAll(dir string) error {
	if info, err := r.root.Stat(dir); err == nil {
		if !info.IsDir() {
			return &fs.PathError{Op: "mkdir", Path: dir, Err: syscall.ENOTDIR}
		}
		return nil
	}
	if err := r.root.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	for dir != "." {
		dir = path.Dir(dir)
		if err := r.SyncDir(dir); err != nil {
			return err
		}
	}
	return nil
}

func (r rootFS) Create(name string) (File, error) {
	return r.root.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
}

func (r rootFS) Rename(from, to string) error { return r.root.Rename(from, to) }
func (r rootFS) Remove(name string) error     { return r.root.Remove(name) }
func (r rootFS) Close() error                 { return r.root.Close() }

func (r rootFS) Names(dir string) ([]string, error) {
	f, err := r.root.Open(dir)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return f.Readdirnames(-1)
}

func (r rootFS) SyncDir(dir string) error {
	f, err := r.root.Open(dir)
	if err != nil {
		return err
	}
	defer f.Close()
	return f.Sync()
}
