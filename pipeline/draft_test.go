package pipeline_test

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"tonocohort/pipeline"
	"tonocohort/schema"
	"tonocohort/testdata"
)

// draftFrom drafts a study and returns its folder. The source must be what it
// was, times of change and all.
func draftFrom(t *testing.T, source string, o pipeline.DraftOptions) (string, *pipeline.Drafted) {
	t.Helper()
	before := tree(t, source)
	dir := filepath.Join(t.TempDir(), "harbour")
	drafted, err := pipeline.Draft(context.Background(), source, dir, o)
	if err != nil {
		t.Fatal(err)
	}
	if tree(t, source) != before {
		t.Error("the source folder has changed")
	}
	if schema.AnyStructural(drafted.Issues) {
		t.Errorf("the draft has structural faults: %v", drafted.Issues)
	}
	return dir, drafted
}

// tree lists the files below a folder with size and time of change.
func tree(t *testing.T, dir string) string {
	t.Helper()
	var b strings.Builder
	err := filepath.WalkDir(dir, func(name string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := entry.Info()
		if err != nil {
			return err
		}
		fmt.Fprintln(&b, name, info.Size(), info.ModTime(), info.Mode())
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func textOf(t *testing.T, dir, name string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// A BIDS data set (1.10: participants.tsv, sessions.tsv, inheritance) becomes a
// study that runs once the cuff pressures are written in.
func TestDraftFromBIDS(t *testing.T) {
	source := &foreign{t: t, dir: t.TempDir()}
	source.write("dataset_description.json", `{"Name": "x", "BIDSVersion": "1.10.0"}`)
	source.write("participants.tsv", "participant_id\tage\tsex\theight\tsmoker\tinitials\tstatus\tpain level\tscore\n"+
		"sub-01\t34\tF\t1.68\tnever\tCanaryA\tgood\tlow\t1.5\nsub-02\tn/a\tm\tn/a\tformer\tCanaryB\tn/a\thigh\tn/a\nsub-03\t70\tX\t1.80\tnever\t\t\t\t2\n")
	source.write("participants.json", `{"height": {"Units": "m"}, "age": {"Units": "years"}}`)
	source.write("sub-02/sub-02_sessions.tsv", "session_id\tage\tacq_time\troom\nses-a\t51\t2019-02-02T10:11:12\tR1\nses-b\t53\t2021-02-02T10:11:12\tR2\n")
	source.write("task-rest_physio.json", `{"SamplingFrequency": 128, "StartTime": 0, "Columns": ["radial_tonometry", "trigger"], "radial_tonometry": {"Units": "mmHg"}}`)
	for i, folder := range []string{"sub-01", "sub-02/ses-a", "sub-02/ses-b", "sub-04"} {
		var rows strings.Builder
		for _, v := range gridWave(fmt.Sprint("bids", i), 20) {
			fmt.Fprintf(&rows, "%.3f\t0\n", v)
		}
		source.write(folder+"/func/"+strings.ReplaceAll(folder, "/", "_")+"_task-rest_physio.tsv.gz", zipped(t, rows.String()))
	}
	dir, drafted := draftFrom(t, source.dir, pipeline.DraftOptions{From: "bids"})
	for name, want := range map[string]string{
		"subjects.csv": "subject_id,sex,height_cm,weight_kg,smoker,subject_status,pain-level,score\nsub-01,F,1.68,,never,good,low,1.5\nsub-02,m,,,former,,high,\nsub-03,X,1.80,,never,,,2\nsub-04,,,,,,,\n",
		"visits.csv":   "subject_id,visit_id,age_years,treated,room\nsub-01,v1,34,,\nsub-02,ses-a,51,,R1\nsub-02,ses-b,53,,R2\nsub-04,v1,,,\n",
		"cuff.csv":     "subject_id,visit_id,reading,sbp_mmhg,dbp_mmhg\nsub-01,v1,1,,\nsub-02,ses-a,1,,\nsub-02,ses-b,1,,\nsub-04,v1,1,,\n",
		"recordings.csv": "recording_id,subject_id,visit_id,file,format,channel,sampling_hz,unit,artery\n" +
			"sub-01_task-rest,sub-01,v1,waves/sub-01/func/sub-01_task-rest_physio.tsv.gz,bids,radial_tonometry,128,mmHg,\n" +
			"sub-02_ses-a_task-rest,sub-02,ses-a,waves/sub-02/ses-a/func/sub-02_ses-a_task-rest_physio.tsv.gz,bids,radial_tonometry,128,mmHg,\n" +
			"sub-02_ses-b_task-rest,sub-02,ses-b,waves/sub-02/ses-b/func/sub-02_ses-b_task-rest_physio.tsv.gz,bids,radial_tonometry,128,mmHg,\n" +
			"sub-04_task-rest,sub-04,v1,waves/sub-04/func/sub-04_task-rest_physio.tsv.gz,bids,radial_tonometry,128,mmHg,\n",
	} {
		if got := textOf(t, dir, name); got != want {
			t.Errorf("%s:\n%s\nwant\n%s", name, got, want)
		}
	}
	settings, list := textOf(t, dir, "study.yaml"), textOf(t, dir, pipeline.FillIn)
	for _, want := range []string{`id: "harbour"`, `{name: "smoker", in: subjects, type: category, levels: ["former", "never"]}`, `{name: "score", in: subjects, type: number}`,
		`{name: "room", in: visits, type: category, levels: ["R1", "R2"]}`, `recode: {sex: {"F": female, "m": male}}`, "units: {height_cm: m}"} {
		if !strings.Contains(settings, want) {
			t.Errorf("study.yaml lacks %s:\n%s", want, settings)
		}
	}
	for _, want := range []string{`recode sex "X"`, `the column "initials" was not taken over`, `"acq_time" was not taken over`, `"status" is called subject_status`,
		"sex: empty for 1 of 4 persons", "age_years: empty for 1 of 4 visits", "confirm the channel of 4 files: 1 radial_tonometry (128 Hz, mmHg)"} {
		if !strings.Contains(list, want) {
			t.Errorf("the list lacks %s:\n%s", want, list)
		}
	}
	if strings.Contains(settings+list+textOf(t, dir, "subjects.csv")+textOf(t, dir, "visits.csv"), "Canary") || strings.Contains(textOf(t, dir, "visits.csv"), "2019") {
		t.Error("what tells who or when was taken over")
	}
	if len(drafted.ToFill) != strings.Count(list, "- [ ]") {
		t.Error("the printed list is not the written one")
	}
	fillCuff(t, dir)
	outcome, err := pipeline.Run(context.Background(), dir, filepath.Join(t.TempDir(), "results"), pipeline.Options{})
	if err != nil || outcome.Manifest.Counts.Recordings.Used != 4 {
		t.Fatalf("filled in, the draft runs: %v, %+v", err, outcome)
	}
}

// fillCuff writes a pressure into every reading.
func fillCuff(t *testing.T, dir string) {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(textOf(t, dir, "cuff.csv"))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	for i, row := range rows {
		if i > 0 {
			row[3], row[4] = "128", "78"
		}
		b.WriteString(strings.Join(row, ",") + "\n")
	}
	if err := os.WriteFile(filepath.Join(dir, "cuff.csv"), []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
}

// Headers fill channel, rate and unit; of people they fill nothing.
func TestDraftFromHeaders(t *testing.T) {
	source := &foreign{t: t, dir: t.TempDir()}
	for i := range 4 {
		samples := gridWave(fmt.Sprint("draft", i), 20)
		name := fmt.Sprintf("site/P%d_V%d_left", i/2, i%2)
		source.write(name+".EDF", edfText(samples, false, "CanaryHeader"))
		source.write(name+".csv", csvText(samples, true, ";", ","))
		header, data := wfdbText(samples, filepath.Base(name), "CanaryHeader")
		source.write(name+".hea", header)
		source.write(name+".dat", data)
	}
	source.write("site/all.hea", "all/2 1 128 5120\nP0_V0_left 2560\nP0_V1_left 2560\n")
	source.write("notes.edf", "<html>CanaryPage</html>")
	for _, form := range []string{"edf", "wfdb", "csv"} {
		o := pipeline.DraftOptions{From: form, Names: "{subject}_{visit}_*", Link: form == "csv"}
		dir, drafted := draftFrom(t, source.dir, o)
		recordings := textOf(t, dir, "recordings.csv")
		row := map[string]string{"edf": "P1_V0_left,P1,V0,waves/site/P1_V0_left.EDF,edf,ART,128,mmHg,\n",
			"wfdb": "P1_V0_left,P1,V0,waves/site/P1_V0_left.hea,wfdb,ART,128,mmHg,\n", "csv": "P1_V0_left,P1,V0,waves/site/P1_V0_left.csv,csv,pressure,,,\n"}[form]
		// Two records of the first person are segments of another record, whose
		// name does not fit the pattern.
		want := map[string]int{"edf": 4, "wfdb": 2, "csv": 4}[form]
		if !strings.Contains(recordings, row) || strings.Count(recordings, "\n")-1 != want || drafted.Recordings != want {
			t.Errorf("%s:\n%s", form, recordings)
		}
		list := textOf(t, dir, pipeline.FillIn)
		for _, name := range []string{"study.yaml", "subjects.csv", "visits.csv", "cuff.csv"} {
			list += textOf(t, dir, name)
		}
		if strings.Contains(list, "Canary") || strings.Contains(list, "1969") {
			t.Errorf("%s: a header speaks:\n%s", form, list)
		}
		if form == "edf" && !strings.Contains(list, "1 file left out: is no EDF") {
			t.Errorf("a page saved as EDF is not listed:\n%s", list)
		}
		fillCuff(t, dir)
		outcome, err := pipeline.Run(context.Background(), dir, filepath.Join(t.TempDir(), "results"), pipeline.Options{})
		if err != nil || outcome.Manifest.Counts.Recordings.Used != want {
			t.Errorf("%s: filled in, the draft runs: %v", form, err)
		}
	}
}

// The collections of others draft without a structural fault.
func TestDraftFromFoldersOfOthers(t *testing.T) {
	for folder, from := range map[string]string{"bids_physio": "bids", "wfdb_python_samples": "wfdb", "edfreader_cran": "edf", "edf_bdf_pyedflib": "edf",
		"edf_jl": "edf", "malformed_from_issues": "edf", "valsalva_ncsu": "csv"} {
		dir, drafted := draftFrom(t, testdata.External(t, "data/"+folder), pipeline.DraftOptions{From: from})
		if drafted.Recordings == 0 || len(drafted.ToFill) < 5 {
			t.Errorf("%s: %+v", folder, drafted)
		}
		if _, err := os.Stat(filepath.Join(dir, "waves")); err != nil {
			t.Error(err)
		}
	}
}

// Nothing is written into the source, over a study or outside the new folder.
func TestDraftIsRefused(t *testing.T) {
	source := &foreign{t: t, dir: t.TempDir()}
	source.write("a.csv", csvText(gridWave("draft", 10), true, ",", "."))
	full := &foreign{t: t, dir: t.TempDir()}
	full.write("study.yaml", "x")
	link := filepath.Join(t.TempDir(), "link")
	if err := os.Symlink(source.dir, link); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		dir, says string
		o         pipeline.DraftOptions
	}{
		"inside the source":  {filepath.Join(source.dir, "study"), "inside the folder", pipeline.DraftOptions{From: "csv"}},
		"through a link":     {filepath.Join(link, "study"), "inside the folder", pipeline.DraftOptions{From: "csv"}},
		"over a study":       {full.dir, "not empty", pipeline.DraftOptions{From: "csv"}},
		"of a study":         {filepath.Join(t.TempDir(), "s"), "is a study already", pipeline.DraftOptions{From: "csv"}},
		"nothing there":      {filepath.Join(t.TempDir(), "s"), "no recording of the form edf", pipeline.DraftOptions{From: "edf"}},
		"a pattern of none":  {filepath.Join(t.TempDir(), "s"), "no {subject}", pipeline.DraftOptions{From: "csv", Names: "{visit}"}},
		"a pattern of twice": {filepath.Join(t.TempDir(), "s"), "stands twice", pipeline.DraftOptions{From: "csv", Names: "{subject}{subject}"}},
	} {
		from := source.dir
		if name == "of a study" {
			from = full.dir
		}
		_, err := pipeline.Draft(context.Background(), from, c.dir, c.o)
		var wrong *pipeline.DraftError
		if !errors.As(err, &wrong) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A folder as people keep it: what can be read is drafted once each, and whatever
// looks like a recording and is none is listed by name with its reason.
func TestDraftFromAMessyFolder(t *testing.T) {
	source := &foreign{t: t, dir: t.TempDir()}
	good := csvText(gridWave("mess", 10), true, ",", ".")
	for _, name := range []string{"Praxis Süd/Müller, Jürgen.csv", "Praxis Süd/müller, jürgen.CSV", "deep/a/b/S 01.csv"} {
		source.write(name, good)
	}
	source.write("new\nline.csv", good)
	source.write("semicolons.csv", csvText(gridWave("mess", 10), true, ";", ","))
	source.write("commas.csv", csvText(gridWave("mess", 10), true, ",", ","))
	source.write("empty.csv", "")
	source.write("list.csv", "name,phone\nAnna,none\n")
	source.write("sheet.csv", "PK\x03\x04\x14\x00\n")
	for _, unseen := range []string{"._S 01.csv", "Praxis Süd/._S 01.csv", ".DS_Store", "Thumbs.db", "old.zip", "~$list.xlsx"} {
		source.write(unseen, "\x00\x05\x16\x07")
	}
	for name, target := range map[string]string{"out.csv": "/etc/hostname", "round": ".", "deep/a/up": "..", "away": "/etc"} {
		if err := os.Symlink(target, filepath.Join(source.dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	if err := syscall.Mkfifo(filepath.Join(source.dir, "pipe.csv"), 0o600); err != nil {
		t.Fatal(err)
	}
	dir, drafted := draftFrom(t, source.dir, pipeline.DraftOptions{From: "csv"})
	if drafted.Recordings != 3 {
		t.Errorf("%d recordings:\n%s", drafted.Recordings, textOf(t, dir, "recordings.csv"))
	}
	list := textOf(t, dir, pipeline.FillIn)
	for file, why := range map[string]string{
		`"new\nline.csv"`: "rename it", "semicolons.csv": "waveforms: {delimiter: semicolon", "commas.csv": "no setting reads it", "empty.csv": "is empty",
		"list.csv": "is a word, not a number", "sheet.csv": "is it a spreadsheet?", "out.csv": "leads out of the folder", "round": "a link to a folder",
		"deep/a/up": "a link to a folder", "pipe.csv": "is a FIFO",
	} {
		found := false
		for line := range strings.Lines(list) {
			found = found || strings.Contains(line, file) && strings.Contains(line, why) && strings.Contains(line, "left out")
		}
		if !found {
			t.Errorf("no line says of %s that it %s", file, why)
		}
	}
	for _, unseen := range []string{"._S", "Thumbs", "zip", "xlsx"} {
		if strings.Contains(list, unseen) {
			t.Errorf("%s is listed", unseen)
		}
	}
	if t.Failed() {
		t.Log(list)
	}
}
