package pipeline

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"

	"tonocohort/schema"
	"tonocohort/stats"
)

// Recover compares the recordings of a results folder with the truth file of a
// simulation and returns one line per value: bias ± SD of the error, n, and what
// was published of the error against catheters where there is such a figure.
func Recover(resultsDir, truthFile string) ([]string, error) {
	truth, err := readTruth(truthFile)
	if err != nil {
		return nil, err
	}
	root, err := openFolder(resultsDir)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	f, err := readTable(root, tablePath("recordings"), schema.RecordingsTable())
	if err != nil {
		return nil, err
	}
	var lines []string
	for _, c := range []struct{ label, estimate, truth, published string }{
		{"central SBP, calibrated by cuff SBP/DBP", "central_sbp_sbp_dbp_mmhg", "true_aortic_sbp_mmhg", "-7.8 (-10.3 to -5.3), Papaioannou 2016"},
		{"central SBP, calibrated by cuff mean/DBP", "central_sbp_map_dbp_mmhg", "true_aortic_sbp_mmhg", "-1.8 (-3.3 to -0.3), Papaioannou 2016"},
		{"central PP, calibrated by cuff SBP/DBP", "central_pp_sbp_dbp_mmhg", "true_aortic_pp_mmhg", "-12.2 ± 10.4 by any cuff calibration, Cheng 2013"},
		{"central PP, calibrated by cuff mean/DBP", "central_pp_map_dbp_mmhg", "true_aortic_pp_mmhg", "the same"},
		{"central SBP, moving average", "central_sbp_moving_average_mmhg", "true_aortic_sbp_mmhg", ""},
		{"brachial SBP (the cuff alone)", "brachial_sbp_mmhg", "true_brachial_sbp_mmhg", "-5.7 (-8.0 to -3.5), Picone 2017"},
		{"ejection duration", "ejection_duration_ms", "ejection_duration_ms", ""},
	} {
		errors := recoveredErrors(f, truth, c.estimate, c.truth)
		d := stats.Describe(errors)
		unit := f.Column(c.estimate).Unit
		line := fmt.Sprintf("%-42s %+.1f ± %.1f %s (n %d)", c.label, d.Mean, d.SD, unit, len(errors))
		if c.published != "" {
			line += "; against catheters: " + c.published
		}
		lines = append(lines, line)
	}
	return lines, nil
}

// recoveredErrors is estimate − truth over the used recordings that have both.
func recoveredErrors(f *schema.Frame, truth map[string]map[string]float64, estimate, trueName string) []float64 {
	var errors []float64
	for row := range f.N {
		t, ok := truth[f.TextAt(row, "recording_id")]
		if !ok || f.TextAt(row, "status") != statusUsed {
			continue
		}
		e := f.Number(row, estimate) - t[trueName]
		if !math.IsNaN(e) {
			errors = append(errors, e)
		}
	}
	return errors
}

// readTruth reads the truth file by recording; cells that are not numbers are
// left out.
func readTruth(path string) (map[string]map[string]float64, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if len(rows) == 0 {
		return nil, fmt.Errorf("%s: empty", path)
	}
	truth := make(map[string]map[string]float64, len(rows))
	for _, row := range rows[1:] {
		values := map[string]float64{}
		id := ""
		for i, name := range rows[0] {
			if name == "recording_id" {
				id = row[i]
			} else if v, err := strconv.ParseFloat(row[i], 64); err == nil {
				values[name] = v
			}
		}
		truth[id] = values
	}
	return truth, nil
}
