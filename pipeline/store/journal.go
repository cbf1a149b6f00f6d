package store

import (
	"io"
	"path"
	"strings"
)

// Journal notes, from now on, the name of every file before it takes its place,
// a line each, in the named file; files beside the journal are not noted. So
// what a killed run has left can be told from what was there before it. The
// journal outlives a kill; the last lines may not outlive a loss of power.
func (d *Folder) Journal(name string) error {
	if err := checkName(name); err != nil {
		return err
	}
	if err := d.fs.MkdirAll(path.Dir(name)); err != nil {
		return pathError(name, CodeWrite, err)
	}
	file, err := d.fs.Create(name)
	if err != nil {
		return pathError(name, CodeWrite, err)
	}
	d.journal, d.apart = file, path.Dir(name)+"/"
	return nil
}

// noted returns what notes the name of a file, or nil.
func (d *Folder) noted(name string) io.Writer {
	if d.journal == nil || strings.HasPrefix(name, d.apart) {
		return nil
	}
	return d.journal
}

// Remove removes a file, or an empty folder; it need not be there.
func (d *Folder) Remove(name string) error {
	if err := checkName(name); err != nil {
		return err
	}
	if err := pathErrorOrNil(name, d.fs.Remove(name)); err != nil && !IsMissing(err) {
		return err
	}
	return nil
}

// Names lists the names in a folder, in no order; none where there is no such
// folder.
func (d *Folder) Names(dir string) ([]string, error) {
	names, err := d.fs.Names(dir)
	if err := pathErrorOrNil(dir, err); err != nil && !IsMissing(err) {
		return nil, err
	}
	return names, nil
}

// Clear removes a folder with the files in it, as far as keep does not hold on
// to one; keep may be nil.
func (d *Folder) Clear(dir string, keep func(name string) bool) error {
	names, err := d.Names(dir)
	if err != nil {
		return err
	}
	kept := false
	for _, name := range names {
		if keep != nil && keep(name) {
			kept = true
			continue
		}
		if err := d.Remove(path.Join(dir, name)); err != nil {
			return err
		}
	}
	if kept {
		return nil
	}
	return d.Remove(dir)
}

func pathErrorOrNil(name string, err error) error {
	if err == nil {
		return nil
	}
	return pathError(name, CodeWrite, err)
}
