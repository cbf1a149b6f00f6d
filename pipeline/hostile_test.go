package pipeline_test

import (
	"context"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"tonocohort/pipeline"
	"tonocohort/schema"
	"tonocohort/testdata"
)

// neighbours are two good recordings, one before and one behind the others by
// id, and what they come to when they are alone.
type neighbours struct {
	f    *foreign
	want *schema.Frame
}

func withNeighbours(t *testing.T, settings string) *neighbours {
	t.Helper()
	add := func(f *foreign) {
		for _, id := range []string{"A-good", "Z-good"} {
			f.write(id+".csv", csvText(gridWave(id, 20), true, ",", "."))
			f.person(id, "female", "50", "128", "78")
			f.recording(id, id+".csv", "csv", "", "", "", "radial")
		}
	}
	alone := newForeign(t, settings)
	add(alone)
	want, _ := alone.run()
	f := newForeign(t, settings)
	add(f)
	return &neighbours{f, want}
}

// unharmed holds the neighbours' values.
func (n *neighbours) unharmed(t *testing.T, got *schema.Frame) {
	t.Helper()
	for _, pair := range [][2]int{{0, 0}, {1, got.N - 1}} {
		if got.TextAt(pair[1], "status") != "used" || got.TextAt(pair[1], "recording_id") != n.want.TextAt(pair[0], "recording_id") {
			t.Fatalf("%s: %s", got.TextAt(pair[1], "recording_id"), got.TextAt(pair[1], "reason"))
		}
		for _, c := range schema.ValueColumns() {
			if a, b := got.Number(pair[1], c.Name), n.want.Number(pair[0], c.Name); a != b && !(math.IsNaN(a) && math.IsNaN(b)) {
				t.Errorf("%s: %s is %v, alone %v", got.TextAt(pair[1], "recording_id"), c.Name, a, b)
			}
		}
	}
}

func (n *neighbours) add(id, file, format, channel string) {
	n.f.person(id, "male", "40", "120", "70")
	n.f.recording(id, file, format, channel, "", "", "radial")
}

func reasons(got *schema.Frame) map[string]string {
	found := map[string]string{}
	for row := range got.N {
		found[got.TextAt(row, "recording_id")] = got.TextAt(row, "reason")
	}
	return found
}

// What a table or a file can do to hurt a run costs the recording it stands in:
// its reason is told, nothing outside the study is opened, no memory is taken on
// the word of a header, and the neighbours keep their values.
func TestHostileInputCostsItsRecording(t *testing.T) {
	n := withNeighbours(t, "")
	f := n.f
	outside := filepath.Join(t.TempDir(), "secret.csv")
	if err := os.WriteFile(outside, []byte(csvText(gridWave("secret", 20), true, ",", ".")), 0o600); err != nil {
		t.Fatal(err)
	}
	link := func(target, name string) {
		if err := os.Symlink(target, filepath.Join(f.dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	link(outside, "link.csv")
	link(filepath.Dir(outside), "folder")
	link("/dev/zero", "zero.csv")
	link("circle.csv", "circle.csv")
	if err := syscall.Mkfifo(filepath.Join(f.dir, "fifo.csv"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(f.dir, "dir.csv"), 0o700); err != nil {
		t.Fatal(err)
	}
	good := csvText(gridWave("twin", 20), true, ",", ".")
	f.write("twin.csv", good)
	f.write("TWIN.csv", good)
	f.write("escape.hea", "escape 1 128 2560\n../"+filepath.Base(outside)+" 16 8(0)/mmHg 12 0 0 0 0 ART\n")
	f.write("claims.hea", "claims 1 128 8000000000000\nclaims.dat 16 8(0)/mmHg 12 0 0 0 0 ART\n")
	f.write("claims.dat", "\x00\x00")
	edf := edfText(gridWave("hostile", 20), false, "x")
	f.write("records.edf", edf[:236]+"99999999"+edf[244:])
	f.write("signals.edf", edf[:252]+"9999"+edf[256:])
	f.write("samples.edf", edf[:256+216]+"99999999"+edf[256+224:])
	f.write("garbage.parquet", "PAR1"+strings.Repeat("\xff", 200)+"\xff\xff\xff\x7fPAR1")
	f.write("cut.csv.gz", zipped(t, good)[:500])
	f.write("side_physio.tsv.gz", zipped(t, "1\n2\n"))
	f.write("side_physio.json", `{"SamplingFrequency": 128, "Columns": ["a"], "x": "`+strings.Repeat("x", 5<<20)+`"}`)
	f.write("nul.csv", "time_s,pressure\n0,1\n0.01,\x00\x00\n")
	want := map[string]string{}
	for _, c := range [][]string{
		{outside, "csv", "file_outside_study"}, {"../../etc/passwd", "csv", "file_outside_study"}, {"link.csv", "csv", "path_leaves_folder"},
		{"folder/secret.csv", "csv", "path_leaves_folder"}, {"zero.csv", "csv", "path_leaves_folder"}, {"circle.csv", "csv", "path_leaves_folder"},
		{"fifo.csv", "csv", "not_a_regular_file"}, {"dir.csv", "csv", "not_a_regular_file"}, {"twin.csv", "csv", "file_differs_in_case"}, {"TWIN.csv", "csv", "file_differs_in_case"},
		{"escape.hea", "wfdb", "wfdb_signal_path"}, {"claims.hea", "wfdb", "file_truncated"}, {"records.edf", "edf", "file_truncated"},
		{"signals.edf", "edf", "edf_header"}, {"samples.edf", "edf", "edf_header"}, {"garbage.parquet", "parquet", "read_failed"},
		{"cut.csv.gz", "csv", "gzip_damaged"}, {"side_physio.tsv.gz", "bids", "file_too_large"}, {"nul.csv", "csv", "not_a_number"}, {"none.csv", "csv", "file_missing"},
	} {
		id := "B-" + string(rune('a'+len(want)))
		n.add(id, c[0], c[1], "")
		want["R-"+id] = c[2]
	}
	got, outcome := f.run()
	n.unharmed(t, got)
	for id, reason := range reasons(got) {
		if w, hostile := want[id]; hostile && reason != w {
			t.Errorf("%s: %q, want %q", id, reason, w)
		}
	}
	if c := outcome.Manifest.Counts.Recordings; c.Failed != len(want) || c.Used != 2 || c.Found != len(want)+2 {
		t.Errorf("%+v", c)
	}
	for _, in := range outcome.Manifest.Inputs {
		if strings.Contains(in.Path, "secret") {
			t.Errorf("%s was read", in.Path)
		}
	}
}

// Text that a spreadsheet would run is refused in ids and levels at input; a
// table for spreadsheets is safe, and the table for programs is not changed.
func TestFormulasAreRefused(t *testing.T) {
	f := newForeign(t, "covariates: [{name: smoker, in: subjects, type: category}, {name: remark, in: subjects, type: text}]\n")
	f.subjects[0] = append(f.subjects[0], "smoker", "remark", "centre")
	for i, formula := range []string{"=1+1", "+1", "-1", "@SUM(A1)"} {
		id := "P" + string(rune('1'+i))
		f.subjects = append(f.subjects, []string{id, "female", formula, formula, formula})
		f.visits = append(f.visits, []string{id, "v1", "50"})
		f.recordings = append(f.recordings, []string{formula, id, "v1", "w.csv", "csv", "", "128", "", "radial"})
	}
	_, outcome := f.run()
	refused := map[string]int{}
	for _, i := range outcome.Issues {
		if i.Code == "formula_leading" {
			refused[i.Name]++
		}
	}
	for _, name := range []string{"smoker", "remark", "centre", "recording_id"} {
		if refused[name] != 4 {
			t.Errorf("%s: %d formulas refused, want 4", name, refused[name])
		}
	}
}

// Each of these files has a defect that users reported, or is a control
// (MANIFEST.tsv beside them). All in one study, with good neighbours: a defect
// costs its recording by a reason of its own, none a fault of the program, and
// what could be read is judged as the brain waves that they hold.
func TestRunOnFilesThatUsersReported(t *testing.T) {
	data := testdata.External(t, "data/malformed_from_issues")
	n := withNeighbours(t, "")
	entries, err := os.ReadDir(data)
	if err != nil {
		t.Fatal(err)
	}
	count := 0
	for _, e := range entries {
		name := e.Name()
		n.f.copy("m/"+name, filepath.Join(data, name))
		switch filepath.Ext(name) {
		case ".edf":
			n.add("M-"+strings.TrimSuffix(name, ".edf"), "m/"+name, "edf", "1")
		case ".hea":
			n.add("M-"+strings.TrimSuffix(name, ".hea"), "m/"+name, "wfdb", "ABP")
		default:
			continue
		}
		count++
	}
	got, outcome := n.f.run()
	n.unharmed(t, got)
	want := map[string]string{
		"edf_duration_zero": "edf_header", "edf_empty": "no_samples", "edf_header_bytes_wrong": "edf_header", "edf_html_error_page": "edf_version",
		"edf_non_ascii_version": "edf_version", "edf_nrecords_too_large": "file_truncated", "edf_ns_text": "edf_header", "edf_255_bytes": "file_truncated",
		"edf_truncated_last_record": "file_truncated", "wfdb_bad_checksum": "checksum_mismatch", "wfdb_dat_path_escape": "wfdb_signal_path",
		"wfdb_missing_dat": "file_missing", "wfdb_short_dat": "file_truncated", "wfdb_swapped_gain_units": "wfdb_gain",
	}
	found := reasons(got)
	for id, reason := range found {
		if reason == "reader_failed" || reason == "computing_failed" {
			t.Errorf("%s: %s", id, reason)
		}
		if w := want[strings.TrimPrefix(id, "R-M-")]; w != "" && w != reason {
			t.Errorf("%s: %s, want %s", id, reason, w)
		}
	}
	if c := outcome.Manifest.Counts.Recordings; c.Found != count+2 || count < 25 || len(found) != count+2 || c.Failed < len(want) {
		t.Errorf("%d files: %+v", count, c)
	}
}

// The collections of others run from their first draft to sealed results: every
// recording is accounted for, and none is lost to a fault of the program.
func TestRunOnCollectionsOfOthers(t *testing.T) {
	for folder, from := range map[string]string{"bids_physio": "bids", "wfdb_python_samples": "wfdb", "edfreader_cran": "edf", "edf_bdf_pyedflib": "edf", "edf_jl": "edf"} {
		dir := filepath.Join(t.TempDir(), "study")
		drafted, err := pipeline.Draft(context.Background(), testdata.External(t, "data/"+folder), dir, pipeline.DraftOptions{From: from})
		if err != nil {
			t.Fatal(err)
		}
		chooseFirst(t, dir)
		fillCuff(t, dir)
		results := filepath.Join(t.TempDir(), "results")
		outcome, err := pipeline.Run(context.Background(), dir, results, pipeline.Options{})
		if err != nil {
			t.Fatal(err)
		}
		c := outcome.Manifest.Counts.Recordings
		if c.Found != drafted.Recordings || c.Found != c.Used+c.Excluded+c.Failed {
			t.Errorf("%s: %+v of %d", folder, c, drafted.Recordings)
		}
		codes := []string{}
		for _, r := range outcome.Reasons {
			codes = append(codes, r.Reason)
		}
		slices.Sort(codes)
		if slices.Contains(codes, "reader_failed") || slices.Contains(codes, "computing_failed") || slices.Contains(codes, "channel_required") {
			t.Errorf("%s: %v", folder, codes)
		}
		t.Logf("%s: %d recordings, %d used; left out: %s", folder, c.Found, c.Used, strings.Join(codes, " "))
		if _, differences, err := pipeline.Verify(context.Background(), results); err != nil || len(differences) > 0 {
			t.Errorf("%s: %v %v", folder, differences, err)
		}
	}
}

// chooseFirst fills the first channel in where the draft leaves it open.
func chooseFirst(t *testing.T, dir string) {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(textOf(t, dir, "recordings.csv"))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	w := csv.NewWriter(&b)
	for i, row := range rows {
		if i > 0 && row[5] == "" {
			row[5] = "1"
			if row[4] == "edf" && strings.Contains(row[3], "edfAnnon") {
				row[5] = "2" // its first signal holds annotations
			}
		}
		if err := w.Write(row); err != nil {
			t.Fatal(err)
		}
	}
	w.Flush()
	if err := os.WriteFile(filepath.Join(dir, "recordings.csv"), []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
}
