package pipeline_test

import (
	"context"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"tonocohort/pipeline"
	"tonocohort/schema"
	"tonocohort/testdata"
)

func (f *foreign) check() []schema.Issue {
	f.t.Helper()
	issues, err := pipeline.Check(context.Background(), f.dir, nil)
	if err != nil {
		f.t.Fatal(err)
	}
	return issues
}

// highest returns the highest value of a column of a recording.
func highest(t *testing.T, path, column string) float64 {
	t.Helper()
	high := math.Inf(-1)
	for _, row := range rowsOf(t, path) {
		v, err := strconv.ParseFloat(row[column], 64)
		if err != nil {
			t.Fatal(err)
		}
		high = max(high, v)
	}
	return high
}

// A study names the function that was derived from other people: its aortic
// pressures come out, the file stands among the hashed inputs, and a wave of
// another artery is left out for that reason, in check as in a run.
func TestRunWithADerivedTransferFunction(t *testing.T) {
	dir := t.TempDir()
	if err := testdata.WritePairs(dir, 12, publishedArm()); err != nil {
		t.Fatal(err)
	}
	fitted(t, dir, filepath.Join(dir, "own.json"), pipeline.FitOptions{Source: "a laboratory"})
	f := newForeign(t, "central: {method: transfer_table, transfer_file: transfers/own.json}\ncalibration: {primary: as_recorded}\n")
	f.copy("transfers/own.json", filepath.Join(dir, "own.json"))
	for i, heartRate := range []float64{58, 66, 83} {
		id := fmt.Sprintf("N%d", i+1)
		if err := testdata.WritePair(f.dir, id, publishedArm(), heartRate); err != nil {
			t.Fatal(err)
		}
		f.person(id, "female", "40", "120", "80")
		f.recording(id, id+".csv", "csv", "wrist", "200", "mmHg", "radial")
	}
	f.person("N4", "male", "50", "120", "80")
	f.recording("N4", "N1.csv", "csv", "wrist", "200", "mmHg", "brachial")
	rows, outcome := f.run()
	for row := range 3 {
		id := fmt.Sprintf("N%d", row+1)
		truth := highest(t, filepath.Join(f.dir, id+".csv"), "aorta")
		sbp, se := rows.Number(row, "central_sbp_mmhg"), rows.Number(row, "central_sbp_mmhg_se")
		if rows.TextAt(row, "central_method") != "transfer_table" || math.Abs(sbp-truth) > 1 || !(se > 0) {
			t.Errorf("%s: central SBP %.2f ± %.2f by %s; the aorta had %.2f", id, sbp, se, rows.TextAt(row, "central_method"), truth)
		}
	}
	if rows.TextAt(3, "status") != "failed" || rows.TextAt(3, "reason") != "no_transfer" {
		t.Errorf("a brachial wave through a radial function: %s, %s", rows.TextAt(3, "status"), rows.TextAt(3, "reason"))
	}
	if !slices.ContainsFunc(outcome.Manifest.Inputs, func(in schema.File) bool { return in.Path == "transfers/own.json" && len(in.SHA256) == 64 }) {
		t.Error("the transfer function is not among the inputs of the manifest")
	}
	if got := outcome.Manifest.Settings.Central.TransferFile; got != "transfers/own.json" {
		t.Errorf("transfer_file %q in the manifest", got)
	}
	if !slices.ContainsFunc(f.check(), func(i schema.Issue) bool { return i.Code == "no_transfer" && i.RecordingID == "R-N4" && i.Row == 5 }) {
		t.Error("check does not show the wave of the other artery")
	}
}

// A table that was published as modulus and phase is read from csv.
func TestRunWithAPublishedTable(t *testing.T) {
	f := newForeign(t, "central: {method: transfer_table, transfer_file: published.csv}\ncalibration: {primary: as_recorded}\n")
	// The tube at the published radial peak, Karamanoglu 1993, aorta → artery.
	f.write("published.csv", `# source: the published peak as a table
# artery: radial
# direction: aorta_to_artery
hz,modulus,phase_deg
0,1,0
0.5,1.0170,-4.06
1,1.0707,-8.41
2,1.3318,-19.65
3,1.9791,-40.77
4,2.8000,-90.0
5,1.9791,-139.23
6,1.3318,-160.35
7,1.0707,-171.59
8,1.0000,-180.0
`)
	if err := testdata.WritePair(f.dir, "N1", publishedArm(), 60); err != nil {
		t.Fatal(err)
	}
	f.person("N1", "female", "40", "120", "80")
	f.recording("N1", "N1.csv", "csv", "wrist", "200", "mmHg", "radial")
	rows, _ := f.run()
	// The table ends at 8 Hz and its straight lines cut the peak: a little is lost.
	truth := highest(t, filepath.Join(f.dir, "N1.csv"), "aorta")
	if got := rows.Number(0, "central_sbp_mmhg"); rows.TextAt(0, "central_method") != "transfer_table" || math.Abs(got-truth) > 2 {
		t.Errorf("central SBP %.2f by %s; the aorta had %.2f", got, rows.TextAt(0, "central_method"), truth)
	}
	if se := rows.Number(0, "central_sbp_mmhg_se"); !math.IsNaN(se) {
		t.Errorf("a standard error of %.2f with a table of which nobody knows how far it errs", se)
	}
}

func TestTransferFileIsCheckedWithTheSettings(t *testing.T) {
	for settings, code := range map[string]string{
		"central: {method: transfer_table}\n":                                       "missing_setting",
		"central: {transfer_file: own.json}\n":                                      "unused_setting",
		"central: {method: transfer_table, transfer_file: ../own.json}\n":           "file_outside_study",
		"central: {method: transfer_table, transfer_file: absent.json}\n":           "missing_file",
		"central: {method: transfer_table, transfer_file: study.yaml}\n":            "bad_transfer",
		"central: {method: transfer_table, transfer_fiel: own.json}\n":              "unknown_setting",
		"central: {method: tube_constant, also: [transfer_table, late_shoulder]}\n": "missing_setting",
	} {
		f := newForeign(t, settings)
		issues := f.check()
		if !slices.ContainsFunc(issues, func(i schema.Issue) bool { return i.Code == code && i.Row == 4 && i.Size == schema.SizeStructural }) {
			t.Errorf("%s: no %s at line 4", strings.TrimSpace(settings), code)
			for _, i := range issues {
				t.Logf("  %s %s", i.Code, i)
			}
		}
	}
}

// The paired waves of 71 virtual people, two independent one-dimensional flow
// solvers, from files to the validation: what each subject's others gave is
// nearer to the truth than the published tube. One of them has 22 to 95 mmHg,
// which no adult has, and is left out.
func TestFitOnVirtualPeople(t *testing.T) {
	folder := testdata.External(t, "data/onedim-train")
	dir := t.TempDir()
	table := "pair_id,subject_id,central_file,central_channel,peripheral_file,peripheral_channel,sampling_hz,artery\n"
	for _, person := range rowsOf(t, filepath.Join(folder, "params.csv")) {
		id := person["id"]
		beats, err := os.ReadFile(filepath.Join(folder, "waves", id+".csv"))
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(strings.NewReader(string(beats))).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		var b strings.Builder
		b.WriteString("aorta,radial\n")
		for range 8 { // two steady beats, again and again
			for _, row := range rows[1:] {
				b.WriteString(row[1] + "," + row[4] + "\n")
			}
		}
		if err := os.WriteFile(filepath.Join(dir, id+".csv"), []byte(b.String()), 0o666); err != nil {
			t.Fatal(err)
		}
		table += fmt.Sprintf("%s,%s,%s.csv,aorta,%s.csv,radial,500,radial\n", id, id, id, id)
	}
	if err := os.WriteFile(filepath.Join(dir, "pairs.csv"), []byte(table), 0o666); err != nil {
		t.Fatal(err)
	}
	tf := fitted(t, dir, filepath.Join(dir, "own.json"), pipeline.FitOptions{}).Transfer
	if c := tf.Counts.Pairs; c.Found != 71 || c.Used != 70 || c.Excluded != 1 {
		t.Errorf("pairs %+v", c)
	}
	for _, v := range []string{"central_sbp_mmhg", "central_sbp_above_map_mmhg", "central_pp_mmhg", "augmentation_index_pct", "wave_rmse_mmhg"} {
		own, published := errorIn(t, tf, "transfer_table", v), errorIn(t, tf, "tube_constant", v)
		t.Logf("%s: derived %+.2f ± %.2f, published tube %+.2f ± %.2f", v, own.Bias, own.SD, published.Bias, published.SD)
		if own.SD >= published.SD || v != "central_sbp_mmhg" && math.Abs(own.Bias) >= math.Abs(published.Bias) {
			t.Errorf("%s: derived %+.2f ± %.2f, published tube %+.2f ± %.2f", v, own.Bias, own.SD, published.Bias, published.SD)
		}
	}
	// Mean pressure falls by 2.8 ± 1.1 mmHg from the root of the aorta to the wrist
	// in these people, as their description says.
	if m := tf.MeanStep; math.Abs(m.Mean+2.8) > 0.1 || math.Abs(m.SD-1.1) > 0.1 {
		t.Errorf("mean pressure changes by %+.2f ± %.2f mmHg", m.Mean, m.SD)
	}
}
