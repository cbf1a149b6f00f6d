package pipeline

import (
	"slices"
	"strings"
)

func (r *sheetsReader) centreOf(row int) string {
	return r.centre[r.recordings.TextAt(row, "subject_id")+"\x00"+r.recordings.TextAt(row, "visit_id")]
}

// choose lists the rows that a filter picks, in the order of the table.
func (r *sheetsReader) choose(f SheetsFilter) ([]int, error) {
	rec := r.recordings
	var rows []int
	known := map[string]bool{}
	for row := range rec.N {
		reasons := strings.Fields(rec.TextAt(row, "quality_reasons"))
		if reason := rec.TextAt(row, "reason"); reason != "" {
			reasons = append(reasons, reason)
		}
		for _, reason := range reasons {
			known[reason] = true
		}
		id := rec.TextAt(row, "recording_id")
		if among(f.Grades, rec.TextAt(row, "quality")) && among(f.Reasons, reasons...) && among(f.IDs, id, rec.TextAt(row, "subject_id")) &&
			among(f.Centres, r.centreOf(row)) && among(f.Operators, rec.TextAt(row, "operator_id")) && among(f.Devices, rec.TextAt(row, "device_id")) &&
			(!f.Unread || len(r.reviews[id]) == 0) && (f.Sample == 0 || inSample(id, f.Sample)) {
			rows = append(rows, row)
		}
	}
	for _, reason := range f.Reasons {
		if !known[reason] {
			return nil, noSheets("no recording has the reason %s; the reasons are: %s", reason, strings.Join(sortedNames(known), ", "))
		}
	}
	if len(rows) == 0 {
		return nil, noSheets("no recording of the %d is as asked for: %s", rec.N, f.words())
	}
	return rows, nil
}

func among(names []string, any ...string) bool {
	return len(names) == 0 || slices.ContainsFunc(any, func(s string) bool { return slices.Contains(names, s) })
}

func sortedNames(set map[string]bool) []string {
	var names []string
	for name := range set {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}
