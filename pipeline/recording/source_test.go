package recording_test

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"tonocohort/pipeline/recording"
	"tonocohort/schema"
)

// files is a study folder in memory.
type files map[string][]byte

func (f files) ReadFile(name string, buf []byte, limit int64) ([]byte, string, error) {
	data, ok := f[name]
	if !ok {
		return nil, "", missing(name)
	}
	if int64(len(data)) > limit {
		return nil, "", fmt.Errorf("more than %d bytes", limit)
	}
	sum := sha256.Sum256(data)
	return append(buf[:0], data...), hex.EncodeToString(sum[:]), nil
}

func (f files) Names(dir string) ([]string, error) {
	found := map[string]bool{}
	for name := range f {
		if dir != "." {
			below, inside := strings.CutPrefix(name, dir+"/")
			if !inside {
				continue
			}
			name = below
		}
		first, _, _ := strings.Cut(name, "/")
		found[first] = true
	}
	return slices.Sorted(maps.Keys(found)), nil
}

// folder is a study folder on disk.
type folder string

func (f folder) ReadFile(name string, buf []byte, limit int64) ([]byte, string, error) {
	data, err := os.ReadFile(filepath.Join(string(f), filepath.FromSlash(name)))
	if err != nil {
		return nil, "", missing(name)
	}
	return files{name: data}.ReadFile(name, buf, limit)
}

func (f folder) Names(dir string) ([]string, error) {
	entries, err := os.ReadDir(filepath.Join(string(f), filepath.FromSlash(dir)))
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names, err
}

// missing is an error that keeps its code on the way through a reader.
type missing string

func (m missing) Error() string { return string(m) + ": there is no such file" }

func (m missing) Issue(size schema.Size) schema.Issue {
	return schema.Issue{Size: size, File: string(m), Code: "file_missing", Message: "there is no such file"}
}

// anyRate lets a test read signals that are no pulse waves.
var anyRate = recording.Options{LowestHz: 1e-9, HighestHz: 1e9}

// read reads one recording or fails the test.
func read(t testing.TB, source recording.Source, o recording.Options, q recording.Request) recording.Recording {
	t.Helper()
	rec, err := recording.NewReader(source, o).Read(q)
	if err != nil {
		t.Fatalf("%+v: %v", q, err)
	}
	return rec
}

// refuse reads what must be refused and returns the Issue.
func refuse(t testing.TB, source recording.Source, o recording.Options, q recording.Request) *schema.Issue {
	t.Helper()
	rec, err := recording.NewReader(source, o).Read(q)
	var issue *schema.Issue
	if !errors.As(err, &issue) {
		t.Fatalf("%+v: want an Issue, got %v with %d samples", q, err, len(rec.Samples))
	}
	if issue.Size != schema.SizeRecording || issue.Code == "" || issue.File == "" || issue.Message == "" || issue.Hint == "" {
		t.Errorf("an Issue without size, code, file, message or way out: %+v", issue)
	}
	if issue.Code == recording.CodeReaderPanic {
		t.Errorf("a panic: %v", issue)
	}
	return issue
}

// same compares samples; NaN equals NaN, and -0 is not 0.
func same(t testing.TB, what string, got, want []float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s: %d samples, want %d", what, len(got), len(want))
	}
	for i := range got {
		if math.Float64bits(got[i]) != math.Float64bits(want[i]) && !(math.IsNaN(got[i]) && math.IsNaN(want[i])) {
			t.Fatalf("%s: sample %d is %v, want %v", what, i, got[i], want[i])
		}
	}
}

func noteCodes(rec recording.Recording) []string {
	codes := []string{}
	for _, n := range rec.Notes {
		codes = append(codes, n.Code)
	}
	return codes
}

// issueCode gives the code of an Issue, "" for no error.
func issueCode(err error) string {
	var issue *schema.Issue
	if errors.As(err, &issue) {
		return issue.Code
	}
	if err != nil {
		return err.Error()
	}
	return ""
}
