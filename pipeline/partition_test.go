package pipeline

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"tonocohort/pipeline/parquet"
	"tonocohort/schema"
)

// dataset reads the files of a data set, in the order of their folders.
func dataset(t *testing.T, dir string) (folders []string, frames []*schema.Frame) {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(dir, "*", "*.parquet"))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		file, err := os.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		defer file.Close()
		info, err := file.Stat()
		if err != nil {
			t.Fatal(err)
		}
		declared, err := parquet.TableOf(file, info.Size())
		if err != nil {
			t.Fatal(err)
		}
		f, err := parquet.Read(file, info.Size(), declared)
		if err != nil {
			t.Fatal(err)
		}
		folders, frames = append(folders, filepath.Base(filepath.Dir(name))), append(frames, f)
	}
	return folders, frames
}

// Every row of the table stands once, in the folder of its value, with all other
// columns, and the order of the table is kept. (Independent readers: .ci/readers.)
func TestPartitionedTableIsTheTable(t *testing.T) {
	t.Parallel()
	dir, studyDir := t.TempDir(), smallStudy(t, 12)
	// More devices than are written in one pass, and recordings without one.
	name := filepath.Join(studyDir, "recordings.csv")
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(text)), "\n")
	at := slices.Index(strings.Split(lines[0], ","), "device_id")
	if at < 0 {
		t.Fatal(lines[0])
	}
	devices := []string{"01", "", "x-1", "x1", "x2", "x3", "x4", "x5", "x6", "x7", "x8", "x9", "y1", "y2", "y3", "y4", "y5", "y6"}
	for i := 1; i < len(lines); i++ {
		cells := strings.Split(lines[i], ",")
		cells[at] = devices[i%len(devices)]
		lines[i] = strings.Join(cells, ",")
	}
	if err := os.WriteFile(name, []byte(strings.Join(lines, "\n")+"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	results := filepath.Join(dir, "results")
	ranInto(t, studyDir, results, Options{})
	source, err := openSource(results)
	if err != nil {
		t.Fatal(err)
	}
	defer source.root.Close()
	whole, err := source.frame("recordings")
	if err != nil {
		t.Fatal(err)
	}

	done, err := Partition(context.Background(), results, "recordings", filepath.Join(dir, "by"), "device_id")
	if err != nil {
		t.Fatal(err)
	}
	folders, frames := dataset(t, filepath.Join(dir, "by"))
	if int(done.Rows) != whole.N || done.Files != len(devices) || len(folders) != len(devices) ||
		!slices.Contains(folders, "device_id=01") || !slices.Contains(folders, "device_id="+noValue) {
		t.Fatalf("%+v of %d rows: %q", done, whole.N, folders)
	}
	rows := 0
	for i, f := range frames {
		value := strings.Replace(strings.TrimPrefix(folders[i], "device_id="), noValue, "", 1)
		var want []int
		for row := range whole.N {
			if whole.TextAt(row, "device_id") == value {
				want = append(want, row)
			}
		}
		rows += f.N
		if f.Has("device_id") || f.N != len(want) || !f.Table.Restricted || len(f.Table.Columns) != len(whole.Table.Columns)-1 {
			t.Errorf("%s: %d rows, want %d", folders[i], f.N, len(want))
			continue
		}
		for k, row := range want {
			for _, c := range f.Table.Columns {
				if c.Numeric() && f.Missing(k, c.Name) != whole.Missing(row, c.Name) ||
					c.Numeric() && !f.Missing(k, c.Name) && f.Number(k, c.Name) != whole.Number(row, c.Name) ||
					c.Textual() && f.TextAt(k, c.Name) != whole.TextAt(row, c.Name) {
					t.Errorf("%s, row %d: %s", folders[i], k, c.Name)
				}
			}
		}
	}
	if rows != whole.N {
		t.Errorf("%d rows of %d", rows, whole.N)
	}

	// Without a column: by rows; waves as well.
	for _, table := range []string{"recordings", "waveforms"} {
		into := filepath.Join(dir, table)
		if done, err = Partition(context.Background(), results, table, into, ""); err != nil {
			t.Fatal(err)
		}
		if folders, frames = dataset(t, into); len(folders) != 1 || folders[0] != "part=1" || int64(frames[0].N) != done.Rows || done.Rows == 0 {
			t.Errorf("%s: %q, %+v", table, folders, done)
		}
	}
}

// Which signs are escaped: ExternalCatalogUtils of Apache Spark 3, after
// FileUtils.escapePathName of Apache Hive (from memory).
func TestPartitionNames(t *testing.T) {
	for value, want := range map[string]string{
		"01": "01", "ä b": "ä b", "a/b=c": "a%2Fb%3Dc", "50 %": "50 %25", "..": "..", "x\ny": "x%0Ay", `\?*`: "%5C%3F%2A", "[a]": "%5Ba%5D",
	} {
		if got := pathText(value); got != want {
			t.Errorf("%q: %q, want %q", value, got, want)
		}
	}
}

// What cannot be divided is refused, and nothing is left behind.
func TestPartitionRefuses(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	results := filepath.Join(dir, "results")
	ranInto(t, smallStudy(t, 4), results, Options{})
	damaged := filepath.Join(dir, "damaged")
	if err := os.CopyFS(damaged, os.DirFS(results)); err != nil {
		t.Fatal(err)
	}
	beats := filepath.Join(damaged, "tables", "beats.parquet")
	data, err := os.ReadFile(beats)
	if err != nil {
		t.Fatal(err)
	}
	data[len(data)/2] ^= 1
	if err := os.WriteFile(beats, data, 0o644); err != nil {
		t.Fatal(err)
	}
	before, _ := os.ReadDir(dir)
	for _, c := range []struct{ dir, table, by, says string }{
		{results, "recording", "", `no table "recording"`},
		{results, "recordings", "device", `no column "device"`},
		{results, "recordings", "duration_s", "holds numbers or waves"},
		{damaged, "beats", "", "differences from its manifest"},
		{filepath.Join(dir, "none"), "beats", "", "no such folder"},
	} {
		_, err := Partition(context.Background(), c.dir, c.table, filepath.Join(dir, "out"), c.by)
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s by %q: %v", c.table, c.by, err)
		}
	}
	if _, err := Partition(context.Background(), results, "beats", results, ""); !errors.Is(err, ErrBundleExists) {
		t.Error(err)
	}
	if after, _ := os.ReadDir(dir); len(after) != len(before) {
		t.Errorf("left behind: %v", after)
	}
}
