package pipeline

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"tonocohort/schema"
)

// What a rerun can start from.
const (
	FromStudy   = "study"   // everything is computed again
	FromTables  = "tables"  // the statistics are, from the person-level tables
	FromRelease = "release" // nothing is: digests, and whether the numbers fit together
)

// RerunOptions says how much is computed again.
type RerunOptions struct {
	Options
	From   string
	Sample float64 // share of the subjects, chosen by their ids; 0: everyone and the statistics
	Limit  int     // differences listed of each table; 0: all
}

// Stage is one part of the results and what a rerun found of it.
type Stage struct {
	Name    string `json:"name"`    // manifest, inputs, settings, recordings, statistics, release, consistency
	Verdict string `json:"verdict"` // same, same bytes, same values, same digits, differs, not recomputed
	Files   int    `json:"files"`
	Note    string `json:"note,omitempty"`
}

// The verdicts that a stage has beside those of a file.
const (
	Same          = "same"
	NotRecomputed = "not recomputed"
)

// Rerun is what came of computing results again.
type Rerun struct {
	From       string       `json:"from"`
	SameBuild  bool         `json:"same_build"`
	Then       string       `json:"then"` // program and architecture of the results
	Now        string       `json:"now"`
	Stages     []Stage      `json:"stages"`
	Inputs     []Difference `json:"inputs"`   // that are not what was read then
	Settings   []Change     `json:"settings"` // that study.yaml gives in this program and did not give then
	Comparison *Comparison  `json:"comparison,omitempty"`
	Findings   []Finding    `json:"findings"` // what does not fit together, of a release
	NotDone    []string     `json:"not_recomputed"`
	SampledOf  [2]int       `json:"sampled_of"` // subjects computed again, of how many
}

// Reproduced reports whether nothing was found to differ.
func (r *Rerun) Reproduced() bool {
	return !slices.ContainsFunc(r.Stages, func(s Stage) bool { return s.Verdict == Differs })
}

func (r *Rerun) add(name, verdict string, files int, note string) {
	r.Stages = append(r.Stages, Stage{name, verdict, files, note})
}

// RerunUsageError says that what was asked for does not go with the folder.
type RerunUsageError struct{ Message string }

func (e *RerunUsageError) Error() string { return e.Message }

// RerunResults computes a results folder again in a temporary place, from what
// o.From names, and compares. What the folder was made from is checked first, by
// digest; where it differs nothing is computed.
func RerunResults(ctx context.Context, resultsDir, studyDir string, o RerunOptions) (*Rerun, error) {
	if o.From == FromRelease {
		return rerunRelease(ctx, resultsDir)
	}
	old, err := openSealed(resultsDir)
	if err != nil {
		return nil, err
	}
	defer old.close()
	build := CurrentBuild(o.Version)
	r := &Rerun{From: o.From, SameBuild: sameBuild(old.manifest.Build, build), Then: buildText(old.manifest.Build), Now: buildText(build),
		Inputs: []Difference{}, Settings: []Change{}, Findings: []Finding{}, NotDone: []string{}}
	if err := r.checkManifest(old); err != nil {
		return nil, err
	}
	if o.From == FromTables {
		return r, r.fromTables(ctx, resultsDir, old, o)
	}
	return r, r.fromStudy(ctx, studyDir, old, o)
}

func buildText(b schema.Build) string {
	return fmt.Sprintf("%s %s, %s, %s", b.Program, b.Version, b.Go, b.Architecture)
}

func (r *Rerun) checkManifest(old *sealedFolder) error {
	m, text, err := readManifestText(old.root)
	if err != nil {
		return err
	}
	digest, err := contentOf(text)
	if err != nil {
		return err
	}
	if digest != m.Content {
		r.add("manifest", Differs, 1, "its content digest is "+digest+", it says "+m.Content)
		return nil
	}
	r.add("manifest", Same, 1, "content "+digest)
	return nil
}

// checkInputs holds the study folder to the digests of the manifest. Where ids
// are hidden the manifest does not name the files of recordings: these are held
// to it when they have been read.
func (r *Rerun) checkInputs(ctx context.Context, studyDir string, m *schema.Manifest, wanted func(schema.File) bool) error {
	root, err := openFolder(studyDir)
	if err != nil {
		return err
	}
	defer root.Close()
	checked := 0
	for _, in := range m.Inputs {
		if err := ctx.Err(); err != nil {
			return err
		}
		if !wanted(in) {
			continue
		}
		checked++
		d, err := root.Hash(in.Path)
		switch {
		case err != nil:
			r.Inputs = append(r.Inputs, differing(in.Path, "sha256", in.SHA256, err.Error()))
		case d.SHA256 != in.SHA256:
			r.Inputs = append(r.Inputs, differing(in.Path, "sha256", in.SHA256, d.SHA256))
		}
	}
	r.judgeInputs(checked)
	return nil
}

func (r *Rerun) judgeInputs(checked int) {
	if n := len(r.Inputs); n > 0 {
		r.add("inputs", Differs, checked, fmt.Sprintf("%d of %d files are not what was read then", n, checked))
		return
	}
	r.add("inputs", Same, checked, "")
}

// fromStudy computes everything again, or the recordings of some subjects.
func (r *Rerun) fromStudy(ctx context.Context, studyDir string, old *sealedFolder, o RerunOptions) error {
	m := old.manifest
	if len(m.Sources) > 0 {
		return &RerunUsageError{"these results were made from other results, not from a study: give those, with --from tables"}
	}
	hidden := m.Settings.Privacy.IDs != "as_given"
	err := r.checkInputs(ctx, studyDir, m, func(f schema.File) bool {
		return isStudyTable(m.Settings, f.Path) || !hidden && o.Sample == 0
	})
	if err != nil || len(r.Inputs) > 0 {
		return err
	}
	dir, err := os.MkdirTemp("", "tonocohort-rerun-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	again, err := r.readAgain(ctx, filepath.Join(dir, "results"), studyDir, m, o.Options)
	if err != nil {
		return err
	}
	defer again.close()
	return r.recompute(ctx, again, old, o)
}

// readAgain reads the study with the settings of the manifest: where study.yaml
// gives others in this program, in place of those.
func (r *Rerun) readAgain(ctx context.Context, dir, studyDir string, m *schema.Manifest, o Options) (*run, error) {
	o.noWork, o.KeepWork = true, false
	read := func() (*run, error) {
		again := &run{output: output{dir: dir}, options: o.filled(), studyDir: studyDir, layout: newLayout(), tally: newTally()}
		if err := again.readStudy(ctx); err != nil {
			again.close()
			return nil, err
		}
		return again, nil
	}
	again, err := read()
	if err != nil {
		return nil, err
	}
	note := ""
	if r.Settings, err = changes(m.Settings, again.study.Settings); err == nil && len(r.Settings) > 0 {
		again.close()
		o.settings = &m.Settings
		note = fmt.Sprintf("%d of study.yaml are other ones in this program: those of the manifest were used", len(r.Settings))
		again, err = read()
	}
	if err != nil {
		return nil, err
	}
	if m.KeyID != again.disguise.keyID() {
		again.close()
		return nil, &RerunUsageError{"the key is not the one that the results were made with, whose id is " + m.KeyID}
	}
	r.add("settings", Same, 0, note)
	return again, nil
}

// recompute runs the steps and compares what they leave.
func (r *Rerun) recompute(ctx context.Context, again *run, old *sealedFolder, o RerunOptions) error {
	compare := CompareOptions{Limit: o.Limit}
	r.SampledOf = [2]int{len(again.study.Subjects), len(again.study.Subjects)}
	if o.Sample > 0 {
		compare.Subject = func(id string) bool { return inSample(id, o.Sample) }
		kept := again.study.Subjects[:0:0]
		for _, s := range again.study.Subjects {
			if compare.Subject(s.ID) {
				kept = append(kept, s)
			}
		}
		again.study.Subjects = kept
		r.SampledOf[0] = len(kept)
	}
	steps := []func(context.Context) error{again.openResults, again.computeRecordings}
	if o.Sample == 0 {
		steps = append(steps, again.computeStatistics)
	}
	for _, step := range steps {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := step(ctx); err != nil {
			return err
		}
	}
	r.readInputs(old.manifest, again.manifest.Inputs)
	fresh, err := openUnsealed(again.dir, &again.manifest)
	if err != nil {
		return err
	}
	defer fresh.close()
	var wanted func(string) bool
	if o.Sample > 0 {
		wanted = fresh.has
	}
	if r.Comparison, err = compareFiles(ctx, old, fresh, wanted, compare); err != nil {
		return err
	}
	r.stage("recordings", personLevel)
	if o.Sample > 0 {
		r.skip("statistics", "release")
		return nil
	}
	r.stage("statistics", func(path string) bool { return !personLevel(path) && strings.HasPrefix(path, tablesFolder) })
	r.stage("release", func(path string) bool { return strings.HasPrefix(path, releaseFolder) })
	return nil
}

// readInputs holds what has been read now to what was read then; both lists have
// their own names for recordings where ids are hidden, the same in both.
func (r *Rerun) readInputs(m *schema.Manifest, now []schema.File) {
	then := make(map[string]string, len(m.Inputs))
	for _, in := range m.Inputs {
		then[in.Path] = in.SHA256
	}
	before := len(r.Inputs)
	for _, in := range now {
		if digest, ok := then[in.Path]; !ok || digest != in.SHA256 {
			r.Inputs = append(r.Inputs, differing(in.Path, "sha256", digest, in.SHA256))
		}
	}
	if len(r.Inputs) > before {
		r.add("inputs read", Differs, len(now), fmt.Sprintf("%d files are not what was read then", len(r.Inputs)-before))
	}
}

// stage judges the files of one stage together: the worst of them counts.
func (r *Rerun) stage(name string, belongs func(path string) bool) {
	order := []string{SameBytes, SameValues, SameDigits, Differs}
	worst, files, differ := 0, 0, 0
	for _, f := range r.Comparison.Files {
		if !belongs(f.Path) {
			continue
		}
		files++
		at := slices.Index(order, f.Verdict)
		if !r.Comparison.Reproduced(f) {
			at = len(order) - 1
			differ++
		}
		worst = max(worst, at)
	}
	note := ""
	if differ > 0 {
		note = fmt.Sprintf("%d of %d files", differ, files)
	} else if order[worst] == SameDigits {
		note = fmt.Sprintf("to the %d digits that are promised across programs and architectures", schema.DeclaredDigits)
	}
	r.add(name, order[worst], files, note)
}

func (r *Rerun) skip(names ...string) {
	for _, name := range names {
		r.add(name, NotRecomputed, 0, "")
		r.NotDone = append(r.NotDone, name)
	}
}

// personLevel reports whether a file is one of the tables that are written
// recording by recording.
func personLevel(path string) bool {
	switch path {
	case tablesFolder + "recordings.parquet", tablesFolder + "subject_visits.parquet", tablesFolder + "beats.parquet", tablesFolder + "waveforms.parquet",
		tablesFolder + "estimates.parquet", tablesFolder + "uncertainty.parquet", tablesFolder + "reviews.parquet", tablesFolder + "readings.parquet",
		tablesFolder + "exclusions.parquet":
		return true
	}
	return false
}
