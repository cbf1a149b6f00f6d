package schema

import "testing"

// A label names a column that exists, and no two columns have the same one.
func TestQuantityNamesAreOfOneColumnEach(t *testing.T) {
	known := map[string]bool{"intercept": true, "age_band": true, // a term, a stratum
		"bmi_kg_m2": true, "bsa_m2": true, "egfr_ckdepi2021": true} // derived in pipeline/study
	for _, table := range append(InputTables(), RecordingsTable(), SubjectVisitsTable(nil)) {
		for _, c := range table.Columns {
			known[c.Name] = true
		}
	}
	of := map[string]string{}
	for column, label := range names {
		if !known[column] {
			t.Errorf("%q names %s, which is no column", label, column)
		}
		if other := of[label]; other != "" {
			t.Errorf("%q names both %s and %s", label, other, column)
		}
		of[label] = column
	}
}
