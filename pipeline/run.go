package pipeline

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"time"

	"tonocohort/pipeline/store"
	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// Options says how a run is carried out; none of it changes the results.
type Options struct {
	Jobs     int              // recordings worked on at once; 0: one per core
	Replace  bool             // write over a sealed results folder
	Version  string           // of the program
	Progress func(Progress)   // called after each chunk; may be nil
	Now      func() time.Time // nil: time.Now; used for RunTimes alone
}

// Progress counts recordings.
type Progress struct{ Done, Failed, Total int }

// Outcome is what a run leaves for the terminal.
type Outcome struct {
	Manifest *schema.Manifest
	Issues   []schema.Issue
	Reasons  []ReasonCount // why recordings were left out, most frequent first
	Summary  *schema.Frame
	Blocked  error // *ErrDisclosure: nothing was released; nil otherwise
}

// StructuralError says that nothing was run and nothing written.
type StructuralError struct{ Issues []schema.Issue }

func (e *StructuralError) Error() string {
	n := 0
	for _, i := range e.Issues {
		if i.Size == schema.SizeStructural {
			n++
		}
	}
	return fmt.Sprintf("%d structural faults in the study: nothing was written", n)
}

// ErrSealed says that the results folder already holds a finished run.
var ErrSealed = errors.New("the results folder holds a finished run")

// run carries what the steps hand on to each other.
type run struct {
	options   Options
	studyDir  string
	outDir    string
	layout    *layout
	files     *store.Root
	study     *study.Study
	lock      *store.Lock
	results   *store.Folder
	manifest  schema.Manifest
	issues    []schema.Issue
	tally     *tally
	scheme    study.Scheme
	blocked   *ErrDisclosure
	summary   *schema.Frame
	tableMeta map[string]string
}

// Run reads the study in studyDir, computes everything and leaves it in outDir,
// sealed by a manifest. A structural fault is a *StructuralError.
func Run(ctx context.Context, studyDir, outDir string, o Options) (*Outcome, error) {
	if o.Jobs <= 0 {
		o.Jobs = runtime.GOMAXPROCS(0)
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	r := &run{options: o, studyDir: studyDir, outDir: outDir, layout: newLayout(), tally: newTally()}
	defer r.close()
	started := o.Now()
	for _, step := range []struct {
		name string
		do   func(context.Context) error
	}{
		{"reading the study", r.readStudy},
		{"opening the results folder", r.openResults},
		{"computing the recordings", r.computeRecordings},
		{"computing the statistics", r.computeStatistics},
	} {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if err := step.do(ctx); err != nil {
			var structural *StructuralError
			if errors.As(err, &structural) || errors.Is(err, context.Canceled) || errors.Is(err, ErrSealed) {
				return nil, err
			}
			return nil, fmt.Errorf("%s: %w", step.name, err)
		}
	}
	r.manifest.Run = &schema.RunTimes{
		Started: started.UTC().Format(time.RFC3339), Ended: o.Now().UTC().Format(time.RFC3339), Jobs: o.Jobs,
	}
	if err := sealManifest(r.results, &r.manifest); err != nil {
		return nil, fmt.Errorf("sealing the results: %w", err)
	}
	outcome := &Outcome{Manifest: &r.manifest, Issues: r.issues, Reasons: r.tally.reasons(), Summary: r.summary}
	if r.blocked != nil {
		outcome.Blocked = r.blocked
	}
	return outcome, nil
}

func (r *run) close() {
	if r.files != nil {
		r.files.Close()
	}
	if r.results != nil {
		r.results.Close()
	}
	if r.lock != nil {
		// The lock goes with the process in any case.
		_ = r.lock.Unlock()
	}
}

func (r *run) readStudy(context.Context) error {
	var err error
	if r.files, err = store.OpenRoot(r.studyDir); err != nil {
		return err
	}
	r.study = loadStudy(r.files)
	if r.scheme, err = study.SchemeByName(study.DefaultScheme); err != nil {
		return err
	}
	r.tally.expect(r.study)
	r.issues = r.study.Issues
	if schema.AnyStructural(r.issues) {
		return &StructuralError{Issues: r.issues}
	}
	return nil
}

func (r *run) openResults(context.Context) error {
	same, err := sameFolder(r.studyDir, r.outDir)
	if err != nil {
		return err
	}
	if same {
		return fmt.Errorf("results would land in the study folder %s: give another folder", r.studyDir)
	}
	if _, err := os.Stat(filepath.Join(r.outDir, ManifestName)); err == nil && !r.options.Replace {
		return fmt.Errorf("%s: %w; give another folder, or --replace to write over it", r.outDir, ErrSealed)
	}
	if r.lock, err = store.LockFolder(r.outDir); err != nil {
		return err
	}
	// Without its manifest the folder is unsealed: from here on it is either
	// written whole or says that it is not.
	if err := os.Remove(filepath.Join(r.outDir, ManifestName)); err != nil && !os.IsNotExist(err) {
		return err
	}
	if r.results, err = store.OpenFolder(r.outDir); err != nil {
		return err
	}
	if _, err := r.results.Sweep("tables", "release"); err != nil {
		return err
	}
	r.manifest = schema.Manifest{
		Format: schema.ManifestFormat, Caution: schema.Caution, Study: r.study.Settings.Study,
		Build: CurrentBuild(r.options.Version), Settings: r.study.Settings, Seeds: map[string]string{},
	}
	r.tableMeta = map[string]string{"study": r.study.Settings.Study.ID, "caution": schema.Caution}
	for _, in := range r.study.Inputs {
		r.manifest.Inputs = append(r.manifest.Inputs, schema.File(in))
	}
	return nil
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
