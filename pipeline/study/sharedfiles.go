package study

import (
	"cmp"
	"fmt"
	"hash/maphash"
	"path"
	"slices"
	"strings"

	"tonocohort/schema"
)

// foldCase gives paths that are one file where case does not count one spelling.
// Upper case first: letters that have several lower forms meet there.
func foldCase(name string) string { return strings.ToLower(strings.ToUpper(path.Clean(name))) }

// judgeSharedFiles leaves recordings out whose files differ in case alone: on
// many file systems they are one file, and one of the two waves is then another
// person's. It notes recordings that read the same channel of the same file,
// but for Parquet, where a file may hold the recordings of many.
func (l *loader) judgeSharedFiles(t *tableReader) {
	order, folded := l.notAlone()
	slices.SortFunc(order, func(i, j int) int {
		a, b := &l.recordings[i], &l.recordings[j]
		return cmp.Or(cmp.Compare(folded[i], folded[j]), cmp.Compare(a.File, b.File), cmp.Compare(a.Channel, b.Channel), cmp.Compare(a.Line, b.Line))
	})
	column := t.columns[t.column("file")].at + 1
	for from := 0; from < len(order); {
		to := from + 1
		for to < len(order) && folded[order[to]] == folded[order[from]] {
			to++
		}
		group := order[from:to]
		from = to
		if l.recordings[group[0]].File != l.recordings[group[len(group)-1]].File {
			l.leaveOutTwins(t, group, column)
			continue
		}
		for k := 1; k < len(group); k++ {
			a, b := &l.recordings[group[k-1]], &l.recordings[group[k]]
			if a.Channel == b.Channel && b.Format != "parquet" {
				l.log.note(noteKey{t.file, "file", "file_used_twice", column}, max(a.Line, b.Line), "another recording has the same file and channel", "")
			}
		}
	}
}

// notAlone returns the recordings whose files may have one name but for case, and these
// names by recording. Mostly there are none, so that sums are compared first: the names
// of all would be as much again as the table has of them.
func (l *loader) notAlone() (order []int, folded map[int]string) {
	seed := maphash.MakeSeed()
	sums := make([]uint64, len(l.recordings))
	for i := range l.recordings {
		if file := l.recordings[i].File; file != "" {
			sums[i] = maphash.String(seed, foldCase(file))
		}
	}
	sorted := slices.Clone(sums)
	slices.Sort(sorted)
	folded = map[int]string{}
	for i := range l.recordings {
		at, _ := slices.BinarySearch(sorted, sums[i])
		if file := l.recordings[i].File; file != "" && at+1 < len(sorted) && sorted[at+1] == sums[i] {
			order = append(order, i)
			folded[i] = foldCase(file)
		}
	}
	return order, folded
}

// leaveOutTwins leaves out the recordings of files that differ in case alone.
func (l *loader) leaveOutTwins(t *tableReader, group []int, column int) {
	first := &l.recordings[group[0]]
	for _, i := range group {
		r := &l.recordings[i]
		if r.Fault != "" {
			continue
		}
		twin := first
		if r.File == first.File {
			twin = &l.recordings[group[len(group)-1]]
		}
		visit := &l.visits[r.visit]
		r.Fault = "file_differs_in_case"
		l.log.excluded("recording", schema.Issue{Size: schema.SizeRecording, File: t.file, Row: r.Line, Column: column, Name: "file", Value: shorten(r.File), Code: r.Fault,
			Message: fmt.Sprintf("the file of line %d has the same name but for upper and lower case: on many systems they are one file", twin.Line), Hint: "rename one of them",
			SubjectID: l.subjects[visit.subject].id, VisitID: visit.ID, RecordingID: r.ID})
	}
}
