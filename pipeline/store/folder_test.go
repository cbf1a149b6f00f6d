package store_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"

	"tonocohort/pipeline/store"
)

// readAgain reads a file often enough for its folder to be held, and says what every
// reading gave: the text, or the code of the error.
func readAgain(t *testing.T, r *store.Root, name string) string {
	t.Helper()
	said := ""
	for k := range 4 {
		data, _, err := r.ReadFile(name, nil, 100)
		now := string(data)
		if err != nil {
			now = code(err)
		}
		if k > 0 && now != said {
			t.Errorf("%s: %q, and before %q", name, now, said)
		}
		said = now
	}
	return said
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// What a name leads to now is read, whatever was read in a folder of that name before.
func TestFolderThatChangesHandsIsFollowed(t *testing.T) {
	outside, dir := t.TempDir(), t.TempDir()
	put(t, outside, "a", "secret")
	put(t, dir, "waves/a", "first")
	put(t, dir, "new/a", "second")
	put(t, dir, "deep/er/a", "deep")
	r := openRoot(t, dir)
	in := func(name string) string { return filepath.Join(dir, name) }
	expect := func(name, want string) {
		t.Helper()
		if got := readAgain(t, r, name); got != want {
			t.Errorf("%s: %q, want %q", name, got, want)
		}
	}
	expect("waves/a", "first")
	must(t, os.Rename(in("waves"), in("old")))
	expect("waves/a", store.CodeMissing)
	must(t, os.Rename(in("new"), in("waves")))
	expect("waves/a", "second")
	expect("old/a", "first")
	expect("waves/a", "second")
	must(t, os.Rename(in("waves"), in("new")))
	must(t, os.Symlink("old", in("waves")))
	expect("waves/a", "first")
	must(t, os.Remove(in("waves")))
	must(t, os.Symlink("new", in("waves")))
	expect("waves/a", "second")
	must(t, os.Remove(in("waves")))
	must(t, os.Symlink(outside, in("waves")))
	expect("waves/a", store.CodePathLeaves)
	must(t, os.Remove(in("waves")))
	put(t, dir, "waves/a", "third")
	expect("waves/a", "third")
	expect("deep/er/a", "deep")
	must(t, os.Rename(in("deep"), filepath.Join(outside, "deep")))
	expect("deep/er/a", store.CodeMissing)
	must(t, os.WriteFile(in("waves/a"), []byte("fourth"), 0o666))
	expect("waves/a", "fourth")
}

// In a folder that is held a name is followed as far as from the root, and no further.
func TestNamesInAHeldFolder(t *testing.T) {
	outside, dir := t.TempDir(), t.TempDir()
	put(t, outside, "secret", "x")
	put(t, dir, "in.csv", "1")
	put(t, dir, "sub/deep.csv", "2")
	put(t, dir, "sub/more/a.csv", "3")
	put(t, dir, "other/b.csv", "4")
	for name, to := range map[string]string{
		"absolute": filepath.Join(outside, "secret"), "relative": "../../" + filepath.Base(outside) + "/secret",
		"loop": "loop", "beside": "deep.csv", "above": "../in.csv", "across": "../other/b.csv", "folder": "../other", "out": outside,
	} {
		must(t, os.Symlink(to, filepath.Join(dir, "sub", name)))
	}
	must(t, syscall.Mkfifo(filepath.Join(dir, "sub", "fifo"), 0o666))
	r := openRoot(t, dir)
	for name, want := range map[string]string{
		"sub/deep.csv":      "2",
		"sub/beside":        "2",
		"sub/above":         "1",
		"sub/across":        "4",
		"sub/folder/b.csv":  "4",
		"sub/more/a.csv":    "3",
		"sub/more/../above": "1",
		"sub/../in.csv":     "1",
		"sub/absolute":      store.CodePathLeaves,
		"sub/relative":      store.CodePathLeaves,
		"sub/out/secret":    store.CodePathLeaves,
		"sub/loop":          store.CodePathLeaves,
		"sub/../../secret":  store.CodePathLeaves,
		"sub/fifo":          store.CodeNotRegular,
		"sub/more":          store.CodeNotRegular,
		"sub/.":             store.CodeNotRegular,
		"sub/..":            store.CodeNotRegular,
		"sub/":              store.CodeNotRegular,
		"sub/nothing":       store.CodeMissing,
		"sub/deep.csv/x":    store.CodeMissing,
	} {
		readAgain(t, r, "sub/deep.csv")
		if got := readAgain(t, r, name); got != want {
			t.Errorf("%s: %q, want %q", name, got, want)
		}
		if _, _, err := r.ReadFile(name, nil, 100); err != nil && (strings.Contains(err.Error(), outside) || !strings.HasPrefix(err.Error(), name+": ")) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Several goroutines that go from folder to folder take nothing from each other.
func TestFoldersOfSeveralReaders(t *testing.T) {
	dir := t.TempDir()
	for k := range 6 {
		put(t, dir, fmt.Sprintf("%d/a", k/2), "a")
		put(t, dir, fmt.Sprintf("%d/%d", k/2, k), fmt.Sprint(k))
	}
	r := openRoot(t, dir)
	var group sync.WaitGroup
	for reader := range 4 {
		group.Go(func() {
			for round := range 500 {
				k := (reader + round/5) % 6
				data, _, err := r.ReadFile(fmt.Sprintf("%d/%d", k/2, k), nil, 100)
				if err != nil || string(data) != fmt.Sprint(k) {
					t.Errorf("%d: %q, %v", k, data, err)
				}
			}
		})
	}
	group.Wait()
}

// As many handles as before are open once a root is closed, however many folders were
// read.
func TestFoldersAreLetGo(t *testing.T) {
	handles := func() int {
		names, err := os.ReadDir("/proc/self/fd")
		if err != nil {
			t.Skip("the system does not list the handles that are open")
		}
		return len(names)
	}
	dir := t.TempDir()
	before := handles()
	r, err := store.OpenRoot(dir)
	must(t, err)
	for k := range 20 {
		name := fmt.Sprintf("%d/a", k)
		put(t, dir, name, "x")
		readAgain(t, r, name)
		if n := handles(); n > before+2 {
			t.Fatalf("%d handles after %d folders, %d before", n, k+1, before)
		}
	}
	must(t, r.Close())
	if n := handles(); n != before {
		t.Errorf("%d handles, %d before", n, before)
	}
}
