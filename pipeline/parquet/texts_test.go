package parquet

import (
	"fmt"
	"testing"

	"tonocohort/schema"
)

// Texts of every manner, with and without a dictionary: what comes back, and what
// the file says of each column for readers that skip row groups by it.
func TestTextsAndWhatTheFileSaysOfThem(t *testing.T) {
	table := schema.Table{Name: "texts", Columns: []schema.Column{
		{Name: "person", Kind: schema.Text, Key: true}, {Name: "each_its_own", Kind: schema.Text, Key: true},
		{Name: "gaps", Kind: schema.Category}, {Name: "first_and_last", Kind: schema.Text},
		{Name: "none", Kind: schema.Text}, {Name: "rare", Kind: schema.Text},
	}}
	for _, rows := range []int{1, 2, 9, 3000, 40000} {
		f := schema.NewFrame(table, rows)
		for i := range rows {
			row := f.AddRow()
			f.SetText(row, "person", fmt.Sprintf("P%05d", i/7))
			f.SetText(row, "each_its_own", fmt.Sprintf("R%05d", rows-i))
			f.SetText(row, "gaps", []string{"", "medium", "low", "high", "high", ""}[i*i%17%6])
			if i == 0 || i == rows-1 {
				f.SetText(row, "first_and_last", "edge")
			}
			if i%50 == 3 {
				f.SetText(row, "rare", fmt.Sprint("note ", i))
			}
		}
		b := write(t, f, 1000, rows)
		sameFrames(t, read(t, b, table), f)
		about := openWithLibrary(t, b).MetaData().RowGroups[0].Columns
		for i, c := range table.Columns {
			var least, greatest string
			nulls := int64(0)
			for _, text := range f.Texts(c.Name) {
				switch {
				case text == "":
					nulls++
					continue
				case least == "" || text < least:
					least = text
				}
				greatest = max(greatest, text)
			}
			s := about[i].MetaData.Statistics
			if *s.NullCount != nulls || string(s.MinValue) != least || string(s.MaxValue) != greatest {
				t.Errorf("%d rows, %s: %d null, from %q to %q, want %d, %q, %q", rows, c.Name, *s.NullCount, s.MinValue, s.MaxValue, nulls, least, greatest)
			}
		}
	}
}
