package store

import (
	"maps"
	"path"
	"slices"
)

// Gather leaves the names of files that take their place from now on to Settle: a folder
// that gets a hundred files is then made durable once. Until then a loss of power may take
// back a name that was given, to the old file or none, never to part of one.
func (d *Folder) Gather() { d.unsettled = map[string]bool{} }

// Settle makes all names durable that were given since Gather, and ends it. Only what is
// written after it may say that they are there.
func (d *Folder) Settle() error {
	for _, dir := range slices.Sorted(maps.Keys(d.unsettled)) {
		if err := d.fs.SyncDir(dir); err != nil {
			return pathError(dir, CodeWrite, err)
		}
		delete(d.unsettled, dir)
	}
	d.unsettled = nil
	return nil
}

// settleLater leaves a name to Settle, where that was asked for.
func (d *Folder) settleLater(name string) bool {
	if d.unsettled == nil {
		return false
	}
	d.unsettled[path.Dir(name)] = true
	return true
}
