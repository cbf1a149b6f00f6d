package tabulate

import (
	"fmt"
	"math"
	"slices"

	"tonocohort/stats"
	concord "tonocohort/stats/agree"
)

// review is what one reader made of a recording.
type review struct {
	row, reader int
}

// readers compares readers of the same recordings, and each reader with the
// program's grade. Readers are numbered in the order of their names, which do not
// leave the study.
func (a *agreement) readers() {
	f := a.m.Reviews
	names := slices.Clone(f.Texts("reader"))
	slices.Sort(names)
	names = slices.Compact(names)
	byRecording := map[string][]review{}
	var order []string
	for row, id := range f.Texts("recording_id") {
		reader, _ := slices.BinarySearch(names, f.TextAt(row, "reader"))
		if byRecording[id] == nil {
			order = append(order, id)
		}
		byRecording[id] = append(byRecording[id], review{row, reader})
	}
	for i := range names {
		for j := i + 1; j < len(names); j++ {
			var table crossed
			for _, id := range order {
				one, two := byReader(byRecording[id], i), byReader(byRecording[id], j)
				if one >= 0 && two >= 0 {
					table.add(a, one, f.TextAt(one, "decision"), f.TextAt(two, "decision"))
				}
			}
			a.kappa(topic{comparison: betweenReaders, first: readerName(i), second: readerName(j), variable: "decision"}, table)
		}
	}
	for i := range names {
		a.graded(i, order, byRecording)
	}
}

func readerName(i int) string { return fmt.Sprintf("reader %d", i+1) }

// byReader is the row of a reader's review, or −1.
func byReader(reviews []review, reader int) int {
	for _, r := range reviews {
		if r.reader == reader {
			return r.row
		}
	}
	return -1
}

// crossed counts two verdicts on the same recordings: accept, reject.
type crossed struct {
	counts  [2][2]int
	missing int
	persons map[string]bool
}

// add counts the review in row; an empty verdict is missing.
func (c *crossed) add(a *agreement, row int, first, second string) {
	i, j := slices.Index([]string{"accept", "reject"}, first), slices.Index([]string{"accept", "reject"}, second)
	if i < 0 || j < 0 {
		c.missing++
		return
	}
	if c.persons == nil {
		c.persons = map[string]bool{}
	}
	c.persons[a.m.Reviews.TextAt(row, "subject_id")] = true
	c.counts[i][j]++
}

// kappa writes the agreement of two who judged the same recordings.
func (a *agreement) kappa(t topic, table crossed) {
	k, err := concord.CohenKappa([][]int{table.counts[0][:], table.counts[1][:]}, concord.KappaUnweighted, confidence)
	if err != nil {
		return // they have no recording in common
	}
	n := behind{len(table.persons), table.missing, k.N}
	if n.observations > n.persons {
		t.note = join(t.note, "recordings of one person are taken as independent")
	}
	r := stats.Result{Statistic: "kappa", Estimate: k.Estimate, Method: "cohen_1960", Unit: "1"}
	if math.IsNaN(k.Estimate) {
		r.Note = "both give one and the same verdict throughout: chance alone would agree"
	}
	a.write(t, n, r, k.Interval)
	same := table.counts[0][0] + table.counts[1][1]
	a.write(t, n, stats.Result{Statistic: "proportion_agreed", Estimate: k.Observed, Method: "share", Unit: "1"}, stats.Wilson(same, k.N, confidence))
	a.write(t, n, stats.Result{Statistic: "agreement_by_chance", Estimate: k.Expected, Method: "product_of_margins", Unit: "1"}, stats.Interval{})
}

// graded holds a reader against the program, which accepts from the lowest grade
// that the study analyses, and tells how often the reader accepted each grade.
func (a *agreement) graded(reader int, order []string, byRecording map[string][]review) {
	f := a.m.Reviews
	t := topic{comparison: readerAndGrade, first: readerName(reader), second: "program", variable: "decision",
		note: "the program's verdict before the review"}
	var table crossed
	accepted, seen := map[string]int{}, map[string]int{}
	persons := map[string]map[string]bool{}
	for _, id := range order {
		row := byReader(byRecording[id], reader)
		if row < 0 {
			continue
		}
		table.add(a, row, f.TextAt(row, "decision"), f.TextAt(row, "program_decision"))
		grade := f.TextAt(row, "quality")
		seen[grade]++
		if persons[grade] == nil {
			persons[grade] = map[string]bool{}
		}
		persons[grade][f.TextAt(row, "subject_id")] = true
		if f.TextAt(row, "decision") == "accept" {
			accepted[grade]++
		}
	}
	a.kappa(t, table)
	for _, grade := range f.Column("quality").Levels {
		if n := seen[grade]; n > 0 {
			r := stats.Result{Statistic: "proportion_accepted_" + grade, Estimate: float64(accepted[grade]) / float64(n), Method: "share", Unit: "1"}
			a.write(t, behind{len(persons[grade]), 0, n}, r, stats.Wilson(accepted[grade], n, confidence))
		}
	}
}
