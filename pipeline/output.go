package pipeline

import (
	"errors"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"slices"
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
	fs        func(dir string) (store.FS, error) // nil: store.OpenFS
	lock      *store.Lock
	results   *store.Folder
	manifest  schema.Manifest
	sources   []schema.File     // the inputs that a release names: settings and tables, not recordings
	own       []published.Set   // of the study itself
	tableMeta map[string]string // file-level keys of every table
	aside     aside
	issues    sorted[schema.Issue]
	inputs    sorted[schema.File] // beside those that the manifest has in memory
	listed    bool                // the outcome lists the issues
	summary   *schema.Frame
	blocked   *ErrDisclosure
	shards    int                    // that the results were merged from; 0: none
	places    []string               // that recordings were read from, beside the study folder
	keepWork  func(name string) bool // files of the work folder that stay after sealing; nil: none
}

// outputFolders are all folders in which files are written: a run that is killed
// may leave a partial file in any.
var outputFolders = []string{".", path.Clean(tablesFolder), path.Clean(ownFolder), path.Clean(personFigures),
	path.Clean(releaseFolder), path.Clean(releaseFolder + figuresFolder), path.Clean(workFolder)}

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
	if o.fs == nil {
		o.fs = store.OpenFS
	}
	fsys, err := o.fs(o.dir)
	if err != nil {
		return err
	}
	o.results = store.NewFolder(fsys)
	o.aside.dir = o.dir
	o.issues = sorted[schema.Issue]{aside: &o.aside, compare: schema.CompareIssues}
	o.inputs = sorted[schema.File]{aside: &o.aside, compare: byPath}
	if _, err = o.results.Sweep(outputFolders...); err != nil {
		return err
	}
	if err := o.startJournal(); err != nil {
		return err
	}
	o.results.Gather()
	return nil
}

// begin fills the manifest with what is known before anything is computed.
func (o *output) begin(settings schema.Settings, build schema.Build, sources []schema.File) {
	o.manifest = schema.Manifest{
		Format: schema.ManifestFormat, Caution: schema.Caution, Study: settings.Study,
		Build: build, Settings: settings, Seeds: map[string]string{},
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

// seal writes the manifest; the times stand outside what it promises. The work
// folder has served then.
func (o *output) seal(started, ended time.Time, jobs int) error {
	o.manifest.Run = &schema.RunTimes{
		Started: started.UTC().Format(time.RFC3339), Ended: ended.UTC().Format(time.RFC3339), Jobs: jobs, Shards: o.shards, Recordings: o.places,
	}
	if err := sealManifest(o.results, &o.manifest, &o.inputs); err != nil {
		return fmt.Errorf("sealing the results: %w", err)
	}
	if err := o.results.Clear(path.Clean(workFolder), o.keepWork); err != nil {
		return fmt.Errorf("the results are sealed and complete, but %s stays behind: %w", workFolder, err)
	}
	return nil
}

// outcome is what the command leaves for the terminal.
func (o *output) outcome() (outcome *Outcome, err error) {
	outcome = &Outcome{Manifest: &o.manifest, Summary: o.summary}
	if o.blocked != nil {
		outcome.Blocked = o.blocked
	}
	if o.listed {
		outcome.Issues, err = o.issues.all()
	}
	return outcome, err
}

func (o *output) close() {
	o.aside.close()
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
