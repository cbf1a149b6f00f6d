package store_test

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"tonocohort/pipeline/store"
)

var errFault = errors.New("the disk is full")

// faultFS passes everything on until operation number at, which fails; with
// forGood every later one fails too. A failing write takes half the bytes.
type faultFS struct {
	store.FS
	n, at   int
	forGood bool
}

func (f *faultFS) step() error {
	f.n++
	if f.n == f.at || f.forGood && f.n > f.at && f.at > 0 {
		return errFault
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

// osFolder gives the real file system below dir.
func osFolder(t *testing.T, dir string) store.FS {
	t.Helper()
	fsys, err := store.OpenFS(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { fsys.Close() })
	return fsys
}

// files lists the names in a folder with their content.
func files(t *testing.T, dir string) map[string]string {
	t.Helper()
	found := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		content, err := os.ReadFile(path)
		rel, _ := filepath.Rel(dir, path)
		found[filepath.ToSlash(rel)] = string(content)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

func TestWriteAtomic(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "results")
	content := strings.Repeat("row\n", 100_000)
	write := func(text string) func(io.Writer) error {
		return func(w io.Writer) error { _, err := io.WriteString(w, text); return err }
	}
	d, err := store.WriteAtomic(dir, "tables/a.parquet", write(content))
	sum := sha256.Sum256([]byte(content))
	if err != nil || d != (store.Digest{Path: "tables/a.parquet", Bytes: 400_000, SHA256: hex.EncodeToString(sum[:])}) {
		t.Fatalf("%+v %v", d, err)
	}
	if d, err = store.WriteAtomic(dir, "tables/a.parquet", write("abc")); err != nil || d.SHA256 != abcSHA256 {
		t.Fatalf("an existing file is replaced: %+v %v", d, err)
	}
	boom := errors.New("no more rows")
	_, err = store.WriteAtomic(dir, "tables/a.parquet", func(w io.Writer) error {
		fmt.Fprint(w, content)
		return boom
	})
	if !errors.Is(err, boom) {
		t.Fatal(err)
	}
	if got := files(t, dir); len(got) != 1 || got["tables/a.parquet"] != "abc" {
		t.Fatalf("after a failure: %d files, %q", len(got), got["tables/a.parquet"])
	}
	for _, name := range []string{"", "/tmp/x", "../x", `a\b`} {
		if _, err := store.WriteAtomic(dir, name, write("x")); code(err) == "" {
			t.Errorf("%q must be refused: %v", name, err)
		}
	}
	outside := t.TempDir()
	if err := os.Symlink(outside, filepath.Join(dir, "out")); err != nil {
		t.Fatal(err)
	}
	if _, err := store.WriteAtomic(dir, "out/x", write("x")); err == nil || len(files(t, outside)) != 0 {
		t.Errorf("a link that leaves must not be written through: %v", err)
	}
}

// At every operation, failing once or from then on, the target holds the old
// bytes or the new ones, and an error is reported unless the new ones stand.
// Nothing is left beside it unless removing fails too, and a sweep mends that.
func TestFaultAtEveryOperation(t *testing.T) {
	const before = "old"
	content := strings.Repeat("new row\n", 20_000) // more than two buffers
	for _, forGood := range []bool{false, true} {
		for at := 1; ; at++ {
			dir := t.TempDir()
			put(t, dir, "tables/a", before)
			faulty := &faultFS{FS: osFolder(t, dir), at: at, forGood: forGood}
			d, err := store.NewFolder(faulty).WriteAtomic("tables/a", func(w io.Writer) error {
				_, err := io.WriteString(w, content)
				return err
			})
			if faulty.n < at {
				if err != nil || at < 8 {
					t.Fatalf("without a fault, after %d operations: %v", faulty.n, err)
				}
				break
			}
			if !errors.Is(err, errFault) || d != (store.Digest{}) {
				t.Errorf("operation %d: error %v, digest %+v", at, err, d)
			}
			got := files(t, dir)
			if got["tables/a"] != before && got["tables/a"] != content {
				t.Errorf("operation %d: neither old nor new", at)
			}
			if !forGood && len(got) != 1 {
				t.Errorf("operation %d left %d files", at, len(got))
			}
			clean := store.NewFolder(osFolder(t, dir))
			n, err := clean.Sweep(".", "tables", "absent")
			if err != nil || n != len(got)-1 || len(files(t, dir)) != 1 {
				t.Errorf("operation %d: swept %d of %d: %v", at, n, len(got)-1, err)
			}
		}
	}
}

func TestPendingCommitAndAbort(t *testing.T) {
	dir := t.TempDir()
	p, err := store.Create(dir, "a")
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprint(p, "ab")
	fmt.Fprint(p, "c")
	if files(t, dir)["a"] != "" {
		t.Fatal("nothing may show before Commit")
	}
	d, err := p.Commit()
	if err != nil || d.SHA256 != abcSHA256 || d.Bytes != 3 {
		t.Fatalf("%+v %v", d, err)
	}
	p.Abort()
	if _, err := p.Commit(); code(err) != store.CodeWrite {
		t.Fatalf("a second Commit: %v", err)
	}
	if _, err := p.Write([]byte("x")); err == nil {
		t.Fatal("writing after Commit must fail")
	}
	p, err = store.Create(dir, "b")
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprint(p, "zzz")
	p.Abort()
	if got := files(t, dir); len(got) != 1 || got["a"] != "abc" {
		t.Fatalf("%v", got)
	}
}

// TestSecondRunIsRefused lets other processes hold the lock, since a lock is
// there to be seen across processes.
func TestSecondRunIsRefused(t *testing.T) {
	if dir := os.Getenv("STORE_TEST_LOCK"); dir != "" {
		l, err := store.LockFolder(dir)
		fmt.Println(code(err))
		if err == nil && os.Getenv("STORE_TEST_HOLD") != "" {
			io.Copy(io.Discard, os.Stdin) // until killed
		}
		if err == nil {
			l.Unlock()
		}
		os.Exit(0)
	}
	dir := filepath.Join(t.TempDir(), "results")
	child := func(env ...string) *exec.Cmd {
		c := exec.Command(os.Args[0], "-test.run=^TestSecondRunIsRefused$")
		c.Env = append(os.Environ(), append(env, "STORE_TEST_LOCK="+dir)...)
		return c
	}
	l, err := store.LockFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	if out, err := child().Output(); err != nil || strings.TrimSpace(string(out)) != store.CodeResultsLocked {
		t.Fatalf("a second process: %q %v", out, err)
	}
	if _, err := store.LockFolder(dir); code(err) != store.CodeResultsLocked {
		t.Fatalf("the same process again: %v", err)
	}
	if err := l.Unlock(); err != nil || len(files(t, dir)) != 0 {
		t.Fatalf("unlocking leaves nothing: %v", err)
	}

	holder := child("STORE_TEST_HOLD=1")
	in, _ := holder.StdinPipe()
	out, _ := holder.StdoutPipe()
	if err := holder.Start(); err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	if _, err := io.ReadFull(out, make([]byte, 1)); err != nil { // it holds the lock now
		t.Fatal(err)
	}
	if _, err := store.LockFolder(dir); code(err) != store.CodeResultsLocked {
		t.Fatalf("while another process holds it: %v", err)
	}
	holder.Process.Signal(syscall.SIGKILL)
	holder.Wait()
	if l, err = store.LockFolder(dir); err != nil {
		t.Fatalf("the lock of a killed process must be free: %v", err)
	}
	l.Unlock()
}

// The journal tells what took its place; a folder is cleared of all but what is
// held on to.
func TestJournalAndClear(t *testing.T) {
	dir := t.TempDir()
	d, err := store.OpenFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	write := func(name string) {
		t.Helper()
		if _, err := d.WriteAtomic(name, func(w io.Writer) error { _, err := io.WriteString(w, name); return err }); err != nil {
			t.Fatal(err)
		}
	}
	write("before")
	if err := d.Journal(".work/outputs"); err != nil {
		t.Fatal(err)
	}
	write("tables/a")
	write(".work/b")
	write("c")
	if _, err := d.WriteAtomic("failed", func(io.Writer) error { return errFault }); !errors.Is(err, errFault) {
		t.Fatal(err)
	}
	if got := files(t, dir); got[".work/outputs"] != "tables/a\nc\n" {
		t.Errorf("the journal says %q", got[".work/outputs"])
	}
	if err := d.Clear(".work", func(name string) bool { return name == "b" }); err != nil {
		t.Fatal(err)
	}
	if got := files(t, dir); len(got) != 4 || got[".work/b"] == "" {
		t.Errorf("%v", got)
	}
	if err := d.Clear(".work", nil); err != nil {
		t.Fatal(err)
	}
	if err := d.Clear("nothing", nil); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(filepath.Join(dir, ".work")); !os.IsNotExist(err) {
		t.Errorf("the folder must go with its files: %v", err)
	}
	for _, name := range []string{"../x", "/x", ""} {
		if d.Remove(name) == nil || d.Journal(name) == nil {
			t.Errorf("%q must be refused", name)
		}
	}
}
