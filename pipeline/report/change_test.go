package report

import (
	"bytes"
	"math"
	"slices"
	"strings"
	"testing"

	"tonocohort/schema"
)

// The table of change has a row for each pair of visits and stratum that may be
// shown, in every form, and names by what the errors are clustered.
func TestTableOfChange(t *testing.T) {
	f := schema.NewFrame(schema.Released(schema.ChangeTable([]string{"centre"})), 0)
	write := func(centre, statistic string, estimate, low, high float64, hidden string) {
		row := f.AddRow()
		for name, text := range map[string]string{"set": "all", "variable": "central_pp_mmhg", "from_visit": "v1", "to_visit": "v2", "centre": centre,
			"statistic": statistic, "unit": "mmHg", schema.Suppressed: hidden, "method": "mean of later − earlier, errors clustered by family_id; interval taylor_t"} {
			f.SetText(row, name, text)
		}
		f.SetNumber(row, "estimate", estimate)
		f.SetNumber(row, "low", low)
		f.SetNumber(row, "high", high)
	}
	none := math.NaN()
	for _, s := range []struct {
		name  string
		value float64
	}{{"n_persons", 120}, {"n_pairs", 120}, {"mean_earlier", 36}, {"mean_later", 38.5}, {"sd_change", 6.25}, {"mean_years_between", 4}} {
		write("all", s.name, s.value, none, none, "")
	}
	write("all", "mean_change", 2.5, -0.25, 5.25, "")
	write("north", "mean_change", none, none, none, "all")
	s := Source{Frames: []*schema.Frame{f}, Settings: schema.DefaultSettings()}
	table := changeTable(s, style(t, "standard"))
	if table == nil || len(table.Rows) != 1 {
		t.Fatalf("%+v: one row may be shown", table)
	}
	row := table.Rows[0]
	if !slices.Equal(row.Labels, []string{"Central PP, mmHg · all", "v1 to v2", "all"}) {
		t.Errorf("labels %q", row.Labels)
	}
	if !slices.Equal(row.Cells, []string{"120", "120", "4.0", "36.0", "38.5", "2.5 (−0.3 to 5.3)", "6.3"}) {
		t.Errorf("cells %q", row.Cells)
	}
	notes := strings.Join(table.Notes, " ")
	if !strings.Contains(notes, "clustered by family id.") || !strings.Contains(notes, "left out") {
		t.Errorf("notes %q", notes)
	}
	var csv, page bytes.Buffer
	if err := table.WriteCSV(&csv); err != nil {
		t.Fatal(err)
	}
	if err := table.WriteHTML(&page); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(csv.String(), "2.5 (−0.3 to 5.3)") || !strings.Contains(page.String(), "2.5 (−0.3 to 5.3)") {
		t.Error("the interval is not in every form")
	}
	s.Frames[0] = schema.NewFrame(f.Table, 0)
	if changeTable(s, style(t, "standard")) != nil {
		t.Error("a study without second visits has a table of change")
	}
}
