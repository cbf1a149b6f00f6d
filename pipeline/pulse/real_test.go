package pulse

import (
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"tonocohort/testdata"
)

// Six volunteers of the Autonomic Aging data set (Schumann and Bär 2021, doi
// 10.13026/2hsy-t491), 1000 Hz, six cycles each, with onset marks made by
// another group (github repat8/cam-bpw-sim-pub). The last mark of a file is
// its end.
func TestOnsetsAgainstAnotherGroupsMarks(t *testing.T) {
	folder := testdata.External(t, "data/cam_bpw_autonomic_aging")
	files, err := filepath.Glob(filepath.Join(folder, "*_wave.csv"))
	if err != nil || len(files) != 6 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	var onsets, intervals []float64
	for _, file := range files {
		marks := column(t, strings.Replace(file, "_wave", "_fiducials", 1), "onset")
		marks = marks[:len(marks)-1]
		r := analyse(t, Settings{LowpassHz: 20, MinAccepted: 3, MinSeconds: 1}, column(t, file, "bp_above_foot_mmHg"), 1000)
		if len(r.Beats) != len(marks) {
			t.Errorf("%s: %d beats, %d marks", filepath.Base(file), len(r.Beats), len(marks))
			continue
		}
		var o, p []float64
		for i, b := range r.Beats {
			o = append(o, math.Abs(1000*b.OnsetS-marks[i]))
			if i+1 < len(marks) {
				p = append(p, math.Abs(1000*b.PeriodS-(marks[i+1]-marks[i])))
			}
		}
		onsets, intervals = append(onsets, o...), append(intervals, p...)
		t.Logf("%s: %d beats, %d accepted; onset off by %.1f ms, interval by %.1f ms (medians)", filepath.Base(file), len(r.Beats), r.Accepted, median(o), median(p))
	}
	o, p := median(onsets), median(intervals)
	t.Logf("all: onset %.2f ms, interval %.2f ms (medians of %d and %d)", o, p, len(onsets), len(intervals))
	if !(o <= 10) || !(p <= 5) {
		t.Errorf("onset %.2f ms, interval %.2f ms", o, p)
	}
}

// valsalva loads a record of github msolufse/ValsalvaAnalyzer: finger pressure
// at 1000 Hz, first at rest and then around a Valsalva manoeuvre.
func valsalva(t *testing.T, record int) []float64 {
	folder := testdata.External(t, "data/valsalva_ncsu")
	return column(t, filepath.Join(folder, fmt.Sprintf("subject_%d.csv.gz", record)), "finger_bp_mmHg")
}

// rWaves returns the R waves of the first 20 s, found in the ECG alone.
func rWaves(t *testing.T, record int) (out []float64) {
	file := filepath.Join(testdata.External(t, "data/valsalva_ncsu"), "r_times_rest.csv")
	subjects, times := column(t, file, "subject"), column(t, file, "r_time_s")
	for i, s := range subjects {
		if int(s) == record {
			out = append(out, times[i])
		}
	}
	return out
}

// The pressure wave reaches the finger within 0.45 s of the R wave, and there
// is one for each.
func TestOnsetsFollowRWaves(t *testing.T) {
	waves, missed, extra := 0, 0, 0
	for _, record := range []int{1, 2, 6, 7} {
		r, _ := NewAnalyser(defaults).Analyse(valsalva(t, record), 1000)
		rs := rWaves(t, record)
		var onsets []float64
		for _, b := range r.Beats {
			if b.OnsetS > rs[0] && b.OnsetS <= rs[len(rs)-1]+0.45 {
				onsets = append(onsets, b.OnsetS)
			}
		}
		used := make([]bool, len(onsets))
		var delays []float64
		for _, at := range rs {
			k := slices.IndexFunc(onsets, func(o float64) bool { return o > at && o <= at+0.45 })
			if k < 0 || used[k] {
				missed++
				continue
			}
			used[k] = true
			delays = append(delays, onsets[k]-at)
		}
		for _, u := range used {
			if !u {
				extra++
			}
		}
		waves += len(rs)
		t.Logf("record %d: %d R waves, %d onsets, delay %.3f to %.3f s", record, len(rs), len(onsets), slices.Min(delays), slices.Max(delays))
	}
	t.Logf("%d R waves, %d missed, %d extra", waves, missed, extra)
	if waves != 101 || missed > 1 || extra > 1 {
		t.Errorf("%d R waves, %d missed, %d extra", waves, missed, extra)
	}
}

// In record 5 the two channels drift against each other by up to half a
// second, so only the counts can be compared.
func TestOnsetsAreAsManyAsRWaves(t *testing.T) {
	r, _ := NewAnalyser(defaults).Analyse(valsalva(t, 5), 1000)
	rs := rWaves(t, 5)
	n := 0
	for _, b := range r.Beats {
		if b.OnsetS > rs[0]-0.5 && b.OnsetS < rs[len(rs)-1]+0.5 {
			n++
		}
	}
	if n != len(rs) {
		t.Errorf("%d onsets, %d R waves", n, len(rs))
	}
}

// At rest, records 1, 2, 5 and 7 are good; record 6 has a true artefact at rest
// and record 7 a pulse pressure near 24 mmHg. The times of strain were read off
// the falling and recovering pressure.
func TestRestIsKeptAndStrainIsNot(t *testing.T) {
	strain := map[int][2]float64{1: {28, 45}, 2: {58, 75}, 5: {37, 51}, 6: {46, 62}, 7: {99, 111}}
	a := NewAnalyser(defaults)
	for _, record := range []int{1, 2, 5, 6, 7} {
		x := valsalva(t, record)
		phase := strain[record]
		whole, _ := a.Analyse(x, 1000)
		rest, restOf := kept(whole, 0, 20)
		held, heldOf := kept(whole, phase[0], phase[1])
		alone, err := a.Analyse(x[:20000], 1000)
		if err != nil {
			t.Errorf("record %d at rest: %v", record, err)
		}
		strained, _ := a.Analyse(x[int(1000*phase[0]):int(1000*phase[1])], 1000)
		t.Logf("record %d: rest %d of %d kept (alone %d of %d, %s), strain %d of %d kept (alone %s %v); whole %s %v", record,
			rest, restOf, alone.Accepted, len(alone.Beats), alone.Grade, held, heldOf, strained.Grade, strained.GradeReasons, whole.Grade, whole.GradeReasons)
		if record != 6 && (10*rest < 9*restOf || 10*alone.Accepted < 9*len(alone.Beats)) {
			t.Errorf("record %d: %d of %d beats at rest kept, %d of %d alone", record, rest, restOf, alone.Accepted, len(alone.Beats))
		}
		if alone.Grade != Usable && record != 6 {
			t.Errorf("record %d at rest is %s %v", record, alone.Grade, alone.GradeReasons)
		}
		if whole.Grade == Usable || strained.Grade == Usable || 10*held > heldOf {
			t.Errorf("record %d: strain not graded down", record)
		}
	}
}

// kept counts accepted and all beats with an onset in a time window.
func kept(r Result, from, to float64) (accepted, all int) {
	for _, b := range r.Beats {
		if b.OnsetS >= from && b.OnsetS < to {
			all++
			if b.Accepted {
				accepted++
			}
		}
	}
	return accepted, all
}

// Arterial pressure of a patient at a rate near 120 and 17 to 64 mmHg (MIMIC,
// record 03700181, 125 Hz), with QRS marks made on the ECG of the same record
// by a public detector.
func TestRapidLowPressure(t *testing.T) {
	folder := testdata.External(t, "data/wfdb_python_samples")
	r := analyse(t, defaults, column(t, filepath.Join(folder, "03700181_abp_125hz.csv"), "abp_mmHg"), 125)
	marks := annotationTimes(t, filepath.Join(folder, "sample-data", "03700181.sqrs"), 250)
	found := 0
	for _, at := range marks {
		n := 0
		for _, b := range r.Beats {
			if b.OnsetS > at && b.OnsetS <= at+0.45 {
				n++
			}
		}
		if n == 1 {
			found++
		}
	}
	first, last := marks[0], marks[len(marks)-1]
	_, beats := kept(r, first, last)
	t.Logf("%d beats between %.1f and %.1f s, %d QRS marks, %d of them followed by one onset; rate %.1f per minute, %d of %d accepted, %s",
		beats, first, last, len(marks), found, r.HeartRateBPM, r.Accepted, len(r.Beats), r.Grade)
	if math.Abs(float64(beats-len(marks))) > 0.02*float64(len(marks)) || float64(found) < 0.95*float64(len(marks)) {
		t.Errorf("%d beats, %d QRS marks, %d followed by one onset", beats, len(marks), found)
	}
	scale, offset, err := Calibrate(r.Average, AsRecorded, math.NaN(), math.NaN(), math.NaN())
	if err != nil || scale != 1 || offset != 0 {
		t.Errorf("as recorded: %v, %v, %v", scale, offset, err)
	}
	if rule := Implausible(r.Average); rule == "" {
		t.Errorf("%g to %g mmHg is called plausible in an adult", slices.Min(r.Average), slices.Max(r.Average))
	} else {
		t.Logf("average beat %.1f to %.1f mmHg: %s", slices.Min(r.Average), slices.Max(r.Average), rule)
	}
}

// annotationTimes reads the times of the QRS marks (code 1) of a WFDB
// annotation file without long intervals, s.
func annotationTimes(t *testing.T, path string, hz float64) (out []float64) {
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	at := 0
	for i := 0; i+1 < len(data); i += 2 {
		word := int(data[i]) | int(data[i+1])<<8
		code, interval := word>>10, word&1023
		switch {
		case word == 0:
			return out
		case code == 59: // a long interval in the next two words, high word first
			at += int(int32(binary.LittleEndian.Uint16(data[i+2:]))<<16 | int32(binary.LittleEndian.Uint16(data[i+4:])))
			i += 4
		case code == 63: // a text
			i += interval + interval&1
		case code < 59:
			at += interval
			if code == 1 {
				out = append(out, float64(at)/hz)
			}
		}
	}
	return out
}

// Radial pressure of virtual subjects from two independent one-dimensional
// flow solvers, two steady beats repeated: the average beat must be the beat.
// What is lost with the low-pass is the low-pass: these waves have feet sharper
// than a person's, and a Butterworth filter swings below them.
func TestVirtualSubjects(t *testing.T) {
	folder := testdata.External(t, "data/onedim-train")
	files, err := filepath.Glob(filepath.Join(folder, "waves", "*.csv"))
	if err != nil || len(files) != 71 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	for _, c := range []struct{ lowpassHz, sbp, dbp float64 }{{20, 1.5, 3}, {0, 0.1, 0.1}} {
		settings := Settings{LowpassHz: c.lowpassHz, MinAccepted: 8, MinSeconds: 5}
		var sbp, dbp, middle, period spread
		worst := [4]float64{}
		for _, file := range files {
			two := column(t, file, "radial_mmHg")
			r := analyse(t, settings, slices.Repeat(two, 8), 500)
			if math.Abs(float64(len(r.Beats))-16) > 1 || r.Accepted < len(r.Beats)-1 || r.Grade != Usable {
				t.Errorf("%s: %d beats, %v, %s %v", filepath.Base(file), len(r.Beats), reasons(r), r.Grade, r.GradeReasons)
			}
			one, other := two[:len(two)/2], two[len(two)/2:] // they differ a little in some subjects
			differences := [4]float64{slices.Max(r.Average) - (slices.Max(one)+slices.Max(other))/2,
				slices.Min(r.Average) - (slices.Min(one)+slices.Min(other))/2,
				mean(r.Average) - mean(two), 1000*r.PeriodS - float64(len(two))}
			for k, s := range []*spread{&sbp, &dbp, &middle, &period} {
				s.add(differences[k])
				worst[k] = max(worst[k], math.Abs(differences[k]))
			}
		}
		t.Logf("low-pass %g Hz: SBP %+.2f (%.2f), DBP %+.2f (%.2f), MAP %+.3f (%.3f) mmHg, period %+.3f (%.3f) ms; mean difference (largest)",
			c.lowpassHz, sbp.mean, worst[0], dbp.mean, worst[1], middle.mean, worst[2], period.mean, worst[3])
		if !(worst[0] < c.sbp && worst[1] < c.dbp && worst[2] < 0.1 && worst[3] < 1) {
			t.Error("the average beat is not the beat")
		}
	}
}
