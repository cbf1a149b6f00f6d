package store_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"syscall"
	"testing"
	"time"

	"tonocohort/pipeline/store"
	"tonocohort/schema"
)

// put writes a file and the folders above it.
func put(t *testing.T, dir, name, content string) {
	t.Helper()
	path := filepath.Join(dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(content), 0o666); err != nil {
		t.Fatal(err)
	}
}

func openRoot(t *testing.T, dir string) *store.Root {
	t.Helper()
	r, err := store.OpenRoot(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close() })
	return r
}

func code(err error) string {
	var e *store.Error
	if errors.As(err, &e) {
		return e.Code
	}
	return ""
}

// Digest of "abc": FIPS 180-4 example, csrc.nist.gov SHA-256 example values.
const abcSHA256 = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"

func TestReadFileGivesTheHashedBytes(t *testing.T) {
	dir := t.TempDir()
	put(t, dir, "waves/abc.csv", "abc")
	put(t, dir, "empty", "")
	big := strings.Repeat("0123456789abcdef", 1<<16) // 1 MiB: several chunks
	put(t, dir, "big", big)
	r := openRoot(t, dir)

	data, sum, err := r.ReadFile("waves/abc.csv", nil, 3)
	if err != nil || string(data) != "abc" || sum != abcSHA256 {
		t.Fatalf("got %q %s %v", data, sum, err)
	}
	data, sum, err = r.ReadFile("big", data, 1<<20)
	want := sha256.Sum256([]byte(big))
	if err != nil || string(data) != big || sum != hex.EncodeToString(want[:]) {
		t.Fatalf("big file: %d bytes, %s, %v", len(data), sum, err)
	}
	buf := data
	data, _, err = r.ReadFile("waves/abc.csv", buf, 1<<20)
	if err != nil || &data[0] != &buf[0] {
		t.Fatal("a buffer with room enough must be used again")
	}
	data, sum, err = r.ReadFile("empty", nil, 0)
	if err != nil || len(data) != 0 || !strings.HasPrefix(sum, "e3b0c44298fc1c14") { // digest of nothing, FIPS 180-4
		t.Fatalf("empty file: %q %s %v", data, sum, err)
	}
	if _, _, err = r.ReadFile("big", nil, 1<<20-1); code(err) != store.CodeTooLarge {
		t.Fatalf("above the limit: %v", err)
	}
	d, err := r.Hash("waves/abc.csv")
	if err != nil || d != (store.Digest{Path: "waves/abc.csv", Bytes: 3, SHA256: abcSHA256}) {
		t.Fatalf("Hash: %+v %v", d, err)
	}
	d, err = store.HashFile(filepath.Join(dir, "waves", "abc.csv"))
	if err != nil || d != (store.Digest{Path: "abc.csv", Bytes: 3, SHA256: abcSHA256}) {
		t.Fatalf("HashFile: %+v %v", d, err)
	}
}

func TestNothingOutsideOrSpecialIsOpened(t *testing.T) {
	outside := t.TempDir()
	put(t, outside, "secret", "x")
	dir := t.TempDir()
	put(t, dir, "in.csv", "1")
	put(t, dir, "sub/deep.csv", "2")
	link := func(to, name string) {
		if err := os.Symlink(to, filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	link(filepath.Join(outside, "secret"), "absolute-link")
	link("../"+filepath.Base(outside)+"/secret", "relative-link")
	link(outside, "folder-link")
	link("loop", "loop")
	link("in.csv", "inner-link")
	if err := syscall.Mkfifo(filepath.Join(dir, "fifo"), 0o666); err != nil {
		t.Fatal(err)
	}
	listener, err := net.Listen("unix", filepath.Join(dir, "s"))
	if err != nil {
		t.Fatal(err)
	}
	defer listener.Close()
	r := openRoot(t, dir)
	for name, want := range map[string]string{
		"":                       store.CodePathEmpty,
		"/etc/passwd":            store.CodePathLeaves,
		`C:/x.csv`:               store.CodePathLeaves,
		`sub\deep.csv`:           store.CodePathForm,
		"in.csv\x00":             store.CodePathForm,
		"..":                     store.CodePathLeaves,
		"../x":                   store.CodePathLeaves,
		"sub/../../x":            store.CodePathLeaves,
		"absolute-link":          store.CodePathLeaves,
		"relative-link":          store.CodePathLeaves,
		"folder-link/secret":     store.CodePathLeaves,
		"loop":                   store.CodePathLeaves,
		"fifo":                   store.CodeNotRegular,
		"s":                      store.CodeNotRegular,
		"sub":                    store.CodeNotRegular,
		".":                      store.CodeNotRegular,
		"nothing":                store.CodeMissing,
		"in.csv/x":               store.CodeMissing,
		strings.Repeat("n", 300): store.CodeRead,
	} {
		if _, _, err := r.ReadFile(name, nil, 100); code(err) != want {
			t.Errorf("ReadFile(%q): %v, code %q, want %q", name, err, code(err), want)
		} else if strings.Contains(err.Error(), outside) {
			t.Errorf("%q: the message names a place outside: %v", name, err)
		}
		if f, err := r.Open(name); err == nil {
			f.Close()
			t.Errorf("Open(%q) must fail", name)
		}
		if r.Exists(name) {
			t.Errorf("Exists(%q)", name)
		}
	}
	if data, _, err := r.ReadFile("inner-link", nil, 100); err != nil || string(data) != "1" {
		t.Errorf("a link that stays inside is followed: %q %v", data, err)
	}
	if n, err := r.Size("sub/../in.csv"); err != nil || n != 1 {
		t.Errorf("Size: %d %v", n, err)
	}
	if _, err := store.HashFile(filepath.Join(dir, "fifo")); code(err) != store.CodeNotRegular {
		t.Errorf("HashFile of a FIFO: %v", err)
	}
}

func TestPermissionDeniedIsSaid(t *testing.T) {
	if os.Geteuid() == 0 {
		t.Skip("root may read everything")
	}
	dir := t.TempDir()
	put(t, dir, "a", "x")
	if err := os.Chmod(filepath.Join(dir, "a"), 0); err != nil {
		t.Fatal(err)
	}
	if _, _, err := openRoot(t, dir).ReadFile("a", nil, 10); code(err) != store.CodePermission {
		t.Fatal(err)
	}
}

// A file that grows all the while must never be handed out as if it were whole.
func TestGrowingFileIsAnError(t *testing.T) {
	dir := t.TempDir()
	put(t, dir, "live", strings.Repeat("x", 8<<20))
	r := openRoot(t, dir)
	f, err := os.OpenFile(filepath.Join(dir, "live"), os.O_WRONLY|os.O_APPEND, 0)
	if err != nil {
		t.Fatal(err)
	}
	stop, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		defer f.Close()
		for i := 0; i < 1<<16; i++ {
			select {
			case <-stop:
				return
			default:
				f.Write([]byte("more"))
				time.Sleep(10 * time.Microsecond)
			}
		}
	}()
	defer func() { close(stop); <-done }()
	for i := 0; i < 100; i++ {
		_, _, err := r.ReadFile("live", nil, 1<<30)
		if code(err) == store.CodeChanged {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	t.Fatal("the growth was never noticed")
}

func TestNamesAreSorted(t *testing.T) {
	dir := t.TempDir()
	for _, n := range []string{"b", "a", "c/d"} {
		put(t, dir, n, "")
	}
	r := openRoot(t, dir)
	names, err := r.Names(".")
	if err != nil || !reflect.DeepEqual(names, []string{"a", "b", "c"}) {
		t.Fatalf("%v %v", names, err)
	}
	if _, err := r.Names("../"); code(err) != store.CodePathLeaves {
		t.Fatal(err)
	}
	if _, err := r.Names("nothing"); !store.IsMissing(err) {
		t.Fatal(err)
	}
}

func TestErrorBecomesAnIssue(t *testing.T) {
	_, _, err := openRoot(t, t.TempDir()).ReadFile("gone.csv", nil, 10)
	var e *store.Error
	if !errors.As(err, &e) || !errors.Is(err, fs.ErrNotExist) {
		t.Fatal(err)
	}
	i := e.Issue(schema.SizeRecording)
	if i.File != "gone.csv" || i.Code != store.CodeMissing || i.Size != schema.SizeRecording || i.Message == "" {
		t.Fatalf("%+v", i)
	}
}

// BenchmarkReadFile reads and hashes a file as large as a 40-s recording, in a
// folder as studies have it.
func BenchmarkReadFile(b *testing.B) {
	dir := b.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "waves"), 0o777); err != nil {
		b.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "waves", "w.csv"), bytes.Repeat([]byte("0.00390625,72.125\n"), 165000/18), 0o666); err != nil {
		b.Fatal(err)
	}
	r, err := store.OpenRoot(dir)
	if err != nil {
		b.Fatal(err)
	}
	defer r.Close()
	b.SetBytes(165000)
	b.ReportAllocs()
	var buf []byte
	for b.Loop() {
		if buf, _, err = r.ReadFile("waves/w.csv", buf, 1<<20); err != nil {
			b.Fatal(err)
		}
	}
}
