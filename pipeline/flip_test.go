package pipeline

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"tonocohort/schema"
	"tonocohort/testdata"
)

// A bit turned over anywhere in any output is found and the file named, and of a
// table the row group, or that no row group is touched.
func TestEveryFlippedBitIsTraced(t *testing.T) {
	t.Parallel()
	studyDir, results := smallStudy(t, 40), filepath.Join(t.TempDir(), "results")
	outputs := ranInto(t, studyDir, results, Options{}).Manifest.Outputs
	random, flips := rand.New(rand.NewPCG(3, 4)), 4
	if testdata.UnderRaceDetector() {
		flips = 1
	}
	tables, groups := 0, 0
	root, err := openFolder(results)
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	for i, out := range outputs {
		for range flips {
			at := random.IntN(int(out.Bytes))
			path := filepath.Join(results, out.Path)
			whole := flip(t, path, at, byte(1)<<random.IntN(8))
			differences := verifyOutput(root, out)
			if i%8 == 0 { // the whole folder takes its time
				if _, differences, err = Verify(context.Background(), results); err != nil {
					t.Fatal(err)
				}
			}
			if len(differences) == 0 || slices.ContainsFunc(differences, func(d Difference) bool { return d.Path != out.Path }) {
				t.Errorf("byte %d of %s: %v", at, out.Path, differences)
			}
			if strings.HasSuffix(out.Path, ".parquet") {
				tables++
				want := "footer"
				for i, g := range out.RowGroups {
					if int64(at) >= g.Offset && int64(at) < g.Offset+g.Bytes {
						want = fmt.Sprintf("row group %d (", i)
						groups++
					}
				}
				if !slices.ContainsFunc(differences, func(d Difference) bool { return strings.HasPrefix(d.Part, want) }) {
					t.Errorf("byte %d of %s: %v, expected %s", at, out.Path, differences, want)
				}
			}
			if err := os.WriteFile(path, whole, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	if !testdata.UnderRaceDetector() && (groups < tables/10 || groups == tables) {
		t.Errorf("%d of %d flips in row groups", groups, tables)
	}
	if _, differences, err := Verify(context.Background(), results); err != nil || len(differences) > 0 {
		t.Error(differences, err)
	}
	// In the manifest itself: it no longer reads, or its content does not fit.
	results = sealedWith(t, "x", beatsOf([]string{"S1"}, nil))
	path := filepath.Join(results, ManifestName)
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	for range 50 * flips {
		whole := flip(t, path, random.IntN(int(info.Size())), byte(1)<<random.IntN(7))
		m, differences, err := Verify(context.Background(), results)
		if err == nil && len(differences) == 0 && !onlyTimes(t, whole, path, m) {
			t.Error("a flipped bit of the manifest goes unseen")
		}
		if err := os.WriteFile(path, whole, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// onlyTimes reports whether the flip lies in what the manifest does not promise:
// its times, white space, or the spelling of a number or a text.
func onlyTimes(t *testing.T, whole []byte, path string, m *schema.Manifest) bool {
	t.Helper()
	now, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	before, errA := contentOf(whole)
	after, errB := contentOf(now)
	return errA == nil && errB == nil && before == after && m.Content == after
}

// flip turns a bit over and returns the file as it was.
func flip(t *testing.T, path string, at int, bit byte) []byte {
	t.Helper()
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	damaged := slices.Clone(whole)
	damaged[at] ^= bit
	if err := os.WriteFile(path, damaged, 0o644); err != nil {
		t.Fatal(err)
	}
	return whole
}

// Of a table in several row groups the damaged one is named, and no other.
func TestDamageIsTracedToOneOfMany(t *testing.T) {
	f := schema.NewFrame(schema.WaveformsTable(), 0)
	for i := range 2500 { // 1024 rows a group
		row := f.AddRow()
		for _, id := range []string{"subject_id", "visit_id", "recording_id"} {
			f.SetText(row, id, fmt.Sprintf("S%05d", i))
		}
		f.SetWave(row, "central_mmhg", []float32{80, float32(i), 90})
	}
	results := sealedWith(t, "x", f)
	m, err := ReadManifest(results)
	if err != nil {
		t.Fatal(err)
	}
	out := m.Outputs[1]
	if len(out.RowGroups) != 3 || out.RowGroups[0].Rows != 1024 || out.RowGroups[2].Rows != 2500-2*1024 {
		t.Fatalf("%+v", out.RowGroups)
	}
	g := out.RowGroups[1]
	flip(t, filepath.Join(results, out.Path), int(g.Offset+g.Bytes/2), 1)
	_, differences, err := Verify(context.Background(), results)
	if err != nil {
		t.Fatal(err)
	}
	var parts []string
	for _, d := range differences {
		if d.Part != "" {
			parts = append(parts, d.Part)
		}
	}
	if !slices.Equal(parts, []string{"row group 1 (rows 1025 to 2048)"}) {
		t.Errorf("%q", parts)
	}
}
