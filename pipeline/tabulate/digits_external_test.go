package tabulate

import (
	"encoding/csv"
	"os"
	"strconv"
	"testing"

	"tonocohort/schema"
	"tonocohort/testdata"
)

// Real readings: an automatic device (NHANES 2021–2023, three readings each) has
// no liking for a digit; the ear of 1960 (Western Collaborative Group Study, 3154
// men, data set wcgs of the R package epitools) wrote even numbers, and 0 far too
// often.
func TestTerminalDigitsOfRealReadings(t *testing.T) {
	for _, c := range []struct {
		file      string
		delimiter rune
		columns   []string
		flagged   float64
	}{
		{"data/cohort_tables/nhanes_2021_2023.tsv", '\t', []string{"SysBP1", "SysBP2", "SysBP3"}, 0},
		{"data/cohort_tables/wcgs.csv", ',', []string{"sbp0"}, 1},
	} {
		file, err := os.Open(testdata.External(t, c.file))
		if err != nil {
			t.Fatal(err)
		}
		reader := csv.NewReader(file)
		reader.Comma = c.delimiter
		rows, err := reader.ReadAll()
		file.Close()
		if err != nil {
			t.Fatal(err)
		}
		m := newMeasured()
		m.visit("S", "v1", 50)
		for _, row := range rows[1:] {
			for k, name := range rows[0] {
				for _, wanted := range c.columns {
					if v, err := strconv.ParseFloat(row[k], 64); name == wanted && err == nil {
						fill(m.Readings, "subject_id", "S", "visit_id", "v1", "sbp_mmhg", v, "dbp_mmhg", 80.0)
					}
				}
			}
		}
		f, _ := Drift(m.Measured, schema.PrivacySettings{})
		row := find(t, f, "variable", "cuff_sbp_last_digit", "statistic", "chi_square")
		zero := find(t, f, "variable", "cuff_sbp_last_digit", "statistic", "share_of_0")
		t.Logf("%s: %.0f readings, %.1f %% end in 0, chi-square %.1f", c.file, f.Number(row, "n"), 100*f.Number(zero, "estimate"), f.Number(row, "estimate"))
		if f.Number(row, "n") < 3000 || f.Number(row, "flagged") != c.flagged {
			t.Errorf("%s: %v readings, flagged %v", c.file, f.Number(row, "n"), f.Number(row, "flagged"))
		}
	}
}
