package pipeline

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"runtime"
	"time"

	"tonocohort/pipeline/store"
	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// Options says how a run is carried out; none of it changes the results.
type Options struct {
	Jobs     int               // recordings worked on at once; 0: one per core
	Replace  bool              // write over a sealed results folder
	Version  string            // of the program
	KeyFile  string            // behind keyed pseudonyms and dates; "": none
	Shard    Shard             // the part of the study that is computed; zero: all of it
	KeepWork bool              // keep the work folder after sealing, so that a later run takes from it what still holds
	Storage  Storage           // gives the recordings, where they do not lie in the study folder; nil: they do
	Listed   bool              // Outcome.Issues lists what was met; else the table issues has it alone
	Wait     time.Duration     // of a merge: how long a folder that is not sealed is looked at again
	Progress func(Progress)    // called after each chunk; may be nil
	Step     func(name string) // called as each step begins; may be nil
	Now      func() time.Time  // nil: time.Now; used for RunTimes alone

	fs       func(dir string) (store.FS, error) // what the results are written through; nil: store.OpenFS
	settings *schema.Settings                   // in place of those of study.yaml; nil: these
	build    *schema.Build                      // the program; nil: CurrentBuild
	noWork   bool                               // nothing is kept for a run after this one
	sleep    func(time.Duration)                // nil: time.Sleep; between two looks at a shard
}

// Progress counts recordings.
type Progress struct{ Done, Failed, Total int }

// Outcome is what a run leaves for the terminal.
type Outcome struct {
	Manifest *schema.Manifest // of its inputs those alone that are no recordings: ReadManifest has all
	Issues   []schema.Issue   // of a run or a merge where Options.Listed
	Reasons  []ReasonCount    // why recordings were left out, most frequent first
	Summary  *schema.Frame
	Blocked  error // *ErrDisclosure: nothing was released; nil otherwise
	Stands   bool  // the shard was finished before, from the same inputs: nothing was done
	Taken    int   // subjects that an earlier run had computed
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

// run carries what the steps hand on to each other.
type run struct {
	output
	options  Options
	studyDir string
	files    *store.Root
	study    *study.Study
	subjects subjectsAside
	tally    *tally
	scheme   study.Scheme
	disguise *disguise
	work     *work
	left     *leftOut
	shard    *schema.Shard // nil: the whole study
}

// filled puts in what stands for zero.
func (o Options) filled() Options {
	if o.Jobs <= 0 {
		o.Jobs = runtime.GOMAXPROCS(0)
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Step == nil {
		o.Step = func(string) {}
	}
	if o.sleep == nil {
		o.sleep = time.Sleep
	}
	if o.build == nil {
		build := CurrentBuild(o.Version)
		o.build = &build
	}
	return o
}

// Run reads the study in studyDir, computes everything and leaves it in outDir,
// sealed by a manifest. A structural fault is a *StructuralError.
func Run(ctx context.Context, studyDir, outDir string, o Options) (*Outcome, error) {
	o = o.filled()
	r := &run{output: output{dir: outDir, fs: o.fs, listed: o.Listed}, options: o, studyDir: studyDir, tally: newTally()}
	defer r.close()
	started := o.Now()
	for _, step := range []step{
		{"reading the study", r.readStudy},
		{"opening the results folder", r.openResults},
		{"computing the recordings", r.computeRecordings},
		r.lastStep(),
	} {
		if err := ctx.Err(); err != nil {
			return nil, r.stopped(step.name, err)
		}
		o.Step(step.name)
		err := step.do(ctx)
		if errors.Is(err, errStands) {
			return &Outcome{Manifest: &r.manifest, Stands: true}, nil
		}
		if err != nil {
			return nil, r.stopped(step.name, err)
		}
	}
	if o.KeepWork {
		r.keepWork = func(name string) bool { return r.work.used[name] }
	}
	o.Step("sealing")
	if o.Storage != nil {
		r.places = []string{o.Storage.Place()}
	}
	if err := r.seal(started, o.Now(), o.Jobs); err != nil {
		return nil, err
	}
	outcome, err := r.outcome()
	if err != nil {
		return nil, err
	}
	outcome.Reasons = r.tally.reasons()
	if r.work != nil {
		outcome.Taken = r.work.taken
	}
	return outcome, nil
}

// step is one of the steps of a run.
type step struct {
	name string
	do   func(context.Context) error
}

// lastStep makes the statistics, or what a part of a study has in their place.
func (r *run) lastStep() step {
	if r.options.Shard.whole() {
		return step{"computing the statistics", r.computeStatistics}
	}
	return step{"closing the shard", r.closeShard}
}

// StoppedError says that a run ended before its time, and what is kept of it.
type StoppedError struct {
	Step     string
	Kept, Of int // subjects that the next run need not compute again
	Err      error
}

func (e *StoppedError) Error() string {
	text := e.Step + ": " + e.Err.Error()
	if errors.Is(e.Err, context.Canceled) {
		text = "interrupted while " + e.Step
	}
	if e.Of == 0 {
		return text
	}
	return fmt.Sprintf("%s; the results folder is not sealed; %d of %d subjects are kept, and the same command goes on from there", text, e.Kept, e.Of)
}

func (e *StoppedError) Unwrap() error { return e.Err }

// stopped says what an error leaves behind; before the results folder was touched
// nothing.
func (r *run) stopped(step string, err error) error {
	var structural *StructuralError
	if errors.As(err, &structural) || errors.Is(err, ErrSealed) {
		return err
	}
	stopped := &StoppedError{Step: step, Err: err}
	if r.work != nil {
		stopped.Kept, stopped.Of = r.work.sealed, r.subjects.n
	}
	return stopped
}

func (r *run) close() {
	r.work.close()
	if r.files != nil {
		r.files.Close()
	}
	r.output.close()
}

// recordings gives the files of the recordings.
func (r *run) recordings() Files { return filesOf(r.options.Storage, r.files) }

func (r *run) readStudy(context.Context) error {
	var err error
	if r.files, err = openFolder(r.studyDir); err != nil {
		return err
	}
	r.study = loadStudyAs(r.files, r.options.settings)
	if schema.AnyStructural(r.study.Issues) {
		return &StructuralError{Issues: r.study.Issues}
	}
	if r.scheme, err = study.SchemeByName(r.study.Settings.Analysis.BPScheme); err != nil {
		return err
	}
	if r.disguise, err = newDisguise(r.study.Settings.Privacy, r.options.KeyFile, r.studyDir, r.dir); err != nil {
		return err
	}
	r.disguise.apply(r.study)
	r.left = newLeftOut(r.study)
	r.takeShard()
	r.tally.expect(r.study)
	return nil
}

func (r *run) openResults(context.Context) error {
	r.fillManifest()
	if r.shard != nil && !r.options.Replace {
		if stands, err := r.stands(); err != nil || stands {
			return cmp.Or(err, errStands)
		}
	}
	if err := r.open(r.options.Replace, r.studyDir); err != nil {
		return err
	}
	if err := r.issues.add(r.study.Issues...); err != nil {
		return err
	}
	r.study.Issues = nil
	r.subjects.n = len(r.study.Subjects)
	if r.options.noWork {
		return nil
	}
	return r.openWork()
}

// fillManifest puts in what is known when the study has been read.
func (r *run) fillManifest() {
	sources := make([]schema.File, len(r.study.Inputs))
	for i, in := range r.study.Inputs {
		sources[i] = schema.File(in)
	}
	r.begin(r.study.Settings, *r.options.build, sources)
	r.manifest.KeyID, r.manifest.Shard = r.disguise.keyID(), r.shard
}
