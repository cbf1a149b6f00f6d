package main

import (
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// watched tells which of some files were opened or read, by whatever process and
// name, as the kernel sees it (inotify(7)).
type watched struct {
	t     *testing.T
	fd    int
	files map[int32]string
}

func watch(t *testing.T, files ...string) *watched {
	t.Helper()
	fd, err := syscall.InotifyInit1(syscall.IN_NONBLOCK | syscall.IN_CLOEXEC)
	if err != nil {
		t.Skip("no inotify here:", err)
	}
	t.Cleanup(func() { syscall.Close(fd) })
	w := &watched{t: t, fd: fd, files: map[int32]string{}}
	for _, file := range files {
		id, err := syscall.InotifyAddWatch(fd, file, syscall.IN_OPEN|syscall.IN_ACCESS|syscall.IN_MODIFY)
		if err != nil {
			t.Fatal(file, err)
		}
		w.files[int32(id)] = file
	}
	return w
}

// opened lists what was opened since the last call.
func (w *watched) opened() map[string]bool {
	w.t.Helper()
	seen, buf := map[string]bool{}, make([]byte, 64<<10)
	for {
		n, err := syscall.Read(w.fd, buf)
		if errors.Is(err, syscall.EAGAIN) {
			return seen
		}
		if err != nil {
			w.t.Fatal(err)
		}
		for i := 0; i+syscall.SizeofInotifyEvent <= n; {
			seen[w.files[int32(binary.NativeEndian.Uint32(buf[i:]))]] = true
			i += syscall.SizeofInotifyEvent + int(binary.NativeEndian.Uint32(buf[i+12:]))
		}
	}
}

// No command that knows of a study opens a file of a person who has withdrawn;
// the file of a neighbour shows that the kernel would tell.
func TestFilesOfTheWithdrawnAreNotOpened(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "study")
	canaryFolder(t, dir, "")
	put := func(name, text string, more bool) string {
		path := filepath.Join(dir, name)
		mode := os.O_CREATE | os.O_TRUNC
		if more {
			mode = os.O_APPEND
		}
		f, err := os.OpenFile(path, os.O_WRONLY|mode, 0o666)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if _, err := f.WriteString(text); err != nil {
			t.Fatal(err)
		}
		return path
	}
	gone := []string{filepath.Join(dir, "CanaryFolder/CanaryGone.csv")}
	for i, c := range []struct{ file, format, text string }{
		{"gone.edf", "edf", "0"}, {"gone.hea", "wfdb", "gone 1 100\ngone.dat 16\n"}, {"gone_physio.tsv.gz", "bids", "x"}, {"gone.parquet", "parquet", "PAR1"},
		{"gone.csv.gz", "csv", ""},
	} {
		gone = append(gone, put(c.file, c.text, false))
		put("subjects.csv", fmt.Sprintf("Gone%d,male,,,,\n", i), true)
		put("visits.csv", fmt.Sprintf("Gone%d,v1,50,\n", i), true)
		put("recordings.csv", fmt.Sprintf("GoneRecording%d,Gone%d,v1,%s,%s,,,\n", i, i, c.file, c.format), true)
		put("withdrawn.csv", fmt.Sprintf("Gone%d,2020-01-01\n", i), true)
	}
	gone = append(gone, put("gone.dat", "xx", false), put("gone_physio.json", "{}", false))
	neighbour := filepath.Join(dir, "CanaryFolder/CanaryFile00.csv")
	w := watch(t, append([]string{neighbour}, gone...)...)
	results := filepath.Join(t.TempDir(), "results")
	shards := t.TempDir()
	for _, c := range []struct {
		args     string
		statuses string // that say the command did its work
		reads    bool   // the neighbour is read
	}{
		{"check " + dir, "0 3", true},
		{"check --json " + dir, "0 3", true},
		{"run " + dir + " --preview --out " + results, "0 3", false},
		{"run " + dir + " --out " + results, "3", true},
		{"run " + dir + " --shard 1/2 --out " + shards + "/1", "0 3", false}, // one of the two has the neighbour
		{"run " + dir + " --shard 2/2 --out " + shards + "/2", "0 3", false},
		{"merge " + shards + "/1 " + shards + "/2 --out " + shards + "/both", "0 3", false},
		{"sheets " + results + " --study " + dir + " --out " + shards + "/book", "0", true},
		{"rerun " + results + " --study " + dir, "0", true},
		{"rerun " + results + " --study " + dir + " --sample 90%", "0", false},
		{"package " + results + " --as bagit --restricted --out " + shards + "/bag", "0", false},
		{"verify " + results, "0", false},
		{"init " + shards + "/drafted --from csv " + dir, "2", false},
	} {
		out, err := program(t, strings.Fields(c.args)...).CombinedOutput()
		status := "0"
		if err != nil {
			status = statusOf(err)
		}
		if !strings.Contains(" "+c.statuses+" ", " "+status+" ") {
			t.Errorf("%s: status %s\n%s", c.args, status, out)
		}
		opened := w.opened()
		if c.reads && !opened[neighbour] {
			t.Errorf("%s: nobody has opened the neighbour: the watch does not work", c.args)
		}
		delete(opened, neighbour)
		for file := range opened {
			t.Errorf("%s: opened %s", c.args, filepath.Base(file))
		}
		for _, file := range gone {
			if strings.Contains(strings.ToLower(string(out)), strings.ToLower(filepath.Base(file))) {
				t.Errorf("%s: names %s:\n%s", c.args, filepath.Base(file), out)
			}
		}
	}
	if _, err := os.Stat(filepath.Join(results, "tables", "recordings.parquet")); err != nil {
		t.Error(err)
	}
	if text, err := os.ReadFile(filepath.Join(results, "manifest.json")); err != nil || strings.Contains(string(text), "gone") {
		t.Errorf("the manifest names a file of the withdrawn (%v)", err)
	}
}
