package simulate

import (
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/klauspost/compress/gzip"

	"tonocohort/schema"
)

// written writes a cohort and returns its files by name, digested.
func written(t *testing.T, o Options) (folder string, files map[string][32]byte) {
	t.Helper()
	folder = t.TempDir()
	if err := Write(filepath.Join(folder, "study"), filepath.Join(folder, "truth.csv"), o); err != nil {
		t.Fatal(err)
	}
	files = map[string][32]byte{}
	err := filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		name, _ := filepath.Rel(folder, path)
		files[filepath.ToSlash(name)] = sha256.Sum256(data)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return folder, files
}

func TestSameBytesForAnyNumberOfWorkers(t *testing.T) {
	_, one := written(t, Options{Subjects: 44, Workers: 1})
	_, many := written(t, Options{Subjects: 44, Workers: 5})
	if !reflect.DeepEqual(one, many) {
		t.Error("one worker and five wrote different bytes")
	}
	_, other := written(t, Options{Subjects: 44, Seed: "other"})
	if one["study/cuff.csv"] == other["study/cuff.csv"] {
		t.Error("another seed wrote the same cuff readings")
	}
	// A person of a small cohort is the same in a larger one.
	_, more := written(t, Options{Subjects: 58})
	for name, digest := range one {
		if strings.HasPrefix(name, "study/waves/") && more[name] != digest {
			t.Errorf("%s differs in a larger cohort", name)
		}
	}
}

func TestWriteRefusesAFolderInUse(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "mine.txt"), []byte("mine"), 0o644); err != nil {
		t.Fatal(err)
	}
	err := Write(dir, filepath.Join(t.TempDir(), "truth.csv"), Options{Subjects: 2})
	if !errors.Is(err, fs.ErrExist) {
		t.Errorf("error %v, want one that says the folder exists", err)
	}
}

func readTable(t *testing.T, path string) (header []string, rows [][]string) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	all, err := csv.NewReader(bytes.NewReader(data)).ReadAll() // refuses a row of another length
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	return all[0], all[1:]
}

func TestStudyFolder(t *testing.T) {
	folder, files := written(t, Options{Subjects: 300})
	t.Run("tables", func(t *testing.T) { tables(t, folder) })
	t.Run("recordings", func(t *testing.T) { recordingsAndFaults(t, folder, files) })
}

// Every column of the tables is one of the contract or a declared covariate,
// every required one is there, and no key stands twice or alone.
func tables(t *testing.T, folder string) {
	covariates := regexp.MustCompile(`- \{name: (\w+), in: (\w+)`).FindAllStringSubmatch(string(settings), -1)
	if len(covariates) != 4 {
		t.Fatalf("%d covariates declared, want 4", len(covariates))
	}
	ids := map[string]map[string]bool{}
	for _, table := range schema.InputTables() {
		header, rows := readTable(t, filepath.Join(folder, "study", table.Name+".csv"))
		if len(rows) == 0 {
			t.Errorf("table %s is empty", table.Name)
		}
		for _, name := range header {
			declared := table.Index(name) >= 0 || slices.ContainsFunc(covariates, func(c []string) bool { return c[1] == name && c[2] == table.Name })
			if !declared {
				t.Errorf("table %s: column %s is neither in the contract nor a covariate", table.Name, name)
			}
		}
		keys, seen := map[string]bool{}, map[string]bool{}
		for _, row := range rows {
			key := ""
			for _, c := range table.Columns {
				at := slices.Index(header, c.Name)
				if c.Required && at < 0 {
					t.Fatalf("table %s has no column %s", table.Name, c.Name)
				}
				if c.Key && (table.Name != "recordings" || c.Name == "recording_id") {
					key += row[at] + "|"
				}
			}
			once := key
			if table.Name == "reviews" { // several readers may read one recording
				once += row[slices.Index(header, "reader")]
			}
			if seen[once] {
				t.Errorf("table %s: key %s twice", table.Name, once)
			}
			seen[once], keys[key] = true, true
		}
		ids[table.Name] = keys
	}
	for key := range ids["visits"] {
		if subject, _, _ := strings.Cut(key, "|"); !ids["subjects"][subject+"|"] {
			t.Errorf("visit %s of nobody", key)
		}
	}
	for key := range ids["reviews"] {
		if !ids["recordings"][key] {
			t.Errorf("review of %s, which is no recording", key)
		}
	}
}

func TestSettingsFollowTheContract(t *testing.T) {
	known := map[string]bool{}
	for i := range reflect.TypeFor[schema.Settings]().NumField() {
		known[reflect.TypeFor[schema.Settings]().Field(i).Tag.Get("yaml")] = true
	}
	for _, m := range regexp.MustCompile(`(?m)^([a-z_]+):`).FindAllStringSubmatch(string(settings), -1) {
		if !known[m[1]] {
			t.Errorf("study.yaml sets %s, which the contract does not know", m[1])
		}
	}
	if !strings.Contains(string(settings), "invented") {
		t.Error("study.yaml does not say that the people are invented")
	}
}

// Every recording has its files, but for the faults that the truth tells of,
// and the layouts hold the same samples as was meant.
func recordingsAndFaults(t *testing.T, folder string, files map[string][32]byte) {
	header, rows := readTable(t, filepath.Join(folder, "truth.csv"))
	if !slices.Equal(header, truthHeader()) {
		t.Errorf("truth has the columns %v", header)
	}
	fault := map[string]string{}
	count := map[string]int{}
	for _, row := range rows {
		fault[row[2]] = row[6]
		count[row[6]]++
	}
	for _, kind := range []string{faultMissing, faultFlat, faultTruncated, faultSaturated, faultGarbage} {
		if count[kind] == 0 {
			t.Errorf("no recording is broken by %s", kind)
		}
	}
	if share := 1 - float64(count[""])/float64(len(rows)); share < 0.02 || share > 0.07 {
		t.Errorf("%.1f %% of the recordings are broken, want about 4", 100*share)
	}
	_, rows = readTable(t, filepath.Join(folder, "study", "recordings.csv"))
	layouts := map[string]int{}
	for _, row := range rows {
		id, file := row[0], row[3]
		kind, known := fault[id]
		if !known {
			t.Fatalf("%s is not in the truth", id)
		}
		if _, there := files["study/"+file]; there == (kind == faultMissing) {
			t.Errorf("%s: file there %v, fault %q", id, there, kind)
		}
		if kind != "" {
			continue
		}
		layouts[row[4]+filepath.Ext(file)+row[6]]++
		hz, _ := strconv.ParseFloat(row[6], 64)
		if n := samplesIn(t, filepath.Join(folder, "study", file)); n < 13*int(hz) || n > 16*int(hz) {
			t.Errorf("%s holds %d samples at %g Hz", file, n, hz)
		}
	}
	for _, want := range []string{"csv.csv256", "csv.gz256", "csv.csv128", "wfdb.hea128"} {
		if layouts[want] == 0 {
			t.Errorf("no recording of the layout %s among %v", want, layouts)
		}
	}
}

// samplesIn counts the samples of a sound file and checks a WFDB header
// against its samples (header(5) and signal(5) of the WFDB specification: first
// value and 16-bit sum).
func samplesIn(t *testing.T, path string) int {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if strings.HasSuffix(path, ".hea") {
		fields := strings.Fields(string(data))
		signal, err := os.ReadFile(filepath.Join(filepath.Dir(path), fields[4]))
		if err != nil {
			t.Fatal(err)
		}
		var sum int16
		for i := 0; i < len(signal); i += 2 {
			sum += int16(uint16(signal[i]) | uint16(signal[i+1])<<8)
		}
		first := int16(uint16(signal[0]) | uint16(signal[1])<<8)
		if fields[9] != strconv.Itoa(int(first)) || fields[10] != strconv.Itoa(int(sum)) || fields[3] != strconv.Itoa(len(signal)/2) {
			t.Errorf("%s: header %v, first %d, sum %d, %d samples", path, fields, first, sum, len(signal)/2)
		}
		return len(signal) / 2
	}
	if strings.HasSuffix(path, ".gz") {
		z, err := gzip.NewReader(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		if data, err = io.ReadAll(z); err != nil {
			t.Fatal(err)
		}
	}
	lines := strings.Split(strings.TrimSuffix(string(data), "\n"), "\n")
	if lines[0] != "pressure" && lines[0] != "time_s,pressure" {
		t.Errorf("%s begins with %q", path, lines[0])
	}
	for _, line := range lines[1:] {
		if _, err := strconv.ParseFloat(line[strings.LastIndexByte(line, ',')+1:], 64); err != nil {
			t.Fatalf("%s: %v", path, err)
		}
	}
	return len(lines) - 1
}

func BenchmarkWrite(b *testing.B) {
	for b.Loop() {
		dir := b.TempDir()
		if err := Write(filepath.Join(dir, "study"), filepath.Join(dir, "truth.csv"), Options{Subjects: 100}); err != nil {
			b.Fatal(err)
		}
	}
}
