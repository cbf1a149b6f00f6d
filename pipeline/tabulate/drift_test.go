package tabulate

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"tonocohort/schema"
)

// driftStudy has people of two devices over two years; creep is what the zero of
// the second one gains a day.
func driftStudy(random *rand.Rand, people int, creep float64) measuredTables {
	m := newMeasured()
	for i := range people {
		who := fmt.Sprintf("S%04d", i)
		day := random.IntN(730)
		m.visit(who, "v1", 50)
		device := []string{"D1", "D2"}[i%2]
		zero := 10 + 30*random.NormFloat64()
		if device == "D2" {
			zero += creep * float64(day)
		}
		quality := "usable"
		if random.Float64() < 0.06 {
			quality = "doubtful"
		}
		when := time.Date(2021, 3, 1, 9, 0, 0, 0, time.UTC).AddDate(0, 0, day).Format("2006-01-02T15:04:05")
		m.recording(who, "v1", who+"a", "device_id", device, "recorded_at", when, "unit", "au", "duration_s", 15.0, "quality", quality,
			"wave_minimum", zero, "wave_amplitude", 50+10*random.NormFloat64(), "peripheral_form_factor", 0.4+0.03*random.NormFloat64(),
			"beats_found", 20.0, "beats_used", float64(20-random.IntN(4)))
	}
	return m
}

func flags(f *schema.Frame) (names []string) {
	for row := range f.N {
		if f.TextAt(row, "statistic") == "drifts" && f.Number(row, "flagged") == 1 {
			names = append(names, f.TextAt(row, "name")+" "+f.TextAt(row, "variable"))
		}
	}
	return names
}

// All charts of a study without drift raise a flag in one study of a hundred at
// most: of 100 such studies five would be flagged with a chance of 1 in 270.
func TestDriftFalseAlarms(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 11))
	alarmed := 0
	for range 100 {
		f, _ := Drift(driftStudy(random, 200, 0).Measured, schema.PrivacySettings{})
		if len(flags(f)) > 0 {
			alarmed++
		}
	}
	t.Logf("%d of 100 studies without drift are flagged", alarmed)
	if alarmed > 4 {
		t.Errorf("%d of 100 studies without drift are flagged", alarmed)
	}
}

// A zero that gains 0.08 units a day is found, on its device alone, and the slope
// by year is inside its interval.
func TestDriftIsFound(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 3))
	study := driftStudy(random, 300, 0.08)
	if f, issues := Drift(study.Measured, schema.PrivacySettings{DateShift: "keyed"}); len(flags(f)) > 0 || len(issues) > 0 {
		t.Errorf("dates that are shifted make a chart: %v", issues)
	}
	f, issues := Drift(study.Measured, schema.PrivacySettings{})
	if got := flags(f); len(got) != 1 || got[0] != "D2 wave_minimum" {
		t.Errorf("flagged: %v", got)
	}
	if len(issues) != 1 || issues[0].Code != driftIssueCode || issues[0].Value != "D2" {
		t.Errorf("issues: %v", issues)
	}
	row := find(t, f, "name", "D2", "variable", "wave_minimum", "statistic", "trend_per_year")
	if low, high := f.Number(row, "low"), f.Number(row, "high"); low > 0.08*daysPerYear || high < 0.08*daysPerYear {
		t.Errorf("slope %v to %v", low, high)
	}
}

// Quarters with fewer than ten visits are joined, and the last ones with those
// before; a recording that could not be read says nothing of its device.
func TestDriftPeriods(t *testing.T) {
	m := newMeasured()
	for quarter, visits := range []int{12, 4, 7, 11, 3} {
		for i := range visits {
			who := fmt.Sprintf("S%d%02d", quarter, i)
			m.visit(who, "v1", 50)
			when := time.Date(2021, time.Month(1+3*quarter), 1+i, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
			m.recording(who, "v1", who, "device_id", "D", "recorded_at", when, "duration_s", 15.0, "wave_minimum", float64(i))
			m.recording(who, "v1", who+"b", "device_id", "D", "recorded_at", when, "duration_s", 15.0, "wave_minimum", float64(i+2))
			m.recording(who, "v1", who+"x", "device_id", "D", "recorded_at", when)
		}
	}
	m.visit("U", "v1", 50)
	m.recording("U", "v1", "U", "device_id", "D", "recorded_at", "last spring", "duration_s", 15.0, "wave_minimum", 1.0)
	f, _ := Drift(m.Measured, schema.PrivacySettings{})
	want := map[string]float64{"2021-Q1": 12, "2021-Q2 to 2021-Q3": 11, "2021-Q4 to 2022-Q1": 14}
	seen := 0
	for row := range f.N {
		if f.TextAt(row, "variable") != "wave_minimum" || f.TextAt(row, "statistic") != "mean" {
			continue
		}
		seen++
		if n := f.Number(row, "n"); n != want[f.TextAt(row, "period")] {
			t.Errorf("%s: %v visits", f.TextAt(row, "period"), n)
		}
	}
	if seen != len(want) {
		t.Errorf("%d periods", seen)
	}
	row := find(t, f, "variable", "wave_minimum", "statistic", "mean", "period", "2021-Q1")
	agree(t, "mean of the visits' means", f.Number(row, "estimate"), 5.5+1)
	if row := find(t, f, "variable", "wave_minimum", "statistic", "drifts"); f.Number(row, "n_missing") != 1 {
		t.Errorf("%v visits without a date", f.Number(row, "n_missing"))
	}
}

func TestTerminalDigits(t *testing.T) {
	m := newMeasured()
	m.visit("S", "v1", 50)
	for i := range 60 {
		fill(m.Readings, "subject_id", "S", "visit_id", "v1", "sbp_mmhg", float64(110+i%10), "dbp_mmhg", float64(70+2*(i%5)))
	}
	fill(m.Readings, "subject_id", "S", "visit_id", "v1", "sbp_mmhg", 119.26, "dbp_mmhg", 70.0)
	f, issues := Drift(m.Measured, schema.PrivacySettings{})
	for variable, want := range map[string]struct{ zero, even, flagged, missing float64 }{
		"cuff_sbp_last_digit": {6.0 / 60, 0.5, 0, 1}, "cuff_dbp_last_digit": {13.0 / 61, 1, 1, 0},
	} {
		zero := find(t, f, "variable", variable, "statistic", "share_of_0")
		agree(t, variable, f.Number(zero, "estimate"), want.zero)
		agree(t, variable, f.Number(find(t, f, "variable", variable, "statistic", "share_of_even"), "estimate"), want.even)
		if row := find(t, f, "variable", variable, "statistic", "chi_square"); f.Number(row, "flagged") != want.flagged || f.Number(row, "n_missing") != want.missing {
			t.Errorf("%s: flagged %v, %v not whole", variable, f.Number(row, "flagged"), f.Number(row, "n_missing"))
		}
	}
	if len(issues) != 1 || issues[0].Code != "digit_preference" {
		t.Errorf("issues: %v", issues)
	}
}
