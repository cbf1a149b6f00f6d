package main

import (
	"bytes"
	"context"
	"errors"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"tonocohort/pipeline"
	"tonocohort/pipeline/simulate"
	"tonocohort/testdata"
)

// program prepares the program itself, in a process of its own.
func program(t *testing.T, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	// The test binary is the program where it goes by the program's name.
	name := filepath.Join(t.TempDir(), "tonocohort")
	if err := os.Symlink(self, name); err != nil {
		t.Fatal(err)
	}
	return exec.Command(name, args...)
}

func simulated(t *testing.T, subjects int) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "study")
	if err := simulate.Write(dir, filepath.Join(t.TempDir(), "truth.csv"), simulate.Options{Subjects: subjects, Seed: "quay"}); err != nil {
		t.Fatal(err)
	}
	// A short plan, so that most of a run is spent on the recordings.
	name := filepath.Join(dir, "study.yaml")
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	before, rest, ok := strings.Cut(string(data), "analysis:\n")
	_, after, found := strings.Cut(rest, "disclosure:")
	if !ok || !found {
		t.Fatal("study.yaml has changed its form")
	}
	const plan = "analysis: {visit: first, variables: [central_pp_mmhg], strata: [sex], models: [], compare_with: [], centiles: []}\n"
	if err := os.WriteFile(name, []byte(before+plan+"disclosure:"+after), 0o644); err != nil {
		t.Fatal(err)
	}
	return dir
}

// many is how often a test of chance is repeated: few in go test, as the
// environment says in a nightly run.
func many(t *testing.T, variable string, few int) int {
	t.Helper()
	text := os.Getenv(variable)
	if text == "" {
		return few
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < few {
		t.Fatalf("%s=%s: a number of at least %d", variable, text, few)
	}
	return n
}

// verified holds a folder to what it says of itself: sealed and valid, or not
// sealed and said so.
func verified(t *testing.T, results string) (sealed bool) {
	t.Helper()
	if _, err := os.Stat(filepath.Join(results, pipeline.ManifestName)); err != nil {
		if _, _, err := pipeline.Verify(context.Background(), results); err == nil || !strings.Contains(err.Error(), "not sealed") && !errors.Is(err, pipeline.ErrNoFolder) {
			t.Errorf("an unsealed folder is taken for %v", err)
		}
		return false
	}
	if _, differences, err := pipeline.Verify(context.Background(), results); err != nil || len(differences) > 0 {
		t.Errorf("sealed, but %v %v", differences, err)
	}
	return true
}

// A run that is killed at random moments, and started again each time, ends with
// the bytes of a run that was left alone; nothing is lost and nothing stands
// twice. TONOCOHORT_KILLS says how often.
func TestKilledAtRandomMoments(t *testing.T) {
	t.Parallel()
	few, subjects, recordings := 12, 290, 500
	if testdata.UnderRaceDetector() {
		few, subjects, recordings = 3, 90, 150
	}
	kills := many(t, "TONOCOHORT_KILLS", few)
	studyDir := simulated(t, subjects)
	whole, cut := filepath.Join(t.TempDir(), "whole"), filepath.Join(t.TempDir(), "cut")
	started := time.Now()
	if out, err := program(t, "run", studyDir, "--out", whole, "--quiet").CombinedOutput(); statusOf(err) != "3" {
		t.Fatalf("%v %s", err, out)
	}
	takes := time.Since(started)
	want, err := pipeline.ReadManifest(whole)
	if err != nil {
		t.Fatal(err)
	}
	if want.Counts.Recordings.Found < recordings {
		t.Fatalf("only %d recordings", want.Counts.Recordings.Found)
	}
	random := rand.New(rand.NewPCG(1, 2))
	finished, killed := 0, 0
	for killed < kills {
		cmd := program(t, "run", studyDir, "--out", cut, "--quiet", "--jobs", strconv.Itoa(1+random.IntN(4)))
		var stderr bytes.Buffer
		cmd.Stderr = &stderr
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		timer := time.AfterFunc(time.Duration(random.Int64N(int64(takes))), func() { cmd.Process.Signal(syscall.SIGKILL) })
		err := cmd.Wait()
		timer.Stop()
		sealed := verified(t, cut)
		switch {
		case cmd.ProcessState.ExitCode() == -1:
			killed++
		case statusOf(err) != "3" || !sealed:
			t.Fatalf("after %d kills: %v %s", killed, err, &stderr)
		}
		if sealed {
			finished++
			sameAsWhole(t, whole, cut)
			if err := os.RemoveAll(cut); err != nil {
				t.Fatal(err)
			}
		}
	}
	if out, err := program(t, "run", studyDir, "--out", cut, "--quiet").CombinedOutput(); statusOf(err) != "3" {
		t.Fatalf("%v %s", err, out)
	}
	sameAsWhole(t, whole, cut)
	t.Logf("%d kills; %d runs came to their end in between", killed, finished)
}

// sameAsWhole holds every file but the manifest's times to the same bytes.
func sameAsWhole(t *testing.T, whole, cut string) {
	t.Helper()
	c, err := pipeline.Compare(context.Background(), whole, cut, pipeline.CompareOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range c.Files {
		if f.Verdict != pipeline.SameBytes {
			t.Error(f)
		}
	}
	a, errA := pipeline.ReadManifest(whole)
	b, errB := pipeline.ReadManifest(cut)
	if errA != nil || errB != nil || a.Content != b.Content {
		t.Errorf("the manifests differ: %v %v", errA, errB)
	}
}

// Ctrl-C ends a run within a second, with its own exit status; what is kept is
// said, and true. The second is what a person waits, on a machine that others use
// too: much longer only where the run goes on with its work.
func TestInterrupted(t *testing.T) {
	patience, subjects := time.Second, 800
	if testdata.UnderRaceDetector() {
		patience, subjects = 10*time.Second, 250
	}
	studyDir := simulated(t, subjects)
	results := filepath.Join(t.TempDir(), "results")
	for attempt := 1; ; attempt++ {
		cmd := program(t, "run", studyDir, "--out", results, "--quiet")
		var stderr bytes.Buffer
		cmd.Stderr = &stderr
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		for range 2000 { // until something is sealed
			if found, _ := filepath.Glob(filepath.Join(results, ".work", "*.sealed")); len(found) > 0 {
				break
			}
			time.Sleep(time.Millisecond)
		}
		at := time.Now()
		if err := cmd.Process.Signal(os.Interrupt); err != nil {
			t.Fatal(err)
		}
		err := cmd.Wait()
		took := time.Since(at)
		if statusOf(err) == "3" && attempt < 5 { // it was done before
			os.RemoveAll(results)
			continue
		}
		if statusOf(err) != "130" || took > patience || !strings.Contains(stderr.String(), "kept") {
			t.Errorf("exit %s after %v: %s", statusOf(err), took, &stderr)
		}
		break
	}
	if verified(t, results) {
		t.Fatal("sealed")
	}
	out, err := program(t, "run", studyDir, "--out", results).CombinedOutput()
	if statusOf(err) != "3" || !strings.Contains(string(out), "subjects were computed by an earlier run and still hold") {
		t.Errorf("%v %s", err, out)
	}
	if _, err := os.Stat(filepath.Join(results, ".work")); !os.IsNotExist(err) {
		t.Error("the work folder stays behind")
	}
}

// Two runs cannot meet in one folder: the second is refused while the first goes
// on unharmed. The first is held as soon as it has the folder, so that it cannot
// end before the second begins.
func TestTwoRunsInOneFolder(t *testing.T) {
	subjects := 200
	if testdata.UnderRaceDetector() {
		subjects = 60
	}
	studyDir := simulated(t, subjects)
	results := filepath.Join(t.TempDir(), "results")
	first := program(t, "run", studyDir, "--out", results, "--quiet")
	if err := first.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- first.Wait() }()
	for locked := false; !locked; {
		select {
		case err := <-ended:
			t.Fatalf("the first run ended before it was seen to hold the folder: %v", err)
		case <-time.After(time.Millisecond):
			_, err := os.Stat(filepath.Join(results, ".work")) // the lock's file is there a moment before the lock
			locked = err == nil
		}
	}
	if err := first.Process.Signal(syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	out, second := program(t, "run", studyDir, "--out", results, "--quiet").CombinedOutput()
	if err := first.Process.Signal(syscall.SIGCONT); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(out), "another run is writing into this folder") || statusOf(second) != "1" {
		t.Errorf("the second run was not refused: exit %s\n%s", statusOf(second), out)
	}
	if err := <-ended; statusOf(err) != "3" {
		t.Errorf("the first run: %v", err)
	}
	if !verified(t, results) {
		t.Error("the results of the first run are not sound")
	}
}
