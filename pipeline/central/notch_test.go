package central

import (
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"tonocohort/testdata"
)

// End of ejection against another group's notch marks on real finger pressure
// (data/cam_bpw_autonomic_aging; the last mark of a file is its end). Each beat
// is cut at their onsets, so what is compared is the notch alone.
func TestEndOfEjectionAgainstForeignMarks(t *testing.T) {
	folder := testdata.External(t, "data/cam_bpw_autonomic_aging")
	var all []float64
	for _, row := range csvRows(t, filepath.Join(folder, "subjects.csv"))[1:] {
		wave := column(t, csvRows(t, filepath.Join(folder, row[0]+"_wave.csv")), 1)
		marks := csvRows(t, filepath.Join(folder, row[0]+"_fiducials.csv"))[1:]
		var errors []float64
		beats := 0
		for i := range len(marks) - 1 {
			from, to := number(t, marks[i][0]), number(t, marks[i+1][0])
			notch := number(t, marks[i][4])
			if notch < 0 {
				continue // they found none
			}
			beats++
			m := Measure(closed(wave[int(from):int(to)]), 0.001)
			if at := 1000*m.FootS + m.EjectionMS; !math.IsNaN(at) {
				errors = append(errors, at-(notch-from))
			}
		}
		t.Logf("%s: end of ejection found in %d of %d beats, differences %.0f ms", row[0], len(errors), beats, errors)
		if len(errors) < beats {
			t.Errorf("%s: %d beats without an end of ejection", row[0], beats-len(errors))
		}
		for _, e := range errors {
			all = append(all, math.Abs(e))
		}
	}
	slices.Sort(all)
	median := all[len(all)/2]
	t.Logf("median absolute difference %.1f ms, largest %.0f ms, over %d beats", median, all[len(all)-1], len(all))
	if median > 15 {
		t.Errorf("median absolute difference %.1f ms, want at most 15", median)
	}
}

// closed takes the straight line between its ends off a beat, so that its end
// joins its start.
func closed(beat []float64) []float64 {
	n := len(beat)
	out := make([]float64, n)
	for j, v := range beat {
		out[j] = v - (beat[n-1]-beat[0])*float64(j)/float64(n-1)
	}
	return out
}

func column(t *testing.T, rows [][]string, i int) []float64 {
	t.Helper()
	out := make([]float64, 0, len(rows))
	for _, row := range rows[1:] {
		out = append(out, number(t, row[i]))
	}
	return out
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
