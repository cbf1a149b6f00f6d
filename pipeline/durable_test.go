package pipeline

import (
	"path"
	"path/filepath"
	"slices"
	"testing"

	"tonocohort/pipeline/store"
)

// durably is a file system that knows which folders have names that are not durable.
type durably struct {
	store.FS
	open   map[string]bool
	left   []string // folders that were open when the manifest took its place
	sealed bool
}

func (f *durably) Rename(from, to string) error {
	if dir := path.Dir(to); dir+"/" != workFolder {
		f.open[dir] = true
	}
	if to == ManifestName {
		f.sealed = true
		for dir := range f.open {
			if dir != path.Dir(to) {
				f.left = append(f.left, dir)
			}
		}
	}
	return f.FS.Rename(from, to)
}

func (f *durably) SyncDir(dir string) error {
	delete(f.open, dir)
	return f.FS.SyncDir(dir)
}

// What a manifest says that there is outlives a loss of power once the manifest does, and
// the manifest once the run has ended.
func TestManifestStandsLast(t *testing.T) {
	t.Parallel()
	fsys := &durably{open: map[string]bool{}}
	ranInto(t, smallStudy(t, 8), filepath.Join(t.TempDir(), "results"), Options{fs: func(dir string) (store.FS, error) {
		inner, err := openUnsynced(dir)
		fsys.FS = inner
		return fsys, err
	}})
	slices.Sort(fsys.left)
	if !fsys.sealed || len(fsys.left) > 0 || len(fsys.open) > 0 {
		t.Errorf("sealed: %t; not durable before: %v, after: %v", fsys.sealed, fsys.left, fsys.open)
	}
}
