package report

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"tonocohort/schema"
)

// made is a transfer function with a band and everything else that a report shows.
func made(n int) *schema.Transfer {
	number := func(v float64) *float64 { return &v }
	t := &schema.Transfer{Format: 1, Kind: schema.TransferKind, Caution: schema.Caution, Artery: "radial", CentralArtery: "carotid",
		Source: "a laboratory", Method: "cross_spectrum_h1", Level: 0.95, Folds: n, Direction: "artery_to_aorta",
		Counts:   schema.TransferCounts{Subjects: n, Pairs: schema.Tally{Found: n + 3, Used: n + 1, Excluded: 1, Failed: 1}},
		MeanStep: schema.TransferMoments{Subjects: n, Mean: -2.8, SD: 1.1}, Notes: []string{"a:note"},
		Settings: schema.TransferSettings{Beats: schema.DefaultSettings().Beats, StepHz: 0.25, HighestHz: 12}}
	for i := 1; i <= 48; i++ {
		row := schema.TransferRow{Hz: float64(i) / 4, Modulus: 1 / (1 + 0.1*float64(i)), PhaseDeg: -float64(i), Coherence: 0.9, Subjects: n}
		if n >= 10 && i < 40 { // the last have too few for a band
			row.ModulusLow, row.ModulusHigh = number(0.9*row.Modulus), number(1.1*row.Modulus)
			row.PhaseLowDeg, row.PhaseHighDeg = number(row.PhaseDeg-3), number(row.PhaseDeg+3)
			t.BandMethod = "jackknife_over_subjects_student_t"
		}
		t.Table = append(t.Table, row)
	}
	for _, method := range []string{"tube_constant_fitted", "tube_constant"} {
		u := schema.TransferTube{Method: method, Fitted: strings.HasSuffix(method, "fitted"), Misfit: 0.05,
			Parameters: []schema.TransferParameter{{Name: "travel_ms", Value: 62.5, SE: number(1.5)}, {Name: "reflection", Value: 0.4737}}}
		for range t.Table {
			u.Modulus, u.PhaseDeg = append(u.Modulus, 0.5), append(u.PhaseDeg, -20)
		}
		t.Tubes = append(t.Tubes, u)
	}
	for _, method := range []string{"transfer_table", "tube_constant_fitted", "tube_constant"} {
		t.Validated = append(t.Validated,
			schema.TransferError{Method: method, OutOfFold: method != "tube_constant", Variable: "central_sbp_mmhg", Unit: "mmHg", Subjects: n, Bias: -1.25, SD: 2, LimitLow: number(-5.17), LimitHigh: number(2.67)},
			schema.TransferError{Method: method, OutOfFold: method != "tube_constant", Variable: "augmentation_index_pct", Unit: "%", Subjects: n - 2, Bias: 3, SD: 4},
			schema.TransferError{Method: method, OutOfFold: method != "tube_constant", Variable: "wave_rmse_mmhg", Unit: "mmHg", Subjects: n, Bias: 1.3, SD: 0.6})
	}
	return t
}

func TestTransferReportSaysWhatWasFound(t *testing.T) {
	var b bytes.Buffer
	if err := TransferReport(&b, made(12), "own.svg"); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	for _, part := range []string{
		"# Transfer function, radial artery to aorta", schema.Caution, "13 pairs of 12 subjects (15 pairs found, 1 excluded, 1 could not",
		"measured in the carotid artery", "](own.svg)", "| variable | transfer_table *fitted* | tube_constant_fitted *fitted* | tube_constant |",
		"-1.2 ± 2.0 (-5.2 to +2.7)", "+3.0 ± 4.0, n 10", "1.30 ± 0.60", "| 4 | 0.385 (0.346 to 0.423) | -16.0 (-19.0 to -13.0) | 0.900 | 12 |",
		"travel_ms 62.5 (1.5), reflection 0.4737", "-2.8 ± 1.1 (mean ± SD, 12 subjects)", "`a:note`", "transfer_file: FILE",
	} {
		if !strings.Contains(text, part) {
			t.Errorf("the report lacks %q", part)
		}
	}
	// Each row of a table has as many cells as its header.
	width := 0
	for i, line := range strings.Split(text, "\n") {
		switch {
		case !strings.HasPrefix(line, "|"):
			width = 0
		case width == 0:
			width = strings.Count(line, "|")
		case strings.Count(line, "|") != width:
			t.Errorf("line %d: %d bars, the header has %d: %s", i+1, strings.Count(line, "|"), width, line)
		}
	}
	if t.Failed() {
		fmt.Println(text)
	}
}
