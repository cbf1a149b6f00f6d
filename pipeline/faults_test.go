package pipeline

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"tonocohort/pipeline/store"
	"tonocohort/testdata"
)

// faultFS is a file system whose operation number at fails, once or with every
// one after it. A failing write takes half of the bytes.
type faultFS struct {
	store.FS
	mu      sync.Mutex
	n, at   int
	forGood bool
	with    error
}

func (f *faultFS) step() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.n++
	if f.n == f.at || f.forGood && f.n > f.at && f.at > 0 {
		return f.with
	}
	return nil
}

func (f *faultFS) MkdirAll(dir string) error {
	if err := f.step(); err != nil {
		return err
	}
	return f.FS.MkdirAll(dir)
}

func (f *faultFS) Create(name string) (store.File, error) {
	if err := f.step(); err != nil {
		return nil, err
	}
	file, err := f.FS.Create(name)
	return &faultFile{file, f}, err
}

func (f *faultFS) Rename(from, to string) error {
	if err := f.step(); err != nil {
		return err
	}
	return f.FS.Rename(from, to)
}

func (f *faultFS) Remove(name string) error {
	if err := f.step(); err != nil {
		return err
	}
	return f.FS.Remove(name)
}

func (f *faultFS) Names(dir string) ([]string, error) {
	if err := f.step(); err != nil {
		return nil, err
	}
	return f.FS.Names(dir)
}

func (f *faultFS) SyncDir(dir string) error {
	if err := f.step(); err != nil {
		return err
	}
	return f.FS.SyncDir(dir)
}

type faultFile struct {
	store.File
	fs *faultFS
}

func (f *faultFile) Write(b []byte) (int, error) {
	if err := f.fs.step(); err != nil {
		n, _ := f.File.Write(b[:len(b)/2])
		return n, err
	}
	return f.File.Write(b)
}

func (f *faultFile) Sync() error {
	if err := f.fs.step(); err != nil {
		return err
	}
	return f.File.Sync()
}

func (f *faultFile) Close() error {
	err := f.fs.step()
	if closed := f.File.Close(); err == nil {
		err = closed
	}
	return err
}

// soundOrUnsealed holds a folder to what it says of itself.
func soundOrUnsealed(t *testing.T, results string) (sealed bool) {
	t.Helper()
	_, differences, err := Verify(context.Background(), results)
	switch {
	case err == nil && len(differences) == 0:
		return true
	case err == nil:
		t.Errorf("sealed, but %v", differences)
	case !strings.Contains(err.Error(), "not sealed") && !errors.Is(err, ErrNoFolder):
		t.Errorf("neither sealed nor said not to be: %v", err)
	}
	return false
}

// The file system fails at operation n of a run, once or for good: the results
// are sealed and valid, or unsealed and said to be; and the next run ends with
// the bytes of one that met no fault. TONOCOHORT_FAULTS=all tries every n.
func TestEveryOperationMayFail(t *testing.T) {
	t.Parallel()
	studyDir, dir := smallStudy(t, 20), t.TempDir()
	all := os.Getenv("TONOCOHORT_FAULTS") == "all"
	if !all {
		unreleased(t, studyDir)
	}
	whole := filepath.Join(dir, "whole")
	counting := &faultFS{}
	ranInto(t, studyDir, whole, Options{fs: func(dir string) (store.FS, error) {
		fsys, err := openUnsynced(dir)
		counting.FS = fsys
		return counting, err
	}})
	stride := counting.n/8 + 1
	switch {
	case all:
		stride = 1
	case testdata.UnderRaceDetector():
		stride = counting.n/3 + 1
	}
	var failed atomic.Int64
	tried := 0
	t.Run("tries", func(t *testing.T) { // ends when all of them have
		for _, forGood := range []bool{false, true} {
			for at := 1 + stride/2; at <= counting.n; at += stride {
				tried++
				name := fmt.Sprintf("forGood=%t,at=%d", forGood, at)
				t.Run(name, func(t *testing.T) {
					t.Parallel()
					results := filepath.Join(dir, name)
					if stopsAt(t, studyDir, whole, results, &faultFS{at: at, forGood: forGood, with: syscall.ENOSPC}) {
						failed.Add(1)
					}
					os.RemoveAll(results)
				})
			}
		}
	})
	if failed.Load() < int64(tried*3/4) {
		t.Errorf("only %d of %d faults stopped a run", failed.Load(), tried)
	}
	t.Logf("%d faults of %d operations, %d stopped the run", tried, counting.n, failed.Load())
}

// stopsAt runs a study on a file system with that fault: the results are sound or
// unsealed, and the next run ends with the bytes of whole. It tells whether the
// fault stopped the run.
func stopsAt(t *testing.T, studyDir, whole, results string, faulty *faultFS) (stopped bool) {
	t.Helper()
	_, err := Run(context.Background(), studyDir, results, Options{fs: func(dir string) (store.FS, error) {
		fsys, err := openUnsynced(dir)
		faulty.FS = fsys
		return faulty, err
	}})
	if err != nil && !errors.Is(err, syscall.ENOSPC) {
		t.Errorf("operation %d: the error does not say what happened: %v", faulty.at, err)
	}
	sealed := soundOrUnsealed(t, results)
	if err == nil && !sealed {
		t.Errorf("operation %d: no error and no seal", faulty.at)
	}
	if !sealed {
		ranInto(t, studyDir, results, Options{fs: openUnsynced})
		sameResults(t, whole, results)
	}
	return err != nil
}

// A run that fails leaves no goroutine behind, nor does one that is interrupted.
func TestNoGoroutineStays(t *testing.T) {
	subjects, stops := 150, 6
	if testdata.UnderRaceDetector() {
		subjects, stops = 60, 3
	}
	studyDir := unreleased(t, smallStudy(t, subjects))
	ranInto(t, studyDir, filepath.Join(t.TempDir(), "first"), Options{})
	before := runtime.NumGoroutine()
	for at := range stops {
		ctx, o := stopAfter(at * 40)
		if at%2 == 0 {
			faulty := &faultFS{at: 30 + 40*at, with: syscall.EIO}
			o.fs = func(dir string) (store.FS, error) {
				fsys, err := openUnsynced(dir)
				faulty.FS = fsys
				return faulty, err
			}
		}
		if _, err := Run(ctx, studyDir, filepath.Join(t.TempDir(), "results"), o); err == nil {
			t.Error("nothing stopped the run")
		}
	}
	for range 100 {
		if runtime.NumGoroutine() <= before {
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	t.Errorf("%d goroutines before, %d after", before, runtime.NumGoroutine())
}

// flaky gives files that fail as often as it is told, each time with one error.
type flaky struct {
	Files
	fails int
	with  error
}

func (f *flaky) ReadFile(string, []byte, int64) ([]byte, string, error) {
	if f.fails > 0 {
		f.fails--
		return nil, "", &store.Error{Code: store.CodeRead, Path: "x", Err: f.with}
	}
	return []byte("pressure\n"), "digest", nil
}

// A mount that comes and goes is asked again; what the machine is short of stops
// the run and is not laid at the door of a recording.
func TestFlakyFilesAreAskedAgain(t *testing.T) {
	for _, k := range []struct {
		name   string
		fails  int
		with   syscall.Errno
		read   bool
		fatal  bool
		trace  string
		paused time.Duration
	}{
		{"a stale handle, once", 1, syscall.ESTALE, true, false, "digest", 100 * time.Millisecond},
		{"an I/O error, twice", 2, syscall.EIO, true, false, "digest", 1100 * time.Millisecond},
		{"an I/O error for good", 99, syscall.EIO, false, false, unsettled, 1100 * time.Millisecond},
		{"no permission", 1, syscall.EACCES, false, false, unsettled, 0},
		{"too many open files", 99, syscall.EMFILE, false, true, unsettled, 0},
		{"no memory", 99, syscall.ENOMEM, false, true, unsettled, 0},
	} {
		var paused time.Duration
		files := &tracedFiles{files: &flaky{fails: k.fails, with: k.with}, wait: func(d time.Duration) { paused += d }}
		_, _, err := files.ReadFile("x", nil, 100)
		if (err == nil) != k.read || (files.fatal != nil) != k.fatal || paused != k.paused {
			t.Errorf("%s: error %v, fatal %v, paused %v", k.name, err, files.fatal, paused)
		}
		if trace := files.take(); len(trace) != 1 || trace[0] != k.trace {
			t.Errorf("%s: trace %q", k.name, trace)
		}
	}
}
