package store

import (
	"errors"
	"os"
	"path/filepath"
	"syscall"
)

// LockName is the file whose lock stands for the whole folder.
const LockName = ".lock"

// Lock holds a results folder for one run.
type Lock struct {
	file *os.File
	path string
}

// LockFolder takes the folder, which is made if need be, or fails at once with
// code results_folder_locked. The system gives the folder back when the
// process ends, however it ends. On a network file system the lock is as good
// as that system's flock.
func LockFolder(dir string) (*Lock, error) {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, pathError(dir, CodeWrite, err)
	}
	name := filepath.Join(dir, LockName)
	for {
		f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE|syscall.O_NOFOLLOW, 0o666)
		if err != nil {
			return nil, pathError(LockName, CodeWrite, err)
		}
		if err := flock(f, syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
			f.Close()
			if errors.Is(err, syscall.EWOULDBLOCK) {
				return nil, &Error{Code: CodeResultsLocked, Path: filepath.Base(dir), Message: "another run is writing into this folder",
					Hint: "wait until it ends, or give another folder", Err: err}
			}
			return nil, pathError(LockName, CodeWrite, err)
		}
		// The holder before us may have removed the file after we had opened
		// it: then our lock is on a file that nobody else will ever find.
		if same(f, name) {
			return &Lock{file: f, path: name}, nil
		}
		f.Close()
	}
}

// Unlock gives the folder back and removes the lock file.
func (l *Lock) Unlock() error {
	// Removed while still held, so that no other run can hold the removed one.
	err := os.Remove(l.path)
	if closed := l.file.Close(); err == nil {
		err = closed
	}
	if err != nil {
		return pathError(LockName, CodeWrite, err)
	}
	return nil
}

func flock(f *os.File, how int) error {
	for {
		err := syscall.Flock(int(f.Fd()), how)
		if err != syscall.EINTR {
			return err
		}
	}
}

func same(f *os.File, name string) bool {
	ours, err := f.Stat()
	if err != nil {
		return false
	}
	there, err := os.Lstat(name)
	return err == nil && os.SameFile(ours, there)
}
