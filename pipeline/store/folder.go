package store

import (
	"io/fs"
	"os"
)

// folder is a folder below the root that is held open, so that the way to it need
// not be gone for each of its files.
type folder struct {
	name string
	root *os.Root
	info fs.FileInfo // which folder it is
}

// folder gives the folder of a name if it is held, or was asked for twice in a row
// and is held from now on; else nil. A name that leads to another folder by now is
// followed there. Another goroutine may ask for another folder and so close this one:
// then nothing is found in it.
func (r *Root) folder(name string) *os.Root {
	r.mu.Lock()
	held, again := r.held, r.last == name
	r.last = name
	r.mu.Unlock()
	if held != nil && held.name == name {
		if now, err := r.root.Stat(name); err == nil && os.SameFile(now, held.info) {
			return held.root
		}
	} else if !again {
		return nil
	}
	root, err := r.root.OpenRoot(name)
	if err != nil {
		return nil
	}
	info, err := root.Stat(".")
	if err != nil {
		root.Close()
		return nil
	}
	r.hold(&folder{name: name, root: root, info: info})
	return root
}

// hold puts a folder, or nil, in the place of the one that is held.
func (r *Root) hold(f *folder) {
	r.mu.Lock()
	f, r.held = r.held, f
	r.mu.Unlock()
	if f != nil {
		f.root.Close()
	}
}
