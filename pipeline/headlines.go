package pipeline

import (
	"fmt"
	"math"
	"strings"

	"tonocohort/schema"
)

// Headlines are the numbers that the terminal shows of a summary table: those
// of everybody, over all strata.
func Headlines(f *schema.Frame) []string {
	if f == nil {
		return nil
	}
	var lines []string
	for row := range f.N {
		if f.TextAt(row, "set") != "all" || !margin(f, row) {
			continue
		}
		statistic, variable := f.TextAt(row, "statistic"), f.TextAt(row, "variable")
		estimate, low, high, n := f.Number(row, "estimate"), f.Number(row, "low"), f.Number(row, "high"), f.Number(row, "n")
		switch {
		case math.IsNaN(estimate) || math.IsNaN(low):
		case variable == "central_pp_mmhg" && statistic == "mean":
			lines = append(lines, fmt.Sprintf("central PP: mean %.1f mmHg (95 %% CI %.1f to %.1f, n %.0f)", estimate, low, high, n))
		case variable == "central_pp_mmhg" && strings.HasPrefix(statistic, "prevalence_at_least_"):
			bound := strings.TrimPrefix(statistic, "prevalence_at_least_")
			lines = append(lines, fmt.Sprintf("  ≥ %s mmHg (outcome threshold, not a reference limit): %.1f %% (%.1f to %.1f)", bound, 100*estimate, 100*low, 100*high))
		}
	}
	return lines
}

// margin reports a row of the summary that covers every stratum.
func margin(f *schema.Frame, row int) bool {
	for _, c := range f.Table.Columns[2:f.Table.Index("statistic")] {
		if f.TextAt(row, c.Name) != "all" {
			return false
		}
	}
	return true
}
