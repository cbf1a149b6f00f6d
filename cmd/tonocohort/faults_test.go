package main

import (
	"context"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"tonocohort/pipeline"
)

// ran runs the program and gives its exit status and what it said.
func ran(t *testing.T, args ...string) (status, said string) {
	t.Helper()
	out, err := program(t, args...).CombinedOutput()
	return exitOf(err), string(out)
}

func exitOf(err error) string {
	if err == nil {
		return "0"
	}
	return statusOf(err)
}

// wholeRun runs a study where nothing is in the way.
func wholeRun(t *testing.T, studyDir string) string {
	t.Helper()
	whole := filepath.Join(t.TempDir(), "whole")
	if status, said := ran(t, "run", studyDir, "--out", whole, "--quiet"); status != "3" {
		t.Fatalf("%s %s", status, said)
	}
	return whole
}

// mounted mounts a file system in memory; the test is skipped where that is not
// permitted.
func mounted(t *testing.T, size string) string {
	t.Helper()
	dir := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size="+size, "tmpfs", dir).CombinedOutput(); err != nil {
		t.Skipf("mounting is not permitted here: %s", out)
	}
	t.Cleanup(func() {
		if out, err := exec.Command("umount", dir).CombinedOutput(); err != nil {
			t.Errorf("%s", out)
		}
	})
	return dir
}

func remount(t *testing.T, dir, how string) {
	t.Helper()
	if out, err := exec.Command("mount", "-o", "remount,"+how, dir).CombinedOutput(); err != nil {
		t.Fatalf("%s", out)
	}
}

// A disk that is full stops the run, unsealed and said so; with room it goes on
// and ends with the same bytes.
func TestDiskFull(t *testing.T) {
	t.Parallel()
	studyDir := simulated(t, 130)
	whole := wholeRun(t, studyDir)
	for _, size := range []string{"64k", "400k", "1500k", "2500k"} {
		disk := mounted(t, size)
		results := filepath.Join(disk, "results")
		status, said := ran(t, "run", studyDir, "--out", results, "--quiet")
		if status != "1" || !strings.Contains(said, "no space left on device") {
			t.Errorf("%s: %s %s", size, status, said)
		}
		if verified(t, results) {
			t.Errorf("%s: sealed", size)
		}
		remount(t, disk, "size=64m")
		if status, said := ran(t, "run", studyDir, "--out", results, "--quiet"); status != "3" {
			t.Errorf("%s, with room: %s %s", size, status, said)
		}
		sameAsWhole(t, whole, results)
	}
}

// A target that cannot be written is said to be so, and nothing in it changes.
func TestReadOnlyTarget(t *testing.T) {
	studyDir := simulated(t, 20)
	disk := mounted(t, "64m")
	results := filepath.Join(disk, "results")
	if status, said := ran(t, "run", studyDir, "--out", results, "--quiet"); status != "3" {
		t.Fatalf("%s %s", status, said)
	}
	remount(t, disk, "ro")
	for _, args := range [][]string{{"run", studyDir, "--out", results, "--replace"}, {"run", studyDir, "--out", filepath.Join(disk, "other")}} {
		if status, said := ran(t, args...); status != "1" || !strings.Contains(said, "read-only file system") {
			t.Errorf("%v: %s %s", args, status, said)
		}
	}
	if !verified(t, results) {
		t.Error("the sealed run was touched")
	}
	if status, said := ran(t, "verify", results); status != "0" {
		t.Errorf("what cannot be written can be verified: %s %s", status, said)
	}
}

// What the system does not permit costs the recording it concerns; a table ends
// the run before anything is written. The program runs as a user who may do
// little.
func TestPermissionDenied(t *testing.T) {
	t.Parallel()
	studyDir := simulated(t, 20)
	dir, err := os.MkdirTemp("", "tonocohort-permission")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	study := filepath.Join(dir, "study")
	if err := os.CopyFS(study, os.DirFS(studyDir)); err != nil {
		t.Fatal(err)
	}
	waves, err := filepath.Glob(filepath.Join(study, "waves", "*"))
	if err != nil || len(waves) == 0 {
		t.Fatal(err)
	}
	if err := os.Chmod(waves[0], 0); err != nil {
		t.Fatal(err)
	}
	as := asNobody(t, dir)
	cmd := as("run", study, "--out", filepath.Join(dir, "results"), "--quiet")
	if out, err := cmd.CombinedOutput(); exitOf(err) != "3" {
		t.Fatalf("%v %s", err, out)
	}
	listed, err := as("export", filepath.Join(dir, "results"), "exclusions").CombinedOutput()
	id, _, _ := strings.Cut(filepath.Base(waves[0]), ".")
	if err != nil || !strings.Contains(string(listed), id+",recordings,permission_denied") {
		t.Errorf("%v %s", err, listed)
	}
	if err := os.Chmod(filepath.Join(study, "cuff.csv"), 0); err != nil {
		t.Fatal(err)
	}
	if out, err := as("run", study, "--out", filepath.Join(dir, "other")).CombinedOutput(); exitOf(err) != "4" || !strings.Contains(string(out), "cuff.csv") {
		t.Errorf("%v %s", err, out)
	}
	if _, err := os.Stat(filepath.Join(dir, "other")); !os.IsNotExist(err) {
		t.Error("something was written")
	}
	if out, err := as("run", study, "--out", filepath.Join(dir, "closed", "results")).CombinedOutput(); exitOf(err) == "0" {
		t.Errorf("%s", out)
	}
}

// asNobody gives the program as a user without rights, where the test runs as
// root; dir becomes this user's.
func asNobody(t *testing.T, dir string) func(args ...string) *exec.Cmd {
	t.Helper()
	if os.Getuid() != 0 {
		return func(args ...string) *exec.Cmd { return program(t, args...) }
	}
	const nobody = 65534
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(dir, "tonocohort")
	from, err := os.Open(self)
	if err != nil {
		t.Fatal(err)
	}
	defer from.Close()
	to, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE, 0o755)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.Copy(to, from); err != nil {
		t.Fatal(err)
	}
	if err := to.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.Chown(dir, nobody, nobody); err != nil {
		t.Fatal(err)
	}
	return func(args ...string) *exec.Cmd {
		cmd := exec.Command(name, args...)
		cmd.Dir = dir
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}}
		return cmd
	}
}

// With few file handles the run ends as ever, or stops and says why; no
// recording is left out for it.
func TestFewFileHandles(t *testing.T) {
	t.Parallel()
	studyDir := simulated(t, 70)
	whole := wholeRun(t, studyDir)
	finished := 0
	for _, handles := range []int{12, 17, 22, 27, 32, 64} {
		results := filepath.Join(t.TempDir(), "results")
		cmd := program(t, "run", studyDir, "--out", results, "--quiet", "--jobs", "8")
		limited := exec.Command("sh", "-c", "ulimit -n "+strconv.Itoa(handles)+"; exec \"$0\" \"$@\"")
		limited.Args = append(limited.Args, append([]string{cmd.Path}, cmd.Args[1:]...)...)
		out, err := limited.CombinedOutput()
		switch exitOf(err) {
		case "3":
			finished++
		case "1":
			if !strings.Contains(string(out), "too many open files") || verified(t, results) {
				t.Errorf("%d handles: %s", handles, out)
			}
			if status, said := ran(t, "run", studyDir, "--out", results, "--quiet"); status != "3" {
				t.Errorf("%d handles, then many: %s %s", handles, status, said)
			}
		default:
			t.Errorf("%d handles: %v %s", handles, err, out)
			continue
		}
		sameAsWhole(t, whole, results)
	}
	if finished == 0 {
		t.Error("64 handles are not enough")
	}
}

// Inputs that grow, vanish and come back while they are read cost the recordings
// they concern and no others; the next run, of a folder at rest, is as any.
func TestInputsThatMove(t *testing.T) {
	t.Parallel()
	studyDir := simulated(t, 150)
	whole := wholeRun(t, studyDir)
	waves, err := filepath.Glob(filepath.Join(studyDir, "waves", "*"))
	if err != nil || len(waves) < 100 {
		t.Fatal(err)
	}
	kept := map[string][]byte{}
	moving := waves[20:60]
	for _, name := range moving {
		if kept[name], err = os.ReadFile(name); err != nil {
			t.Fatal(err)
		}
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		for i := 0; ctx.Err() == nil; i++ {
			name := moving[i%len(moving)]
			switch i % 3 {
			case 0:
				if f, err := os.OpenFile(name, os.O_APPEND|os.O_WRONLY, 0); err == nil {
					f.WriteString("1\n")
					f.Close()
				}
			case 1:
				os.Remove(name)
			default:
				os.WriteFile(name, kept[name], 0o644)
			}
			time.Sleep(200 * time.Microsecond)
		}
	}()
	results := filepath.Join(t.TempDir(), "results")
	status, said := ran(t, "run", studyDir, "--out", results, "--quiet", "--keep-work")
	stop()
	<-done
	if status != "3" || strings.Contains(said, "panic") || !verified(t, results) {
		t.Errorf("%s %s", status, said)
	}
	m, errM := pipeline.ReadManifest(results)
	w, errW := pipeline.ReadManifest(whole)
	if errM != nil || errW != nil || m.Counts.Recordings.Found != w.Counts.Recordings.Found || w.Counts.Recordings.Used-m.Counts.Recordings.Used > len(moving) {
		t.Errorf("%+v, at rest %+v", m.Counts.Recordings, w.Counts.Recordings)
	}
	for name, data := range kept {
		if err := os.WriteFile(name, data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if status, said := ran(t, "run", studyDir, "--out", results, "--quiet", "--replace"); status != "3" {
		t.Errorf("%s %s", status, said)
	}
	sameAsWhole(t, whole, results)
}
