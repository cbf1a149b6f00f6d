package pipeline

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tonocohort/pipeline/simulate"
	"tonocohort/pipeline/store"
	"tonocohort/pipeline/study"
)

// unsynced is a file system that makes nothing durable: what a test kills is a
// program, not the power.
type unsynced struct{ store.FS }

type unsyncedFile struct{ store.File }

func (unsynced) SyncDir(string) error { return nil }
func (unsyncedFile) Sync() error      { return nil }

func (u unsynced) Create(name string) (store.File, error) {
	file, err := u.FS.Create(name)
	return unsyncedFile{file}, err
}

func openUnsynced(dir string) (store.FS, error) {
	fsys, err := store.OpenFS(dir)
	return unsynced{fsys}, err
}

// smallStudy simulates a study with a short plan into a folder of the test.
func smallStudy(t testing.TB, subjects int) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "study")
	if err := simulate.Write(dir, filepath.Join(t.TempDir(), "truth.csv"), simulate.Options{Subjects: subjects, Seed: "quay"}); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(dir, study.SettingsFile)
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	before, rest, ok := strings.Cut(string(data), "analysis:\n")
	_, after, found := strings.Cut(rest, "disclosure:")
	if !ok || !found {
		t.Fatalf("%s has changed its form", study.SettingsFile)
	}
	const plan = "analysis: {visit: first, variables: [central_pp_mmhg], strata: [sex], models: [], compare_with: [], centiles: []}\n"
	if err := os.WriteFile(name, []byte(before+plan+"disclosure:"+after), 0o644); err != nil {
		t.Fatal(err)
	}
	return dir
}

// unreleased makes the release of a study a matter for another test: most files
// of a small run are its own.
func unreleased(t testing.TB, studyDir string) string {
	t.Helper()
	edited(t, filepath.Join(studyDir, study.SettingsFile), "on_violation: suppress", "on_violation: block")
	return studyDir
}

// edited changes a text in a file.
func edited(t testing.TB, name, from, to string) {
	t.Helper()
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	changed := bytes.Replace(data, []byte(from), []byte(to), 1)
	if bytes.Equal(changed, data) {
		t.Fatalf("%s has no %q", name, from)
	}
	if err := os.WriteFile(name, changed, 0o644); err != nil {
		t.Fatal(err)
	}
}

func ranInto(t testing.TB, studyDir, results string, o Options) *Outcome {
	t.Helper()
	if o.fs == nil {
		o.fs = openUnsynced
	}
	outcome, err := Run(context.Background(), studyDir, results, o)
	if err != nil {
		t.Fatal(err)
	}
	return outcome
}

// sameResults holds every file of two results folders to the same bytes.
func sameResults(t testing.TB, a, b string) {
	t.Helper()
	x, y := contentOfFiles(t, a), contentOfFiles(t, b)
	for name := range x {
		if x[name] != y[name] {
			t.Errorf("%s differs", name)
		}
	}
	if len(x) != len(y) {
		t.Errorf("%d files and %d", len(x), len(y))
	}
}

// contentOfFiles reads a results folder; of the manifest the content digest is
// taken, since its times differ.
func contentOfFiles(t testing.TB, dir string) map[string]string {
	t.Helper()
	files := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		name, _ := filepath.Rel(dir, path)
		files[name] = string(data)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	m, err := ReadManifest(dir)
	if err != nil {
		t.Fatal(err)
	}
	files[ManifestName] = m.Content
	return files
}

// stopAfter makes options that interrupt a run once n recordings are written.
func stopAfter(n int) (context.Context, Options) {
	ctx, cancel := context.WithCancel(context.Background())
	return ctx, Options{Jobs: 2, Progress: func(p Progress) {
		if p.Done >= n {
			cancel()
		}
	}}
}

// What a kill leaves of a file that was being written goes with the next run,
// whatever folder it lies in.
func TestPartialFilesAreSweptWhereverFilesAreWritten(t *testing.T) {
	t.Parallel()
	studyDir, results := smallStudy(t, 20), filepath.Join(t.TempDir(), "results")
	ranInto(t, studyDir, results, Options{})
	whole := contentOfFiles(t, results)
	folders := 0
	err := filepath.WalkDir(results, func(name string, d fs.DirEntry, err error) error {
		if err == nil && d.IsDir() {
			folders++
			err = os.WriteFile(filepath.Join(name, ".left.partial-1"), nil, 0o600)
		}
		return err
	})
	if err != nil || folders < 5 {
		t.Fatal(folders, err)
	}
	ranInto(t, studyDir, results, Options{Replace: true})
	if again := contentOfFiles(t, results); len(again) != len(whole) {
		t.Errorf("%d files after the next run, %d before", len(again), len(whole))
	}
}

// A run that is interrupted says what it keeps; the next one computes the rest
// alone and ends with the same bytes as one that was never interrupted.
func TestInterruptedRunGoesOn(t *testing.T) {
	t.Parallel()
	studyDir := unreleased(t, smallStudy(t, 300))
	whole, cut := filepath.Join(t.TempDir(), "whole"), filepath.Join(t.TempDir(), "cut")
	ranInto(t, studyDir, whole, Options{})
	ctx, o := stopAfter(1)
	_, err := Run(ctx, studyDir, cut, o)
	var stopped *StoppedError
	if !errors.As(err, &stopped) || !errors.Is(err, context.Canceled) || stopped.Kept < chunkSubjects || stopped.Kept == stopped.Of {
		t.Fatalf("%+v", err)
	}
	if !strings.Contains(err.Error(), fmt.Sprintf("%d of %d subjects are kept", stopped.Kept, stopped.Of)) {
		t.Error(err)
	}
	if _, err := ReadManifest(cut); err == nil {
		t.Fatal("an interrupted run is not sealed")
	}
	if outcome := ranInto(t, studyDir, cut, Options{}); outcome.Taken != stopped.Kept {
		t.Errorf("%d subjects taken, %d kept", outcome.Taken, stopped.Kept)
	}
	sameResults(t, whole, cut)
}

// What changes is done again as far as it reaches, and no further.
func TestChangesReachWhatTheyReach(t *testing.T) {
	t.Parallel()
	studyDir := unreleased(t, smallStudy(t, 66))
	results := filepath.Join(t.TempDir(), "results")
	var alone bool // hold the next one to a run from the start
	again := func(what string, computed int) {
		t.Helper()
		outcome := ranInto(t, studyDir, results, Options{KeepWork: true, Replace: true})
		if n := outcome.Manifest.Counts.Subjects.Found - outcome.Taken; n != computed {
			t.Errorf("%s: %d subjects computed, expected %d", what, n, computed)
		}
		if !alone {
			return
		}
		alone = false
		fresh := filepath.Join(t.TempDir(), "fresh")
		ranInto(t, studyDir, fresh, Options{})
		if m, err := ReadManifest(fresh); err != nil || m.Content != outcome.Manifest.Content {
			t.Errorf("%s: not what a run from the start gives: %v", what, err)
		}
	}
	edit := func(name, from, to string) { t.Helper(); edited(t, filepath.Join(studyDir, name), from, to) }
	all := ranInto(t, studyDir, results, Options{KeepWork: true}).Manifest.Counts.Subjects.Found
	again("nothing", 0)
	edit("study.yaml", "min_cell: 10", "min_cell: 12")
	again("a setting of the release", 0)
	edit("study.yaml", "visit: first", "visit: last")
	again("a setting of the statistics", 0)
	edit("study.yaml", "drop_first_of_three", "all")
	alone = true
	again("a setting of the cuff", all)
	data, err := os.ReadFile(filepath.Join(studyDir, "recordings.csv"))
	if err != nil {
		t.Fatal(err)
	}
	row := strings.Split(strings.Split(string(data), "\n")[1], ",")
	file := filepath.Join(studyDir, row[3])
	now, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, now[:len(now)*3/4], 0o644); err != nil { // a valid gzip no more, or fewer samples
		t.Fatal(err)
	}
	alone = true
	again("one recording", 1)
	if err := os.Remove(file); err != nil {
		t.Fatal(err)
	}
	alone = true
	again("one recording gone", 1)
	again("still gone", 0)
	if err := os.WriteFile(file, now, 0o644); err != nil {
		t.Fatal(err)
	}
	again("there again", 0) // what was computed from it before still holds
	if err := os.Chtimes(file, time.Unix(0, 0), time.Unix(0, 0)); err != nil {
		t.Fatal(err)
	}
	again("touched", 0)
	subjects, err := os.ReadFile(filepath.Join(studyDir, "subjects.csv"))
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.SplitAfter(string(subjects), "\n")
	lines[1], lines[2] = lines[2], lines[1]
	if err := os.WriteFile(filepath.Join(studyDir, "subjects.csv"), []byte(strings.Join(lines, "")), 0o644); err != nil {
		t.Fatal(err)
	}
	alone = true
	again("two rows change places", 0)
}

// A sealed file that is damaged is as if it were not there.
func TestDamagedWorkIsDoneAgain(t *testing.T) {
	t.Parallel()
	studyDir := unreleased(t, smallStudy(t, 70))
	whole, results := filepath.Join(t.TempDir(), "whole"), filepath.Join(t.TempDir(), "results")
	found := ranInto(t, studyDir, whole, Options{}).Manifest.Counts.Subjects.Found
	ranInto(t, studyDir, results, Options{KeepWork: true})
	names, err := filepath.Glob(filepath.Join(results, workFolder, "*"+sealedEnding))
	if err != nil || len(names) != 2 {
		t.Fatal(names, err)
	}
	for i, name := range names {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if i == 0 {
			data[len(data)/3] ^= 4 // one part
		} else {
			data = data[:len(data)-1] // the whole file
		}
		if err := os.WriteFile(name, data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	outcome := ranInto(t, studyDir, results, Options{Replace: true})
	if outcome.Taken == 0 || outcome.Taken == found {
		t.Errorf("%d of %d subjects taken", outcome.Taken, found)
	}
	sameResults(t, whole, results)
}

// What is kept of a run that hides who people are names nobody and no file.
func TestWorkHidesWhoIsHidden(t *testing.T) {
	t.Parallel()
	studyDir, results := unreleased(t, smallStudy(t, 200)), filepath.Join(t.TempDir(), "results")
	name := filepath.Join(studyDir, study.SettingsFile)
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, append(data, "privacy: {ids: renumber}\n"...), 0o644); err != nil {
		t.Fatal(err)
	}
	ctx, o := stopAfter(1)
	if _, err := Run(ctx, studyDir, results, o); !errors.Is(err, context.Canceled) {
		t.Fatal(err)
	}
	kept := 0
	err = filepath.WalkDir(results, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		if bytes.Contains(data, []byte("TQ0")) || bytes.Contains(data, []byte("waves/")) {
			t.Errorf("%s names a person or a file of one", path)
		}
		kept += len(data)
		return err
	})
	if err != nil || kept < 100_000 {
		t.Errorf("%d bytes kept: %v", kept, err)
	}
	if outcome := ranInto(t, studyDir, results, Options{}); outcome.Taken == 0 {
		t.Error("nothing was taken from what was kept")
	}
}
