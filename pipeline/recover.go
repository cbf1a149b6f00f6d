package pipeline

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"

	"tonocohort/schema"
	"tonocohort/stats"
)

// Recover compares the recordings of a results folder with the truth file of a
// simulation and returns lines: of each value bias ± SD of the error and n, and below
// it what was published of the error against catheters, where anything was.
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
	for _, c := range []struct{ estimate, truth, published string }{
		{"central_sbp_sbp_dbp_mmhg", "true_aortic_sbp_mmhg", "−7.8 (−10.3 to −5.3), Papaioannou 2016"},
		{"central_sbp_map_dbp_mmhg", "true_aortic_sbp_mmhg", "−1.8 (−3.3 to −0.3), Papaioannou 2016"},
		{"central_pp_sbp_dbp_mmhg", "true_aortic_pp_mmhg", "−12.2 ± 10.4 calibrated to any cuff pressures, Cheng 2013"},
		{"central_pp_map_dbp_mmhg", "true_aortic_pp_mmhg", "the same"},
		{"central_sbp_moving_average_mmhg", "true_aortic_sbp_mmhg", ""},
		{"brachial_sbp_mmhg", "true_brachial_sbp_mmhg", "−5.7 (−8.0 to −3.5), Picone 2017"},
		{"ejection_duration_ms", "ejection_duration_ms", ""},
	} {
		errors := recoveredErrors(f, truth, c.estimate, c.truth)
		d := stats.Describe(errors)
		name, _ := schema.QuantityName(c.estimate)
		lines = append(lines, fmt.Sprintf("%-44s %6s ± %4.1f %-4s (n %d)", name, signed(d.Mean), d.SD, f.Column(c.estimate).Unit, len(errors)))
		if c.published != "" {
			lines = append(lines, "    against catheters: "+c.published)
		}
	}
	return lines, nil
}

// signed is a mean error with its sign, as it is printed.
func signed(v float64) string {
	return strings.Replace(fmt.Sprintf("%+.1f", v), "-", "−", 1)
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
