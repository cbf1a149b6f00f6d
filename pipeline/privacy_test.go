package pipeline_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"os/user"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"tonocohort/pipeline"
	"tonocohort/pipeline/parquet"
	"tonocohort/schema"
)

// canaryStudy is a study in which every field that could tell of a person holds
// a word to look for: Canary and the name of the field. Its waves come in every
// format, some broken.
func canaryStudy(t *testing.T, privacy string) *foreign {
	f := newForeign(t, "disclosure: {min_cell: 5}\nanalysis: {visit: all}\n"+privacy)
	// The folder's own path tells of its keeper.
	f.dir = filepath.Join(f.dir, "CanaryHome", "study")
	f.write("study.yaml", "format: 1\nstudy: {id: canaries}\ndisclosure: {min_cell: 5}\n"+
		"tables: {subjects: subjects.csv, visits: visits.csv, cuff: cuff.csv, recordings: recordings.csv, reviews: reviews.csv, withdrawn: withdrawn.csv}\n"+privacy)
	f.subjects[0] = []string{"subject_id", "sex", "birth_date", "family_id", "cluster"}
	f.visits[0] = []string{"subject_id", "visit_id", "age_years", "visit_date"}
	f.cuff[0] = append(f.cuff[0], "cuff_mode", "recording_id")
	f.recordings[0] = append(f.recordings[0], "operator_id", "recorded_at")
	reviews := "recording_id,decision,reason,reader,read_on\n"
	words := "CanaryHeader"
	for i := range 24 {
		id := fmt.Sprintf("CanarySubject%02d", i)
		file := fmt.Sprintf("CanaryFolder/CanaryFile%02d", i)
		samples := gridWave(fmt.Sprint("canary", i), 14)
		format := []string{"csv", "edf", "wfdb", "bids"}[i%4]
		switch format {
		case "csv":
			file += ".csv"
			f.write(file, csvText(samples, true, ",", "."))
		case "edf":
			file += ".edf"
			f.write(file, edfText(samples, false, words))
		case "wfdb":
			header, data := wfdbText(samples, filepath.Base(file), words)
			f.write(file+".dat", data)
			file += ".hea"
			f.write(file, header)
		case "bids":
			file += "_physio.tsv.gz"
			f.write(file, zipped(t, strings.TrimPrefix(csvText(samples, false, "", "."), "pressure\n")))
			f.write("CanaryFolder/physio.json", `{"SamplingFrequency": 128, "Columns": ["artery"], "Instructions": "`+words+`"}`)
		}
		switch i {
		case 4: // a word where a sample should be
			f.write(file, strings.Replace(csvText(samples, true, ",", "."), "2.0000000,", "2.0000000,CanaryCell", 1))
		case 5: // a shifted header: other fields where numbers should be
			f.write(file, strings.Replace(edfText(samples, false, words), "-256    ", "Canary--", 1))
		case 6:
			f.write(file, "CanaryComment 1 128\n")
		case 8:
			os.Remove(filepath.Join(f.dir, file))
		}
		recording := fmt.Sprintf("CanaryRecording%02d", 23-i)
		f.subjects = append(f.subjects, []string{id, []string{"female", "male"}[i%2], "1961-05-17", "CanaryFamily", "CanaryCluster"})
		f.visits = append(f.visits, []string{id, "v1", fmt.Sprint(72 + i), "2019-03-14"})
		f.cuff = append(f.cuff, []string{id, "v1", "1", fmt.Sprint(120 + i), "78", "CanaryMode", recording}, []string{id, "v1", "2", "CanaryPressure", "78", "", ""})
		f.recordings = append(f.recordings, []string{recording, id, "v1", file, format, "", "", "", "radial", "CanaryOperator", "2019-03-14T10:11:12"})
		reviews += recording + ",accept,CanaryReason,CanaryReader,2019-03-15\n"
	}
	f.subjects = append(f.subjects, []string{"CanaryGone", "female", "", "", ""})
	f.visits = append(f.visits, []string{"CanaryGone", "v1", "50", ""})
	f.recordings = append(f.recordings, []string{"CanaryGoneRecording", "CanaryGone", "v1", "CanaryFolder/none.edf", "edf", "", "", "", "radial", "", ""})
	f.write("reviews.csv", reviews+"CanaryGoneRecording,accept,CanaryReason,CanaryReader,\n")
	f.write("withdrawn.csv", "subject_id,on\nCanaryGone,2020-01-01\n")
	return f
}

// runPrivately runs the study with a key and returns where the results are.
func runPrivately(t *testing.T, f *foreign) (string, *pipeline.Outcome) {
	t.Helper()
	temporary := t.TempDir()
	t.Setenv("TMPDIR", temporary)
	key := filepath.Join(t.TempDir(), "CanaryKey")
	if err := os.WriteFile(key, []byte("CanarySecret-0123456789abcdef0123456789abcdef\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	f.writeTables()
	o := pipeline.Options{Listed: true}
	if text, _ := os.ReadFile(filepath.Join(f.dir, "study.yaml")); bytes.Contains(text, []byte("keyed")) {
		o.KeyFile = key
	}
	results := filepath.Join(t.TempDir(), "CanaryOut", "results")
	outcome, err := pipeline.Run(context.Background(), f.dir, results, o)
	if err != nil {
		t.Fatal(err)
	}
	if outcome.Manifest, err = pipeline.ReadManifest(results); err != nil {
		t.Fatal(err)
	}
	if left, _ := filepath.Glob(filepath.Join(temporary, "*")); len(left) > 0 {
		t.Errorf("temporary files: %v", left)
	}
	return results, outcome
}

// everything gives the text of every file of a results folder, Parquet decoded.
func everything(t *testing.T, results string) map[string]string {
	t.Helper()
	texts := map[string]string{}
	err := filepath.WalkDir(results, func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		data, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(results, name)
		text := rel + "\n" + string(data)
		if strings.HasSuffix(name, ".parquet") {
			f, err := parquet.ReadAny(bytes.NewReader(data), int64(len(data)))
			if err != nil {
				return err
			}
			meta, err := parquet.Metadata(bytes.NewReader(data), int64(len(data)))
			if err != nil {
				return err
			}
			var b bytes.Buffer
			if err := parquet.WriteCSV(&b, f, parquet.CSVOptions{}); err != nil {
				return err
			}
			text += fmt.Sprint(meta) + b.String()
		}
		texts[filepath.ToSlash(rel)] = text
		return err
	})
	if err != nil || len(texts) < 15 {
		t.Fatalf("%d files: %v", len(texts), err)
	}
	return texts
}

// keepers are words that tell of the machine and who works on it.
func keepers(t *testing.T) []string {
	words := []string{"CanaryHome", "CanaryOut", "CanaryKey", "CanarySecret"}
	if host, err := os.Hostname(); err == nil && len(host) > 3 {
		words = append(words, host)
	}
	if u, err := user.Current(); err == nil && len(u.HomeDir) > 1 {
		words = append(words, u.HomeDir)
	}
	return append(words, t.TempDir()[:5])
}

// TestNothingGivesPeopleAway plants a word in every field of every input and in
// every file name, and looks for it in everything that a run writes and says.
func TestNothingGivesPeopleAway(t *testing.T) {
	canary := regexp.MustCompile(`(?i)canary\w*`)
	headerDates := []string{"1961-05-17", "01-JAN-1969", "02-FEB-2019", "02/02/2019", "02.02.19", "10.11.12"}
	datedTables := map[string]bool{"tables/recordings.parquet": true, "tables/subject_visits.parquet": true, "tables/reviews.parquet": true}
	for privacy, allowed := range map[string]string{
		// As given, the restricted part holds what the tables hold; headers,
		// folders above the study and who has withdrawn stand nowhere.
		"": `^Canary(Subject|Recording|Family|Cluster|Mode|Pressure|Operator|Reason|Reader|Folder|File|Cell)\w*$`,
		"privacy: {ids: keyed, date_shift: keyed, age_top: 85}\n":    `^$`,
		"privacy: {ids: renumber, date_shift: keyed, age_top: 85}\n": `^$`,
	} {
		f := canaryStudy(t, privacy)
		results, outcome := runPrivately(t, f)
		texts := everything(t, results)
		texts["terminal"] = fmt.Sprint(outcome.Issues)
		judged, err := pipeline.Check(context.Background(), f.dir, nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, word := range append(keepers(t), "CanaryHeader", "CanaryGone", "CanaryComment", "Canary--") {
			if text := fmt.Sprintf("%+v", judged); strings.Contains(text, word) {
				t.Errorf("check tells of %s: %s", word, text)
			}
		}
		permitted, found := regexp.MustCompile(allowed), 0
		for name, text := range texts {
			for _, word := range canary.FindAllString(text, -1) {
				found++
				released := strings.HasPrefix(name, "release/")
				if word != "canaries" && (released || !permitted.MatchString(word)) {
					t.Errorf("%q: %s holds %s", privacy, name, word)
					break
				}
			}
			for _, word := range keepers(t) {
				if strings.Contains(text, word) {
					t.Errorf("%q: %s tells of %s", privacy, name, word)
				}
			}
			for _, date := range headerDates {
				if strings.Contains(text, date) {
					t.Errorf("%q: %s holds the date %s", privacy, name, date)
				}
			}
			if strings.Contains(text, "2019-03-1") != (privacy == "" && datedTables[name]) {
				t.Errorf("%q: %s: are the dates of the tables there?", privacy, name)
			}
		}
		if privacy == "" && found < 500 {
			t.Errorf("only %d words found where they may stand: is the search blind?", found)
		}
		for i, in := range outcome.Manifest.Inputs {
			if i > 0 && in.Path == outcome.Manifest.Inputs[i-1].Path {
				t.Errorf("%q: the input %s stands twice", privacy, in.Path)
			}
		}
		if n := outcome.Manifest.Counts; n.Withdrawn != 1 || n.Subjects.Found != 24 || n.Recordings.Failed != 4 {
			t.Errorf("%q: %+v", privacy, n)
		}
	}
}

// Pseudonyms, moved dates and numbers change names, not results: every value of
// a person, and every statistic, is what it is under the ids as given.
func TestPrivacyChangesNoValue(t *testing.T) {
	given, _ := runPrivately(t, canaryStudy(t, ""))
	want := table(t, given, "recordings")
	for _, privacy := range []string{"privacy: {ids: keyed}\n", "privacy: {ids: renumber}\n"} {
		results, outcome := runPrivately(t, canaryStudy(t, privacy))
		got := table(t, results, "recordings")
		if (outcome.Manifest.KeyID != "") != strings.Contains(privacy, "keyed") || got.N != want.N {
			t.Fatalf("%s: key id %q, %d recordings", privacy, outcome.Manifest.KeyID, got.N)
		}
		byCuff := map[float64]int{} // the cuff pressure tells the persons of this study apart
		for row := range want.N {
			byCuff[want.Number(row, "brachial_sbp_mmhg")] = row
		}
		last := ""
		for row := range got.N {
			if id := got.TextAt(row, "subject_id"); id <= last {
				t.Errorf("%s: %s comes after %s", privacy, id, last)
			} else {
				last = id
			}
			other := byCuff[got.Number(row, "brachial_sbp_mmhg")]
			for _, c := range schema.ValueColumns() {
				if a, b := got.Number(row, c.Name), want.Number(other, c.Name); a != b && !(math.IsNaN(a) && math.IsNaN(b)) {
					t.Errorf("%s: %s is %v, as given %v", privacy, c.Name, a, b)
				}
			}
		}
		a, b := table(t, results, "summary"), table(t, given, "summary")
		for row := range b.N {
			x, y := a.Number(row, "estimate"), b.Number(row, "estimate")
			if !(math.Abs(x-y) <= 1e-12*math.Abs(y)) && !(math.IsNaN(x) && math.IsNaN(y)) {
				t.Errorf("%s: %s of %s is %v, as given %v", privacy, b.TextAt(row, "statistic"), b.TextAt(row, "variable"), x, y)
			}
		}
	}
}

// A key that is missing, short, in the wrong place or of no use is refused, and
// nothing of it is said.
func TestKeyIsRefused(t *testing.T) {
	f := canaryStudy(t, "privacy: {ids: keyed}\n")
	f.writeTables()
	outside, results := t.TempDir(), filepath.Join(t.TempDir(), "results")
	put := func(path, text string) string {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	long := "CanarySecret" + strings.Repeat("x", 40)
	inside := put(filepath.Join(f.dir, "key"), long)
	link := filepath.Join(outside, "link")
	if err := os.Symlink(inside, link); err != nil {
		t.Fatal(err)
	}
	for path, says := range map[string]string{
		"": "--key-file", put(filepath.Join(outside, "short"), "CanarySecret\n"): "fewer than 32 bytes", inside: "inside the study",
		link: "inside the study", filepath.Join(outside, "CanaryNone"): "no such file", outside: "is a folder",
	} {
		_, err := pipeline.Run(context.Background(), f.dir, results, pipeline.Options{KeyFile: path})
		var bad *pipeline.KeyError
		if !errors.As(err, &bad) || !strings.Contains(err.Error(), says) || strings.Contains(err.Error(), "Canary") {
			t.Errorf("%s: %v", path, err)
		}
		if _, err := os.Stat(results); err == nil {
			t.Fatal("something was written")
		}
	}
	plain := canaryStudy(t, "")
	plain.writeTables()
	if _, err := pipeline.Run(context.Background(), plain.dir, results, pipeline.Options{KeyFile: put(filepath.Join(outside, "key"), long)}); err == nil {
		t.Error("a key of no use was taken")
	}
}
