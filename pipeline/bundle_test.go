package pipeline

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"tonocohort/schema"
)

// Nothing of a person leaves with a bundle unless it is asked for, and nothing
// leaves that is not as the manifest says.
func TestBundleHoldsWhatItMay(t *testing.T) {
	studyDir, dir := smallStudy(t, 60), t.TempDir()
	results := filepath.Join(dir, "results")
	ranInto(t, studyDir, results, Options{})
	for _, form := range BundleForms() {
		for _, restricted := range []bool{false, true} {
			out := filepath.Join(dir, form, map[bool]string{true: "all"}[restricted]+"x")
			n, err := Bundle(context.Background(), results, out, BundleOptions{As: form, Restricted: restricted})
			if err != nil {
				t.Fatal(form, err)
			}
			files := map[string][]byte{}
			filepath.WalkDir(out, func(path string, d os.DirEntry, err error) error {
				if err == nil && !d.IsDir() {
					files[path], err = os.ReadFile(path)
				}
				return err
			})
			if len(files) != n {
				t.Errorf("%s: %d files, %d said", form, len(files), n)
			}
			named := false
			for name, data := range files {
				named = named || bytes.Contains(data, []byte("TQ0000")) || bytes.Contains(data, []byte("waves/")) || strings.HasSuffix(name, "recordings.parquet")
			}
			if named != restricted {
				t.Errorf("%s, restricted %v: persons or their files are named: %v", form, restricted, named)
			}
			if _, err := Bundle(context.Background(), results, out, BundleOptions{As: form}); !errors.Is(err, ErrBundleExists) {
				t.Errorf("%s: written over: %v", form, err)
			}
		}
	}
	// Damage ends it, and leaves no part of a bundle.
	path := filepath.Join(results, releaseFolder, "flow.parquet")
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	data[len(data)/2] ^= 1
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	for _, form := range BundleForms() {
		var differs *DifferenceError
		if _, err := Bundle(context.Background(), results, filepath.Join(dir, "damaged", form), BundleOptions{As: form}); !errors.As(err, &differs) {
			t.Errorf("%s: %v", form, err)
		}
	}
	if left, err := os.ReadDir(filepath.Join(dir, "damaged")); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v %v", left, err)
	}
}

// RFC 8493, section 2.1.3: CR, LF and % in a path are percent-encoded. An @id of
// a crate is percent-encoded as a whole.
func TestPathsAreEncoded(t *testing.T) {
	const path = "tables/published/50 % of.csv"
	if got := checksums([]schema.File{{Path: path + "\r\n", SHA256: "00"}}); got != "00  tables/published/50 %25 of.csv%0D%0A\n" {
		t.Errorf("%q", got)
	}
	if got := crateID(path); got != "tables/published/50%20%25%20of.csv" {
		t.Errorf("%q", got)
	}
}
