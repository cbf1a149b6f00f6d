package pipeline_test

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"tonocohort/pipeline"
	"tonocohort/schema"
	"tonocohort/testdata"
)

// rateTolerance is how far central pressures of one wave may lie apart that was
// sampled at different rates, in mmHg: own choice, a fortieth of what cuffs resolve.
// Its harmonics end at 9 to 15 Hz, well below half of the lowest rate.
const rateTolerance = 0.05

// One wave at many rates gives the same central pressure without having been
// brought to one rate, and each recording says how its beats were resampled.
func TestOneWaveAtManyRates(t *testing.T) {
	f := newForeign(t, "calibration: {primary: as_recorded}\n")
	type sampled struct {
		hz        int
		heartRate float64
		by        string
	}
	var rows []sampled
	for _, heartRate := range []float64{58, 97} {
		for _, hz := range []int{100, 128, 200, 250, 256, 500, 512, 1000, 2000} {
			by := "beat_cubic"
			if hz >= 500 { // what the low-pass at 20 Hz leaves, 250 Hz hold
				by = "decimation_beat_cubic"
			}
			id := fmt.Sprintf("H%02.0f-%04d", heartRate, hz)
			rows = append(rows, sampled{hz, heartRate, by})
			if err := testdata.WritePairAt(filepath.Join(f.dir, id+".csv"), publishedArm(), heartRate, hz); err != nil {
				t.Fatal(err)
			}
			f.person(id, "female", "40", "120", "80")
			f.recording(id, id+".csv", "csv", "wrist", "", "mmHg", "radial")
		}
	}
	got, _ := f.run()
	low, high := map[string]float64{}, map[string]float64{}
	for i, r := range rows {
		if got.TextAt(i, "status") != "used" || got.Number(i, "sampling_hz") != float64(r.hz) || got.TextAt(i, "resampling") != r.by {
			t.Errorf("%d Hz: %s %s at %v Hz, resampled by %q, want %s", r.hz, got.TextAt(i, "status"), got.TextAt(i, "reason"), got.Number(i, "sampling_hz"), got.TextAt(i, "resampling"), r.by)
		}
		for _, name := range []string{"central_sbp_mmhg", "central_dbp_mmhg", "central_map_mmhg", "central_pp_mmhg"} {
			key, v := fmt.Sprint(name, " at ", r.heartRate), got.Number(i, name)
			if _, seen := low[key]; !seen {
				low[key], high[key] = v, v
			}
			low[key], high[key] = min(low[key], v), max(high[key], v)
			if math.IsNaN(v) {
				t.Errorf("%d Hz: no %s", r.hz, name)
			}
		}
	}
	for key := range low {
		t.Logf("%s /min: %.3f to %.3f mmHg", key, low[key], high[key])
		if high[key]-low[key] > rateTolerance {
			t.Errorf("%s: from %.3f to %.3f mmHg", key, low[key], high[key])
		}
	}
}

// A catheter at 1000 Hz and a tonometer at 128 Hz are a pair like any other: the
// function is that of the arm, and the file says by what
// the two came to one grid.
func TestFitPairsOfTwoRates(t *testing.T) {
	mixed := t.TempDir()
	const people = 12
	table := "pair_id,subject_id,central_file,central_channel,peripheral_file,peripheral_channel,unit,artery,central_artery\n"
	for i := range people {
		id, heartRate := fmt.Sprintf("S%02d", i+1), 55+3*float64(i)
		table += fmt.Sprintf("P%d,%s,%s-a.csv,aorta,%s-w.csv,wrist,mmHg,radial,aortic\n", i+1, id, id, id)
		for name, hz := range map[string]int{id + "-a.csv": 1000, id + "-w.csv": 128} {
			if err := testdata.WritePairAt(filepath.Join(mixed, name), publishedArm(), heartRate, hz); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := os.WriteFile(filepath.Join(mixed, "pairs.csv"), []byte(table), 0o644); err != nil {
		t.Fatal(err)
	}
	tf := fitted(t, mixed, filepath.Join(mixed, "own.json"), pipeline.FitOptions{}).Transfer
	if tf.Counts.Pairs.Used != people || tf.Resampling != "average_beat_cubic" {
		t.Fatalf("%+v, resampled by %q", tf.Counts, tf.Resampling)
	}
	for hz, forward := range map[float64]float64{1: 1.0707, 2: 1.3318, 4: 2.8000, 6: 1.3318} { // as in TestFitFindsThePublishedArm
		i := slices.IndexFunc(tf.Table, func(r schema.TransferRow) bool { return r.Hz == hz })
		if got := 1 / tf.Table[i].Modulus; math.Abs(got/forward-1) > 0.03 {
			t.Errorf("%g Hz: forward modulus %.4f, published tube %.4f", hz, got, forward)
		}
	}
}
