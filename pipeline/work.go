package pipeline

import (
	"encoding/hex"
	"errors"
	"io"
	"path"
	"slices"
	"strings"
	"syscall"

	"tonocohort/pipeline/store"
	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// The work folder stands in the results folder while a run is under way and
// holds what it has finished, so that a run that is killed, at whatever moment,
// loses no more than the chunk it was at. It is taken away when the results are
// sealed.
const (
	workFolder  = ".work/"
	journalName = workFolder + "outputs" // names of the files that took their place
)

// place is where a part stands.
type place struct {
	file          string
	offset, bytes int64
	digest, key   sum
}

// work is the work folder of a run; nil keeps nothing.
type work struct {
	results *store.Folder
	root    *store.Root
	sum     sum
	places  map[string][]place // by subject: parts that rest on the same basis
	writer  sealedWriter
	used    map[string]bool // files that a part was taken from or written to
	taken   int             // subjects that were not computed again
	sealed  int             // subjects that are in the work folder
}

// openWork finds what earlier runs have sealed and rests on the same basis. What
// is damaged is as if it were not there.
func (r *run) openWork() error {
	b, err := r.basis()
	if err != nil {
		return err
	}
	w := &work{results: r.results, places: map[string][]place{}, used: map[string]bool{}}
	if w.sum, err = b.sum(); err != nil {
		return err
	}
	w.writer.index = sealedIndex{Basis: b, Sum: hex.EncodeToString(w.sum[:])}
	if w.root, err = store.OpenRoot(r.dir); err != nil {
		return err
	}
	r.work = w
	return eachIndex(w.root, func(file string, index *sealedIndex) error {
		if index.Sum != w.writer.index.Sum {
			return nil
		}
		for _, e := range index.Parts {
			if at, ok := e.place(file); ok {
				w.places[e.Subject] = append(w.places[e.Subject], at)
			}
		}
		return nil
	})
}

func (w *work) close() {
	if w != nil && w.root != nil {
		w.root.Close()
	}
}

// eachIndex visits the indices of the sealed files of a results folder, in the
// order of their names; damaged files are passed over.
func eachIndex(root *store.Root, visit func(file string, index *sealedIndex) error) error {
	names, err := root.Names(path.Clean(workFolder))
	if store.IsMissing(err) {
		return nil
	}
	if err != nil {
		return err
	}
	for _, name := range names {
		if !strings.HasSuffix(name, sealedEnding) {
			continue
		}
		file, err := root.Open(workFolder + name)
		if err != nil {
			if exhausted(err) {
				return err
			}
			continue
		}
		info, err := file.Stat()
		if err == nil {
			var index *sealedIndex
			if index, err = readIndex(file, info.Size()); err == nil {
				err = visit(name, index)
			} else {
				err = nil
			}
		}
		file.Close()
		if err != nil {
			return err
		}
	}
	return nil
}

func (e sealedEntry) place(file string) (place, bool) {
	at := place{file: file, offset: e.Offset, bytes: e.Bytes}
	for into, text := range map[*sum]string{&at.digest: e.SHA256, &at.key: e.Key} {
		if n, err := hex.Decode(into[:], []byte(text)[:min(len(text), 2*len(into))]); err != nil || n != len(into) {
			return place{}, false
		}
	}
	return at, true
}

// find returns a sealed part of a subject of which the tables still say the same
// and that holds; nil where there is none.
func (w *work) find(s *study.Subject, holds func(*part) bool) (*part, string) {
	if w == nil || len(w.places[s.ID]) == 0 {
		return nil, ""
	}
	key := subjectKey(s)
	for _, at := range w.places[s.ID] {
		if at.key != key {
			continue
		}
		if p, err := readPart(w.root, at); err == nil && holds(p) {
			return p, at.file
		}
	}
	return nil, ""
}

// keep adds the part of a subject, with its rows from the marks on, to what is
// sealed next.
func (w *work) keep(s *study.Subject, p *part, frames []*schema.Frame, from []int) error {
	if w == nil {
		return nil
	}
	return w.writer.add(s.ID, subjectKey(s), p, frames, from)
}

// take counts a subject whose part was taken from a sealed file.
func (w *work) take(file string) {
	w.used[file] = true
	w.taken++
	w.sealed++
}

// seal writes what was kept since the last call.
func (w *work) seal() error {
	if w == nil {
		return nil
	}
	n := len(w.writer.index.Parts)
	if n == 0 {
		return nil
	}
	name, err := w.writer.write(w.results)
	if err != nil {
		return err
	}
	w.used[name] = true
	w.sealed += n
	return nil
}

// startJournal removes what an earlier run has left unsealed and starts the
// journal of this one. A sealed run loses its seal first: what it lists goes into
// the journal, then goes away itself, so that a kill in between leaves nothing
// that nobody knows of.
func (o *output) startJournal() error {
	root, err := store.OpenRoot(o.dir)
	if err != nil {
		return err
	}
	defer root.Close()
	var stale []string
	if data, _, err := root.ReadFile(journalName, nil, maxManifest); err == nil {
		stale = strings.Split(string(data), "\n")
	} else if !store.IsMissing(err) {
		return err
	}
	if root.Exists(ManifestName) {
		if outputs, err := readOutputs(root); err == nil { // else it lists nothing that can be trusted
			for _, out := range outputs {
				stale = append(stale, out.Path)
			}
		}
	}
	stale = slices.DeleteFunc(stale, func(name string) bool { return !isOutput(name) })
	_, err = o.results.WriteAtomic(journalName, func(w io.Writer) error {
		_, err := io.WriteString(w, strings.Join(stale, "\n")+"\n")
		return err
	})
	if err != nil {
		return err
	}
	if err := o.results.Remove(ManifestName); err != nil {
		return err
	}
	for _, name := range stale {
		if err := o.results.Remove(name); err != nil && !errors.Is(err, syscall.ENOTEMPTY) { // a folder is nothing of ours
			return err
		}
	}
	if err := o.results.Remove(journalName); err != nil {
		return err
	}
	return o.results.Journal(journalName)
}

// isOutput reports whether a name is one that a run may write and so take away.
func isOutput(name string) bool {
	return path.Clean(name) == name && (strings.HasPrefix(name, tablesFolder) || strings.HasPrefix(name, releaseFolder))
}
