package pipeline

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"tonocohort/pipeline/store"
	"tonocohort/schema"
	"tonocohort/schema/published"
)

// ErrSealed says that the results folder already holds a finished run.
var ErrSealed = errors.New("the results folder holds a finished run")

// output is a results folder on its way to the manifest that seals it: what
// every command that makes one needs, whatever its tables come from.
type output struct {
	dir       string
	lock      *store.Lock
	results   *store.Folder
	manifest  schema.Manifest
	sources   []schema.File     // the inputs that a release names: settings and tables, not recordings
	own       []published.Set   // of the study itself
	tableMeta map[string]string // file-level keys of every table
	issues    []schema.Issue
	summary   *schema.Frame
	blocked   *ErrDisclosure
}

// open locks the folder, unseals it and clears what a stopped run has left. The
// folder must be none of those that are read.
func (o *output) open(replace bool, readFrom ...string) error {
	for _, dir := range readFrom {
		same, err := sameFolder(dir, o.dir)
		if err != nil {
			return err
		}
		if same {
			return fmt.Errorf("results would land in %s, which is read: give another folder", dir)
		}
	}
	if _, err := os.Stat(filepath.Join(o.dir, ManifestName)); err == nil && !replace {
		return fmt.Errorf("%s: %w; give another folder, or --replace to write over it", o.dir, ErrSealed)
	}
	var err error
	if o.lock, err = store.LockFolder(o.dir); err != nil {
		return err
	}
	if err := unseal(o.dir); err != nil {
		return err
	}
	if o.results, err = store.OpenFolder(o.dir); err != nil {
		return err
	}
	_, err = o.results.Sweep("tables", "release")
	return err
}

// unseal takes the manifest away, and with it what it lists: from here on the
// folder is either written whole or says that it is not, and no table of an
// older run stays behind.
func unseal(dir string) error {
	old, unreadable := ReadManifest(dir)
	if err := os.Remove(filepath.Join(dir, ManifestName)); err != nil && !os.IsNotExist(err) {
		return err
	}
	if unreadable != nil {
		return nil // there was none, or it lists nothing that can be trusted
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return err
	}
	defer root.Close()
	for _, out := range old.Outputs {
		if !strings.HasPrefix(out.Path, tablesFolder) && !strings.HasPrefix(out.Path, releaseFolder) {
			continue // not where a run writes
		}
		if err := root.Remove(out.Path); err != nil && !os.IsNotExist(err) {
			return err
		}
	}
	return nil
}

// begin fills the manifest with what is known before anything is computed.
func (o *output) begin(settings schema.Settings, version string, sources []schema.File) {
	o.manifest = schema.Manifest{
		Format: schema.ManifestFormat, Caution: schema.Caution, Study: settings.Study,
		Build: CurrentBuild(version), Settings: settings, Seeds: map[string]string{},
		Inputs: slices.Clone(sources),
	}
	o.sources = sources
	o.tableMeta = map[string]string{"study": settings.Study.ID, "caution": schema.Caution}
}

// write adds a whole table to the folder.
func (o *output) write(f *schema.Frame) error {
	out, err := writeTable(o.results, tablePath(f.Table.Name), f, o.tableMeta)
	if err != nil {
		return err
	}
	o.manifest.Outputs = append(o.manifest.Outputs, out)
	return nil
}

// seal writes the manifest; the times stand outside what it promises.
func (o *output) seal(started, ended time.Time, jobs int) error {
	o.manifest.Run = &schema.RunTimes{
		Started: started.UTC().Format(time.RFC3339), Ended: ended.UTC().Format(time.RFC3339), Jobs: jobs,
	}
	if err := sealManifest(o.results, &o.manifest); err != nil {
		return fmt.Errorf("sealing the results: %w", err)
	}
	return nil
}

// outcome is what the command leaves for the terminal.
func (o *output) outcome() *Outcome {
	outcome := &Outcome{Manifest: &o.manifest, Issues: o.issues, Summary: o.summary}
	if o.blocked != nil {
		outcome.Blocked = o.blocked
	}
	return outcome
}

func (o *output) close() {
	if o.results != nil {
		o.results.Close()
	}
	if o.lock != nil {
		// The lock goes with the process in any case.
		_ = o.lock.Unlock()
	}
}

func sameFolder(a, b string) (bool, error) {
	first, err := os.Stat(a)
	if err != nil {
		return false, err
	}
	second, err := os.Stat(b)
	if os.IsNotExist(err) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	return os.SameFile(first, second), nil
}
