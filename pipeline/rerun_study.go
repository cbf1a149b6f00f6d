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

// fromStudy computes everything again, or the recordings of some subjects.
func (r *Rerun) fromStudy(ctx context.Context, studyDir string, old *sealedFolder, o RerunOptions) error {
	m := old.manifest
	if len(m.Sources) > 0 {
		return &RerunUsageError{"these results were made from other results, not from a study: give those, with --from tables"}
	}
	if err := r.checkInputs(ctx, studyDir, m, o); err != nil || len(r.Inputs) > 0 {
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
	if s := m.Shard; s != nil {
		o.Shard = Shard{s.Number, s.Of}
	}
	read := func() (*run, error) {
		again := &run{output: output{dir: dir}, options: o.filled(), studyDir: studyDir, tally: newTally()}
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
		again.tally = newTally()
		again.tally.expect(again.study)
	}
	steps := []func(context.Context) error{again.openResults, again.computeRecordings}
	if o.Sample == 0 {
		steps = append(steps, again.lastStep().do)
	}
	for _, step := range steps {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := step(ctx); err != nil {
			return err
		}
	}
	if err := r.readInputs(old.manifest, again, o); err != nil {
		return err
	}
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
	if o.Sample > 0 || again.shard != nil {
		r.skip("statistics", "release")
		return nil
	}
	r.stage("statistics", func(path string) bool { return !personLevel(path) && strings.HasPrefix(path, tablesFolder) })
	r.stage("release", func(path string) bool { return strings.HasPrefix(path, releaseFolder) })
	return nil
}

// readInputs holds what has been read now to what was read then; both lists have
// their own names for recordings where ids are hidden, the same in both.
func (r *Rerun) readInputs(m *schema.Manifest, again *run, o RerunOptions) error {
	then := make(map[string]string, len(m.Inputs))
	for _, in := range m.Inputs {
		then[in.Path] = in.SHA256
	}
	hold := func(in schema.File) error {
		if digest, ok := then[in.Path]; !ok || digest != in.SHA256 {
			r.Inputs = append(r.Inputs, differing(in.Path, "sha256", digest, in.SHA256))
		}
		delete(then, in.Path)
		return nil
	}
	for _, in := range again.manifest.Inputs {
		_ = hold(in) // has no error of its own
	}
	if err := again.inputs.each(hold); err != nil {
		return err
	}
	if o.Sample == 0 { // else most are not read
		for _, in := range m.Inputs {
			if digest, ok := then[in.Path]; ok {
				r.Inputs = append(r.Inputs, differing(in.Path, "missing", digest, ""))
			}
		}
	}
	if len(r.Inputs) > 0 {
		r.otherInputs("inputs read", len(m.Inputs), m, o)
	}
	return nil
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
	case shardPath, tablesFolder + "recordings.parquet", tablesFolder + "subject_visits.parquet", tablesFolder + "beats.parquet", tablesFolder + "waveforms.parquet",
		tablesFolder + "estimates.parquet", tablesFolder + "uncertainty.parquet", tablesFolder + "reviews.parquet", tablesFolder + "readings.parquet",
		tablesFolder + "exclusions.parquet":
		return true
	}
	return false
}
