package main

import (
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"tonocohort/pipeline/parquet"
	"tonocohort/pipeline/simulate"
)

// canaryFolder writes a study in which every field that could tell of a person
// holds a word that begins with Canary, below a folder that is called so too.
func canaryFolder(t *testing.T, dir, privacy string) {
	t.Helper()
	put := func(name, text string) {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	put("study.yaml", "format: 1\nstudy: {id: canaries}\ndisclosure: {min_cell: 3}\n"+privacy+
		"tables: {subjects: subjects.csv, visits: visits.csv, cuff: cuff.csv, recordings: recordings.csv, reviews: reviews.csv, withdrawn: withdrawn.csv}\n")
	subjects, visits := "subject_id,sex,birth_date,family_id,cluster,CanaryColumn\n", "subject_id,visit_id,age_years,visit_date\n"
	cuff, recordings := "subject_id,visit_id,reading,sbp_mmhg,dbp_mmhg,cuff_mode\n", "recording_id,subject_id,visit_id,file,format,operator_id,device_id,recorded_at\n"
	reviews := "recording_id,decision,reason,reader,read_on\n"
	for i := range 14 {
		id := fmt.Sprintf("CanarySubject%02d", i)
		file, format := fmt.Sprintf("CanaryFolder/CanaryFile%02d", i), []string{"csv", "edf"}[i%2]
		samples, _ := simulate.Recording(id, 12, 128)
		text := "time_s,pressure,CanaryHeader\n"
		for k, v := range samples {
			text += fmt.Sprintf("%.7f,%.4f,CanaryHeader\n", float64(k)/128, v)
		}
		if format == "edf" {
			text = canaryEDF(samples)
		}
		if i == 4 {
			text = strings.Replace(text, "CanaryHeader\n1.0", "CanaryHeader\nCanaryCell", 1)
		}
		put(file+"."+format, text)
		subjects += id + "," + []string{"female", "male"}[i%2] + ",1961-05-17,CanaryFamily,CanaryCluster,CanaryHeader\n"
		visits += fmt.Sprintf("%s,v1,%d,2019-03-14\n", id, 50+i)
		cuff += fmt.Sprintf("%s,v1,1,%d,78,CanaryMode\n%s,v1,2,CanaryPressure,78,\n", id, 120+i, id)
		recordings += fmt.Sprintf("CanaryRecording%02d,%s,v1,%s.%s,%s,CanaryOperator,,2019-03-14T10:11:12\n", i, id, file, format, format)
		reviews += fmt.Sprintf("CanaryRecording%02d,accept,CanaryReason,CanaryReader,2019-03-15\n", i)
	}
	put("CanaryFolder/CanaryGone.csv", "time_s,pressure\n0,1\n")
	put("subjects.csv", subjects+"CanaryGone,female,,,,\n")
	put("visits.csv", visits+"CanaryGone,v1,50,\n")
	put("cuff.csv", cuff)
	put("recordings.csv", recordings+"CanaryGoneRecording,CanaryGone,v1,CanaryFolder/CanaryGone.csv,csv,,,\n")
	put("reviews.csv", reviews)
	put("withdrawn.csv", "subject_id,on\nCanaryGone,2020-01-01\n")
}

// canaryEDF has words in every field of free text.
func canaryEDF(samples []float64) string {
	var b bytes.Buffer
	pad := func(text string, n int) { b.WriteString((text + strings.Repeat(" ", n))[:n]) }
	for _, f := range []struct {
		text  string
		width int
	}{
		{"0", 8}, {"X F 01-JAN-1969 CanaryHeader", 80}, {"Startdate 02-FEB-2019 CanaryHeader", 80}, {"02.02.19", 8}, {"10.11.12", 8}, {"512", 8}, {"CanaryHeader", 44},
		{fmt.Sprint(len(samples) / 128), 8}, {"1", 8}, {"1", 4}, {"ART", 16}, {"CanaryHeader", 80}, {"mmHg", 8}, {"-300", 8}, {"300", 8}, {"-30000", 8}, {"30000", 8},
		{"CanaryHeader", 80}, {"128", 8}, {"CanaryHeader", 32},
	} {
		pad(f.text, f.width)
	}
	for _, v := range samples[:len(samples)/128*128] {
		n := uint16(int16(math.Round(v * 100)))
		b.Write([]byte{byte(n), byte(n >> 8)})
	}
	return b.String()
}

// said gives all text below a folder, Parquet decoded and gzip unpacked.
func said(t *testing.T, dir string) map[string]string {
	t.Helper()
	texts := map[string]string{}
	err := filepath.WalkDir(dir, func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		data, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel(dir, name)
		text := filepath.ToSlash(rel) + "\n" + string(data)
		if f, err := parquet.ReadAny(bytes.NewReader(data), int64(len(data))); err == nil {
			var b bytes.Buffer
			meta, _ := parquet.Metadata(bytes.NewReader(data), int64(len(data)))
			if err := parquet.WriteCSV(&b, f, parquet.CSVOptions{}); err != nil {
				return err
			}
			text += fmt.Sprint(meta) + b.String()
		}
		if z, err := gzip.NewReader(bytes.NewReader(data)); err == nil {
			plain, _ := io.ReadAll(z)
			text += string(plain)
		}
		texts[filepath.ToSlash(rel)] = text
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return texts
}

// TestNoCommandGivesPeopleAway runs every command that reads a study or its
// results, in a place and as a user with names to look for, and searches what
// each says and writes. Under keyed ids nothing but pseudonyms is written; what
// the terminal shows to who holds the study may name its files.
func TestNoCommandGivesPeopleAway(t *testing.T) {
	home := filepath.Join(t.TempDir(), "CanaryHome")
	canaryFolder(t, filepath.Join(home, "study"), "privacy: {ids: keyed, date_shift: keyed, age_top: 85}\n")
	temporary := filepath.Join(t.TempDir(), "CanaryTemporary")
	for _, dir := range []string{temporary, filepath.Join(home, "keys")} {
		if err := os.MkdirAll(dir, 0o777); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(filepath.Join(home, "keys", "key"), []byte("CanarySecret-0123456789abcdef0123456789abcdef\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Chdir(home)
	for name, value := range map[string]string{"TMPDIR": temporary, "USER": "CanaryUser", "LOGNAME": "CanaryUser", "HOSTNAME": "CanaryHost", "HOME": home} {
		t.Setenv(name, value)
	}
	never := []string{"CanaryHeader", "CanaryGone", "CanarySecret", "CanaryUser", "CanaryHost", "CanaryHome", "CanaryTemporary",
		"01-JAN-1969", "02-FEB-2019", "02.02.19", "10.11.12", "1961-05-17"}
	if host, err := os.Hostname(); err == nil && len(host) > 3 {
		never = append(never, host)
	}
	terminal := map[string]string{}
	judge := func(place, text string) {
		for _, word := range never {
			if strings.Contains(text, word) {
				t.Errorf("%s tells of %s: …%s…", place, word, around(text, word))
			}
		}
	}
	for _, line := range []string{
		"check study", "check study --json", "run study --out results --key-file keys/key --preview", "run study --out results --key-file keys/key",
		"run study --out again --key-file keys/key --quiet", "verify results", "rerun results --study study --key-file keys/key", "rerun results --from tables", "rerun results --from release --json",
		"rerun results --study study --key-file keys/key --sample 50%", "compare results again", "why results again", "export results exclusions", "export results reviews",
		"tables results --out plan", "package results --as ro-crate --out crate", "package results --as bagit --out bag --restricted", "package results --as data-package --out pack --restricted",
		"pool results --out both", "sheets results --study study --key-file keys/key --out book", "init drafted --from edf study/CanaryFolder", "run study", "check nowhere", "verify nowhere",
	} {
		var out, errs bytes.Buffer
		status := execute(context.Background(), strings.Fields(line), &out, &errs)
		terminal[line] = out.String() + errs.String()
		if status == exitInternal {
			t.Errorf("%s: status %d: %s", line, status, terminal[line])
		}
		if !strings.HasPrefix(line, "check") && !strings.HasPrefix(line, "run ") && !strings.HasPrefix(line, "init") {
			if word := regexp.MustCompile(`Canary\w+`).FindString(terminal[line]); word != "" {
				t.Errorf("%s says %s: …%s…", line, word, around(terminal[line], word))
			}
		}
		judge(line, terminal[line])
	}
	for _, folder := range []string{"results", "again", "plan", "crate", "bag", "pack", "both", "book"} {
		texts := said(t, filepath.Join(home, folder))
		if len(texts) < 2 {
			t.Errorf("%s: %d files: %s", folder, len(texts), fmt.Sprint(terminal))
		}
		for name, text := range texts {
			judge(folder+"/"+name, text)
			if word := regexp.MustCompile(`(?i)canary\w+|2019-03-1[45]`).FindString(text); word != "" {
				t.Errorf("%s/%s holds %s: …%s…", folder, name, word, around(text, word))
			}
		}
	}
	for name, text := range said(t, filepath.Join(home, "drafted")) { // a study: it has the files' names
		if !strings.HasPrefix(name, "waves/") {
			judge("drafted/"+name, text)
		}
	}
	if left := said(t, temporary); len(left) > 0 {
		t.Errorf("temporary files: %v", left)
	}
	if !strings.Contains(terminal["check study"], "CanaryFile") {
		t.Error("check names no file: is the search blind?")
	}
}

// around shows where a word stands.
func around(text, word string) string {
	at := strings.Index(text, word)
	return strings.ToValidUTF8(text[max(0, at-60):min(len(text), at+len(word)+40)], "?")
}

// A run that is stopped leaves its work behind: no more of people than results.
func TestStoppedRunGivesNobodyAway(t *testing.T) {
	home := t.TempDir()
	canaryFolder(t, filepath.Join(home, "study"), "privacy: {ids: keyed}\n")
	key := filepath.Join(home, "key")
	if err := os.WriteFile(key, []byte("CanarySecret-0123456789abcdef0123456789abcdef\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	results, kept := filepath.Join(home, "results"), 0
	waits := []time.Duration{0, 20, 60, 120, 200}
	for i := 0; i < len(waits); i++ {
		wait := waits[i]
		ctx, cancel := context.WithTimeout(context.Background(), wait*time.Millisecond)
		var out bytes.Buffer
		execute(ctx, []string{"run", filepath.Join(home, "study"), "--out", results, "--key-file", key, "--quiet"}, &out, &out)
		cancel()
		if _, err := os.Stat(results); err != nil {
			if i == len(waits)-1 && wait < 60_000 { // a busy machine has not come so far yet
				waits = append(waits, 2*wait)
			}
			continue
		}
		names := []string{}
		for name, text := range said(t, results) {
			names = append(names, name)
			if word := regexp.MustCompile(`Canary\w+`).FindString(text); word != "" {
				t.Errorf("after %v ms %s holds %s: …%s…", int(wait), name, word, around(text, word))
			}
		}
		slices.Sort(names)
		kept = max(kept, len(names))
	}
	if kept == 0 {
		t.Error("nothing was left behind: was it stopped?")
	}
}
