package pipeline_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"tonocohort/pipeline"
	"tonocohort/schema"
	"tonocohort/testdata"
)

// publishedArm has the forward gain with the published radial peak, 2.8 at 4 Hz
// (Karamanoglu 1993, Eur Heart J 14:160-7): Td = 1/(4·4 Hz), Γ = 1.8/3.8.
func publishedArm() testdata.Arm { return testdata.Arm{TravelS: 0.0625, Reflection: 9.0 / 19} }

func fitted(t *testing.T, dir, out string, o pipeline.FitOptions) *pipeline.FitOutcome {
	t.Helper()
	outcome, err := pipeline.Fit(context.Background(), filepath.Join(dir, "pairs.csv"), out, o)
	var structural *pipeline.StructuralError
	if errors.As(err, &structural) {
		for _, i := range structural.Issues {
			t.Log(i)
		}
	}
	if err != nil {
		t.Fatal(err)
	}
	return outcome
}

func errorIn(t *testing.T, tf *schema.Transfer, method, variable string) schema.TransferError {
	t.Helper()
	for _, e := range tf.Validated {
		if e.Method == method && e.Variable == variable {
			return e
		}
	}
	t.Fatalf("no %s of %s", variable, method)
	return schema.TransferError{}
}

func parameter(t *testing.T, tf *schema.Transfer, method, name string) float64 {
	t.Helper()
	for _, u := range tf.Tubes {
		for _, p := range u.Parameters {
			if u.Method == method && p.Name == name {
				return p.Value
			}
		}
	}
	t.Fatalf("no %s of %s", name, method)
	return math.NaN()
}

// Recordings of people with the published arm, from files to file: the gain, the
// tube and the central pressures come back, whatever the number of jobs.
func TestFitFindsThePublishedArm(t *testing.T) {
	dir := t.TempDir()
	if err := testdata.WritePairs(dir, 14, publishedArm()); err != nil {
		t.Fatal(err)
	}
	outcome := fitted(t, dir, filepath.Join(dir, "own.json"), pipeline.FitOptions{Jobs: 1, Source: "a test"})
	tf := outcome.Transfer
	// 1/modulus of the table of the published tube: 1.0707, 1.3318, 2.8000, 1.3318.
	for hz, forward := range map[float64]float64{1: 1.0707, 2: 1.3318, 4: 2.8000, 6: 1.3318} {
		i := slices.IndexFunc(tf.Table, func(r schema.TransferRow) bool { return r.Hz == hz })
		if got := 1 / tf.Table[i].Modulus; math.Abs(got/forward-1) > 0.03 {
			t.Errorf("%g Hz: forward modulus %.4f, published tube %.4f", hz, got, forward)
		}
	}
	td, reflection := parameter(t, tf, "tube_constant_fitted", "travel_ms"), parameter(t, tf, "tube_constant_fitted", "reflection")
	t.Logf("Td %.2f ms, Γ %.4f; foot delay %+v", td, reflection, tf.FootDelay)
	if math.Abs(td-62.5) > 1 || math.Abs(reflection-9.0/19) > 0.015 {
		t.Errorf("Td %.2f ms, Γ %.4f; the arm has 62.5 and 0.4737", td, reflection)
	}
	for variable, limit := range map[string]float64{"central_sbp_mmhg": 0.5, "central_dbp_mmhg": 0.5, "central_map_mmhg": 0.01, "wave_rmse_mmhg": 0.7} {
		e := errorIn(t, tf, "transfer_table", variable)
		if !e.OutOfFold || e.Subjects != 14 || math.Abs(e.Bias) > limit || e.SD > limit {
			t.Errorf("%s: %+.2f ± %.2f", variable, e.Bias, e.SD)
		}
	}
	if tf.Counts.Subjects != 14 || tf.Counts.Pairs.Used != 14 || tf.Folds != 10 || tf.BandMethod == "" || tf.Residual == nil {
		t.Errorf("counts %+v, folds %d, band %q", tf.Counts, tf.Folds, tf.BandMethod)
	}
	written, err := os.ReadFile(filepath.Join(dir, "own.json"))
	if err != nil {
		t.Fatal(err)
	}
	for _, word := range []string{"S01", "P01", ".csv", dir} {
		for _, name := range []string{"own.json", "own.md", "own.svg"} {
			if data, err := os.ReadFile(filepath.Join(dir, name)); err != nil || bytes.Contains(data, []byte(word)) {
				t.Errorf("%s names %q (%v)", name, word, err)
			}
		}
	}
	fitted(t, dir, filepath.Join(dir, "again.json"), pipeline.FitOptions{Jobs: 8, Source: "a test"})
	if again, err := os.ReadFile(filepath.Join(dir, "again.json")); err != nil || !bytes.Equal(again, written) {
		t.Errorf("eight jobs give other bytes (%v)", err)
	}
	if _, err := pipeline.Fit(context.Background(), filepath.Join(dir, "pairs.csv"), filepath.Join(dir, "own.json"), pipeline.FitOptions{}); !errors.Is(err, pipeline.ErrFileExists) {
		t.Errorf("writing over a file: %v", err)
	}
}

// Every fault of every pair is shown at once, each pair is left out for its own
// reason, and the others make the function.
func TestFitLeavesOutWhatIsNoPair(t *testing.T) {
	dir := t.TempDir()
	if err := testdata.WritePairs(dir, 12, publishedArm()); err != nil {
		t.Fatal(err)
	}
	if err := testdata.WritePair(dir, "fast", publishedArm(), 88); err != nil {
		t.Fatal(err)
	}
	write := func(name, text string) {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	source, err := os.ReadFile(filepath.Join(dir, "S01.csv"))
	if err != nil {
		t.Fatal(err)
	}
	var flat, timed, kilopascal strings.Builder
	flat.WriteString("pressure\n")
	timed.WriteString("time_s,pressure\n")
	kilopascal.WriteString("aorta,wrist\n")
	for i, line := range strings.Split(strings.TrimSpace(string(source)), "\n")[1:] {
		a, b, _ := strings.Cut(line, ",")
		flat.WriteString("95\n")
		fmt.Fprintf(&timed, "%.6f,%s\n", float64(i)/201.5, b) // another clock by 0.75 %
		var p, q float64
		if _, err := fmt.Sscan(a, &p); err != nil {
			t.Fatal(err)
		}
		if _, err := fmt.Sscan(b, &q); err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&kilopascal, "%.5f,%.5f\n", p*0.133322, q*0.133322)
	}
	write("flat.csv", flat.String())
	write("timed.csv", timed.String())
	write("kpa.csv", kilopascal.String())
	table, err := os.ReadFile(filepath.Join(dir, "pairs.csv"))
	if err != nil {
		t.Fatal(err)
	}
	bad := []struct{ row, code string }{
		{"B1,X1,S01.csv,wrist,S01.csv,aorta,200,radial", "channels_swapped"},
		{"B2,X2,S02.csv,aorta,flat.csv,,200,radial", "flat"},
		{"B3,X3,S01.csv,aorta,timed.csv,,200,radial", "sampling_mismatch"},
		{"B4,X4,S01.csv,aorta,timed.csv,,,radial", "sampling_missing"},
		{"B5,X5,S03.csv,aorta,absent.csv,,200,radial", "file_missing"},
		{"B6,X6,S04.csv,wrist,S04.csv,wrist,200,radial", "same_signal"},
		{"B7,X7,kpa.csv,aorta,kpa.csv,wrist,200,radial", "implausible_pressure"},
		{"B8,X8,S01.csv,aorta,fast.csv,wrist,200,radial", "heart_rates_differ"},
		{"B9,X9,S05.csv,aorta,/etc/passwd,wrist,200,radial", "file_outside_folder"},
		{"B10,X10,S05.csv,aorta,S05.csv,rwist,200,radial", "channel_missing"},
		{"B11,X11,S06.csv,aorta,S06.csv,wrist,2OO,radial", "unit_in_cell"},
		{"B12,X12,S06.csv,aorta,S06.csv,wrist,200,radail", "unknown_level"},
	}
	rows := string(table)
	for _, b := range bad {
		rows += b.row + "\n"
	}
	write("pairs.csv", rows)
	outcome := fitted(t, dir, filepath.Join(dir, "own.json"), pipeline.FitOptions{})
	for _, b := range bad {
		id, _, _ := strings.Cut(b.row, ",")
		if !slices.ContainsFunc(outcome.Issues, func(i schema.Issue) bool {
			return i.Code == b.code && i.RecordingID == id && i.Size == schema.SizeRecording
		}) {
			t.Errorf("%s: no issue %s", id, b.code)
			for _, i := range outcome.Issues {
				if i.RecordingID == id {
					t.Logf("  %s: %s", i.Code, i)
				}
			}
		}
	}
	if c := outcome.Transfer.Counts; c.Pairs.Found != 24 || c.Pairs.Used != 12 || c.Pairs.Used+c.Pairs.Excluded+c.Pairs.Failed != 24 || c.Subjects != 12 {
		t.Errorf("counts %+v", c)
	}
}

func TestFitRefusesAWrongTable(t *testing.T) {
	header := "pair_id,subject_id,central_file,central_channel,peripheral_file,peripheral_channel,sampling_hz,artery\n"
	row := func(i int, file, artery string) string {
		return fmt.Sprintf("P%d,X%d,%s.csv,aorta,%s.csv,wrist,200,%s\n", i, i, file, file, artery)
	}
	dir := t.TempDir()
	if err := testdata.WritePairs(dir, 6, publishedArm()); err != nil {
		t.Fatal(err)
	}
	six := ""
	for i := 1; i <= 6; i++ {
		six += row(i, fmt.Sprintf("S%02d", i), "radial")
	}
	for _, c := range []struct {
		name, text string
		codes      []string
	}{
		{"too few subjects, though enough pairs", header + row(1, "S01", "radial") + row(2, "S02", "radial") + row(3, "S03", "radial") + row(4, "S04", "radial") +
			"P9,X1,S05.csv,aorta,S05.csv,wrist,200,radial\n", []string{"too_few_subjects"}},
		{"two arteries, and one pair twice", header + six + row(7, "S01", "brachial"), []string{"mixed_arteries", "recordings_used_twice"}},
		{"one id twice", header + six + row(6, "S06", "radial"), []string{"duplicate_key"}},
		{"no artery column", strings.ReplaceAll(header, ",artery", ",artrey") + six, []string{"missing_column"}},
		{"semicolons", strings.ReplaceAll(header+six, ",", ";"), []string{"delimiter"}},
		{"nothing", "", []string{"empty_file"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if err := os.WriteFile(filepath.Join(dir, "pairs.csv"), []byte(c.text), 0o666); err != nil {
				t.Fatal(err)
			}
			_, err := pipeline.Fit(context.Background(), filepath.Join(dir, "pairs.csv"), filepath.Join(dir, "own.json"), pipeline.FitOptions{})
			var structural *pipeline.StructuralError
			if !errors.As(err, &structural) {
				t.Fatalf("error %v", err)
			}
			for _, code := range c.codes {
				if !slices.ContainsFunc(structural.Issues, func(i schema.Issue) bool { return i.Code == code && i.Size == schema.SizeStructural }) {
					t.Errorf("no %s in %v", code, structural.Issues)
				}
			}
			for _, i := range structural.Issues {
				if strings.Contains(i.Hint, "csv:") || strings.Contains(i.Hint, "covariates") {
					t.Errorf("a hint about study.yaml: %s", i)
				}
			}
			for _, name := range []string{"own.json", "own.svg", "own.md"} {
				if _, err := os.Stat(filepath.Join(dir, name)); err == nil {
					t.Errorf("%s was written", name)
				}
			}
		})
	}
}

// Waves without a scale, two files and no common clock make a function too: the
// scale comes from the pressures in the table.
func TestFitOfWavesWithoutScale(t *testing.T) {
	dir := t.TempDir()
	if err := testdata.WritePairs(dir, 10, publishedArm()); err != nil {
		t.Fatal(err)
	}
	scaled := fitted(t, dir, filepath.Join(dir, "scaled.json"), pipeline.FitOptions{}).Transfer
	table := "pair_id,subject_id,central_file,peripheral_file,sampling_hz,artery,unit,dbp_mmhg,map_mmhg\n"
	for i := 1; i <= 10; i++ {
		data, err := os.ReadFile(filepath.Join(dir, fmt.Sprintf("S%02d.csv", i)))
		if err != nil {
			t.Fatal(err)
		}
		text := [2]strings.Builder{}
		for k := range text {
			text[k].WriteString("pressure\n")
		}
		for j, line := range strings.Split(strings.TrimSpace(string(data)), "\n")[1:] {
			var p, q float64
			if _, err := fmt.Sscanf(line, "%f,%f", &p, &q); err != nil {
				t.Fatal(err)
			}
			if j >= 57 { // the central recording begins later
				fmt.Fprintf(&text[0], "%.5f\n", 3+0.02*p)
			}
			fmt.Fprintf(&text[1], "%.5f\n", 7*q-11)
		}
		for k, side := range []string{"c", "r"} {
			if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("%s%d.csv", side, i)), []byte(text[k].String()), 0o666); err != nil {
				t.Fatal(err)
			}
		}
		table += fmt.Sprintf("P%d,S%d,c%d.csv,r%d.csv,200,radial,au,70,95\n", i, i, i, i)
	}
	if err := os.WriteFile(filepath.Join(dir, "pairs.csv"), []byte(table), 0o666); err != nil {
		t.Fatal(err)
	}
	tf := fitted(t, dir, filepath.Join(dir, "own.json"), pipeline.FitOptions{}).Transfer
	if tf.FootDelay != nil || math.Abs(tf.MeanStep.Mean) > 1e-3 {
		t.Errorf("delay %v, step %v of waves without clock and scale", tf.FootDelay, tf.MeanStep)
	}
	// Both lowest points now count as one pressure, while the arm lowers that of
	// the wrist a little: the form stays, the height does not quite.
	for i, row := range tf.Table[:24] {
		if other := scaled.Table[i]; math.Abs(row.Modulus/other.Modulus-1) > 0.15 || math.Abs(row.PhaseDeg-other.PhaseDeg) > 3 {
			t.Errorf("%g Hz: %.3f at %.1f°, with scale and clock %.3f at %.1f°", row.Hz, row.Modulus, row.PhaseDeg, other.Modulus, other.PhaseDeg)
		}
	}
}
