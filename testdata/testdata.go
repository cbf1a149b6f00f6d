// Package testdata finds the files that tests read: those that stand here and
// the bulky outside recordings that a checkout may or may not have beside it.
package testdata

import (
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strconv"
	"testing"
)

// Path returns the path of a file under testdata/ of the module; the test
// fails where it is absent.
func Path(t testing.TB, name string) string {
	t.Helper()
	path := filepath.Join(root(t), "testdata", filepath.FromSlash(name))
	if _, err := os.Stat(path); err != nil {
		t.Fatalf("testdata: %v", err)
	}
	return path
}

// External returns the path of a file or folder of the outside recordings: in
// the folder named by TONOCOHORT_EXTERNAL, else in a folder "shared" beside
// the checkout. The test is skipped where it is absent, unless
// TONOCOHORT_EXTERNAL is set: who names the folder wants to see it used.
func External(t testing.TB, name string) string {
	t.Helper()
	base, named := os.LookupEnv("TONOCOHORT_EXTERNAL")
	if !named {
		base = filepath.Join(root(t), "..", "shared")
	}
	path := filepath.Join(base, filepath.FromSlash(name))
	if _, err := os.Stat(path); err != nil {
		if named {
			t.Fatalf("outside recordings: %v", err)
		}
		t.Skipf("outside recordings are not here (%s); set TONOCOHORT_EXTERNAL to their folder", name)
	}
	return path
}

// Full is the number of replicates from which on a simulated coverage is held to
// its narrow limits.
const Full = 2000

// Replicates returns how many samples a test of coverage simulates: few, so that
// the test stays short, or the number in TONOCOHORT_COVERAGE; full tells whether
// they are enough for its narrow limits. All of them, with their figures:
//
//	.ci/coverage
func Replicates(t testing.TB, few int) (count int, full bool) {
	t.Helper()
	text, given := os.LookupEnv("TONOCOHORT_COVERAGE")
	if !given {
		return few, false
	}
	count, err := strconv.Atoi(text)
	if err != nil || count < 1 {
		t.Fatalf("TONOCOHORT_COVERAGE: %q is no number of replicates", text)
	}
	return count, count >= Full
}

// root walks up from the working directory to the folder of go.mod.
func root(t testing.TB) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		parent := filepath.Dir(dir)
		if parent == dir {
			t.Fatal("testdata: no go.mod above the working directory")
		}
		dir = parent
	}
}

// UnderRaceDetector tells whether the test runs under the race detector, which makes
// it some ten times slower: what is repeated for chance's sake is repeated less there,
// since the races are in the first of them as in the last.
func UnderRaceDetector() bool {
	info, ok := debug.ReadBuildInfo()
	return ok && slices.Contains(info.Settings, debug.BuildSetting{Key: "-race", Value: "true"})
}

// Few is a list of cases, and under the race detector every fifth of it: of arithmetic
// in one goroutine, or in goroutines that every case has alike.
func Few[T any](cases []T) []T {
	if !UnderRaceDetector() {
		return cases
	}
	var few []T
	for i := 0; i < len(cases); i += 5 {
		few = append(few, cases[i])
	}
	return few
}
