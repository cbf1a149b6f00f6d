package store_test

import (
	"io"
	"slices"
	"strings"
	"testing"

	"tonocohort/pipeline/store"
)

// told is the file system with a list of what became durable, and when.
type told struct {
	store.FS
	steps []string
	fault error
}

func (f *told) Rename(from, to string) error {
	f.steps = append(f.steps, "name "+to)
	return f.FS.Rename(from, to)
}

func (f *told) SyncDir(dir string) error {
	if f.fault != nil {
		return f.fault
	}
	f.steps = append(f.steps, "sync "+dir)
	return f.FS.SyncDir(dir)
}

func TestNamesOfOneFolderAreMadeDurableTogether(t *testing.T) {
	fsys := &told{FS: osFolder(t, t.TempDir())}
	d := store.NewFolder(fsys)
	write := func(names ...string) {
		for _, name := range names {
			if _, err := d.WriteAtomic(name, func(w io.Writer) error { _, err := io.WriteString(w, name); return err }); err != nil {
				t.Fatal(err)
			}
		}
	}
	write("tables/first")
	d.Gather()
	write("tables/a", "release/b", "tables/c")
	if err := d.Settle(); err != nil {
		t.Fatal(err)
	}
	write("manifest")
	want := []string{"name tables/first", "sync tables", "name tables/a", "name release/b", "name tables/c", "sync release", "sync tables", "name manifest", "sync ."}
	if !slices.Equal(fsys.steps, want) {
		t.Errorf("%s; want %s", strings.Join(fsys.steps, ", "), strings.Join(want, ", "))
	}
	d.Gather()
	write("tables/d")
	fsys.fault = io.ErrShortWrite
	if d.Settle() == nil {
		t.Error("a folder that could not be made durable is said to be")
	}
	fsys.fault, fsys.steps = nil, nil
	if err := d.Settle(); err != nil || !slices.Equal(fsys.steps, []string{"sync tables"}) {
		t.Errorf("tried again: %v, %v", err, fsys.steps)
	}
}
