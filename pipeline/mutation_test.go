package pipeline

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"testing"

	"tonocohort/pipeline/study"
	"tonocohort/testdata"
)

// mutations is how many mutated files a test tries: 200 in go test, fewer under the
// race detector, TONOCOHORT_MUTATIONS in a nightly run.
func mutations(t *testing.T) int {
	t.Helper()
	text := os.Getenv("TONOCOHORT_MUTATIONS")
	if text == "" && testdata.UnderRaceDetector() {
		return 60
	}
	if text == "" {
		return 200
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		t.Fatalf("TONOCOHORT_MUTATIONS=%s", text)
	}
	return n
}

// nasty are texts that have brought programs down or out of their folder.
func nasty() []string {
	return []string{"../../outside", "/etc/passwd", "tables/../../outside", "release/..", ".", "..", "", "\\x00", "C:\\x", "~/x", "-1", "1e308", "99999999999999999999",
		"NaN", "null", "true", "[]", "{}", "[[[[[[", "\"", "'", "&a [*a]", "*a", "<<: {}", "!!binary x", "=1+1", "%s%n", "\xff\xfe", strings.Repeat("9", 400), "0x7fffffff"}
}

// mutated changes a text at one to three places: bits, bytes, lines, texts and
// numbers.
func mutated(random *rand.Rand, text []byte) []byte {
	out := slices.Clone(text)
	for range 1 + random.IntN(3) {
		if len(out) == 0 {
			return out
		}
		at := random.IntN(len(out))
		end := min(len(out), at+1+random.IntN(40))
		switch random.IntN(8) {
		case 0:
			out[at] ^= 1 << random.IntN(8)
		case 1:
			out = slices.Delete(out, at, end)
		case 2:
			out = slices.Insert(out, at, slices.Clone(out[at:end])...)
		case 3:
			out = out[:at]
		case 4: // a value
			if i := bytes.IndexAny(out[at:], ":,"); i >= 0 {
				stop := bytes.IndexAny(out[at+i+1:], ",\n}")
				if stop >= 0 {
					out = slices.Replace(out, at+i+1, at+i+1+stop, pick(random)...)
				}
			}
		case 5: // within quotes
			if i := bytes.IndexByte(out[at:], '"'); i >= 0 {
				if stop := bytes.IndexByte(out[at+i+1:], '"'); stop >= 0 {
					out = slices.Replace(out, at+i+1, at+i+1+stop, pick(random)...)
				}
			}
		case 6: // two lines change places
			lines := bytes.SplitAfter(out, []byte("\n"))
			i, j := random.IntN(len(lines)), random.IntN(len(lines))
			lines[i], lines[j] = lines[j], lines[i]
			out = bytes.Join(lines, nil)
		default:
			out = slices.Insert(out, at, pick(random)...)
		}
	}
	return out
}

func pick(random *rand.Rand) []byte { return []byte(nasty()[random.IntN(len(nasty()))]) }

// snapshot is every file below a folder but those that are left out, by digest.
func snapshot(t *testing.T, dir string, but ...string) string {
	t.Helper()
	var list strings.Builder
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if slices.Contains(but, path) {
			if d.IsDir() {
				return fs.SkipDir
			}
			return nil
		}
		if d.IsDir() {
			_, err = fmt.Fprintln(&list, path)
			return err
		}
		data, err := os.ReadFile(path)
		fmt.Fprintf(&list, "%s %x\n", path, sha256.Sum256(data))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return list.String()
}

// unharmed does something and reports a panic with what led to it.
func unharmed(t *testing.T, what string, mutant []byte, do func() error) {
	t.Helper()
	defer func() {
		if p := recover(); p != nil {
			t.Errorf("%s: panic %v\n%s\n--- the mutant\n%s", what, p, debug.Stack(), mutant)
		}
	}()
	_ = do() // an error is an answer
}

// A manifest may be anything: no command that reads it panics, and none writes or
// removes outside the results folder.
func TestMutatedManifests(t *testing.T) {
	t.Parallel()
	base := t.TempDir()
	studyDir := filepath.Join(base, "study")
	if err := os.CopyFS(studyDir, os.DirFS(smallStudy(t, 20))); err != nil {
		t.Fatal(err)
	}
	results, other := filepath.Join(base, "results"), filepath.Join(base, "other")
	ranInto(t, studyDir, results, Options{})
	if err := os.CopyFS(other, os.DirFS(results)); err != nil {
		t.Fatal(err)
	}
	for _, canary := range []string{"outside", "passwd"} {
		if err := os.WriteFile(filepath.Join(base, canary), []byte(canary), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(results, ManifestName)
	plain, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	random, ctx := rand.New(rand.NewPCG(5, 6)), context.Background()
	out := filepath.Join(base, "out")
	before := snapshot(t, base, results, out)
	bundles := BundleForms()
	for i := range mutations(t) {
		mutant := mutated(random, plain)
		var m map[string]any
		if i%2 == 0 && json.Unmarshal(mutant, &m) == nil { // a forger gives it a digest that fits
			if m["content"], err = contentOf(mutant); err == nil {
				mutant, _ = json.Marshal(m)
			}
		}
		if err := os.WriteFile(path, mutant, 0o644); err != nil {
			t.Fatal(err)
		}
		unharmed(t, "verify", mutant, func() error { _, _, err := Verify(ctx, results); return err })
		if i%10 != 0 && i%2 != 0 {
			continue
		}
		unharmed(t, "why", mutant, func() error { _, err := WhyDiffer(ctx, results, other); return err })
		unharmed(t, "package", mutant, func() error {
			_, err := Bundle(ctx, results, out, BundleOptions{As: bundles[i/2%3], Restricted: i%4 == 0})
			return err
		})
		if err := os.RemoveAll(out); err != nil {
			t.Fatal(err)
		}
		if i%20 != 0 {
			continue
		}
		unharmed(t, "rerun from tables", mutant, func() error {
			_, err := RerunResults(ctx, results, "", RerunOptions{From: FromTables})
			return err
		})
		unharmed(t, "rerun", mutant, func() error {
			_, err := RerunResults(ctx, results, studyDir, RerunOptions{From: FromStudy, Sample: 0.1})
			return err
		})
		if i%40 == 0 { // what a run writes over is cleared by the old manifest
			unharmed(t, "run", mutant, func() error {
				_, err := Run(ctx, studyDir, results, Options{Replace: true, fs: openUnsynced})
				return err
			})
			if !soundOrUnsealed(t, results) {
				t.Errorf("a run over a mutated manifest is not sealed\n%s", mutant)
			}
		}
	}
	if after := snapshot(t, base, results, out); after != before {
		t.Errorf("something outside the results changed:\n%s\n---\n%s", before, after)
	}
}

// So may every file of a study: check and run say what is wrong, write nowhere
// but into the results, and leave these sealed and valid or unsealed.
func TestMutatedStudies(t *testing.T) {
	t.Parallel()
	base := t.TempDir()
	studyDir, results := filepath.Join(base, "study"), filepath.Join(base, "results")
	if err := os.CopyFS(studyDir, os.DirFS(unreleased(t, smallStudy(t, 20)))); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(base, "outside"), []byte("outside"), 0o644); err != nil {
		t.Fatal(err)
	}
	names := []string{study.SettingsFile, study.SettingsFile, study.SettingsFile, "subjects.csv", "visits.csv", "cuff.csv", "recordings.csv", "reviews.csv", "withdrawn.csv"}
	random, ctx := rand.New(rand.NewPCG(7, 8)), context.Background()
	sealed, before := 0, snapshot(t, base, results)
	for i := range mutations(t) {
		name := filepath.Join(studyDir, names[i%len(names)])
		plain, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		mutant := mutated(random, plain)
		if err := os.WriteFile(name, mutant, 0o644); err != nil {
			t.Fatal(err)
		}
		unharmed(t, "preview of "+names[i%len(names)], mutant, func() error { _, err := PreviewRun(ctx, studyDir, results, Options{}); return err })
		if i%7 == 0 {
			unharmed(t, "run of "+names[i%len(names)], mutant, func() error {
				_, err := Run(ctx, studyDir, results, Options{fs: openUnsynced})
				return err
			})
			if soundOrUnsealed(t, results) {
				sealed++
			}
		}
		if err := os.RemoveAll(results); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, plain, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if after := snapshot(t, base, results); after != before {
		t.Errorf("something outside the results changed:\n%s\n---\n%s", before, after)
	}
	if sealed == 0 {
		t.Error("every mutant was refused: none got as far as the recordings")
	}
	t.Logf("%d runs of mutants came to their end", sealed)
}
