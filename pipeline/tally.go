package pipeline

import (
	"cmp"
	"slices"

	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// tally counts what became of whom, for the flow table, the manifest and the
// terminal. Everything found is used, excluded or failed.
type tally struct {
	counts   schema.Counts
	expected int // recordings in the study
	left     map[leaving]int
}

// leaving is one way out of the study at one level.
type leaving struct{ unit, status, reason string }

// ReasonCount says how many recordings were left out for a reason.
type ReasonCount struct {
	Status string `json:"status"`
	Reason string `json:"reason"`
	N      int    `json:"n"`
}

func newTally() *tally { return &tally{left: map[leaving]int{}} }

// expect counts the recordings ahead, for the progress line.
func (t *tally) expect(s *study.Study) {
	for i := range s.Subjects {
		for j := range s.Subjects[i].Visits {
			t.expected += len(s.Subjects[i].Visits[j].Recordings)
		}
	}
}

// subjectCounts is what a subject adds to the tally.
type subjectCounts struct {
	Became []became        `json:"became"`
	Beats  schema.Accepted `json:"beats"`
}

// became says what became of one thing: unit is subjects, subject_visits or
// recordings.
type became struct {
	Unit   string `json:"unit"`
	Status string `json:"status"`
	Reason string `json:"reason,omitempty"`
}

func countsOf(s *subjectResult) subjectCounts {
	var c subjectCounts
	status, reason := s.status()
	c.Became = append(c.Became, became{"subjects", status, reason})
	for i := range s.visits {
		v := &s.visits[i]
		c.Became = append(c.Became, became{"subject_visits", v.status, v.reason})
		for _, r := range v.recordings {
			c.Became = append(c.Became, became{"recordings", r.status, r.reason})
			c.Beats.Found += len(r.beats)
			c.Beats.Accepted += acceptedBeats(r)
		}
	}
	return c
}

func (t *tally) add(c subjectCounts) {
	for _, b := range c.Became {
		into := &t.counts.Recordings
		switch b.Unit {
		case "subjects":
			into = &t.counts.Subjects
		case "subject_visits":
			into = &t.counts.Visits
		}
		t.count(into, b.Unit, b.Status, b.Reason)
	}
	t.counts.Beats.Found += c.Beats.Found
	t.counts.Beats.Accepted += c.Beats.Accepted
}

func (t *tally) count(into *schema.Tally, unit, status, reason string) {
	into.Found++
	switch status {
	case statusUsed:
		into.Used++
		return
	case statusExcluded:
		into.Excluded++
	default:
		into.Failed++
	}
	t.left[leaving{unit, status, reason}]++
}

// listed lists the ways out of the study in their order.
func (t *tally) listed() []leftCount {
	list := make([]leftCount, 0, len(t.left))
	for l, n := range t.left {
		list = append(list, leftCount{l.unit, l.status, l.reason, n})
	}
	slices.SortFunc(list, func(a, b leftCount) int {
		return cmp.Or(cmp.Compare(a.Unit, b.Unit), cmp.Compare(a.Status, b.Status), cmp.Compare(a.Reason, b.Reason))
	})
	return list
}

// merge adds what a part of the study has counted.
func (t *tally) merge(c schema.Counts, left []leftCount) {
	t.counts.Withdrawn += c.Withdrawn
	for _, level := range []struct{ into, from *schema.Tally }{
		{&t.counts.Subjects, &c.Subjects}, {&t.counts.Visits, &c.Visits}, {&t.counts.Recordings, &c.Recordings},
	} {
		level.into.Found += level.from.Found
		level.into.Used += level.from.Used
		level.into.Excluded += level.from.Excluded
		level.into.Failed += level.from.Failed
	}
	t.counts.Beats.Found += c.Beats.Found
	t.counts.Beats.Accepted += c.Beats.Accepted
	for _, l := range left {
		t.left[leaving{l.Unit, l.Status, l.Reason}] += l.N
	}
}

// reasons lists why recordings were left out, most frequent first.
func (t *tally) reasons() []ReasonCount {
	var list []ReasonCount
	for l, n := range t.left {
		if l.unit == "recordings" {
			list = append(list, ReasonCount{l.status, l.reason, n})
		}
	}
	slices.SortFunc(list, func(a, b ReasonCount) int {
		return cmp.Or(cmp.Compare(b.N, a.N), cmp.Compare(a.Status, b.Status), cmp.Compare(a.Reason, b.Reason))
	})
	return list
}

// flow writes the stages of the run: what the tables' own faults took, what
// failed and what the rules left out, each stage adding up.
func (t *tally) flow(tables []study.TableCount) *schema.Frame {
	f := schema.NewFrame(schema.FlowTable(), 32)
	order := 0
	stage := func(unit, name string, in int, out []ReasonCount) int {
		order++
		lost := 0
		for _, r := range out {
			lost += r.N
		}
		if len(out) == 0 {
			out = []ReasonCount{{}}
		}
		for _, r := range out {
			row := f.AddRow()
			f.SetText(row, "unit", unit)
			f.SetText(row, "stage", name)
			f.SetText(row, "reason", r.Reason)
			setInteger(f, row, "order", order)
			setInteger(f, row, "in", in)
			setInteger(f, row, "out", in-lost)
			setInteger(f, row, "n", r.N)
		}
		return in - lost
	}
	for _, unit := range []struct {
		name, table string
		tally       schema.Tally
	}{
		{"subjects", "subjects", t.counts.Subjects},
		{"subject_visits", "visits", t.counts.Visits},
		{"recordings", "recordings", t.counts.Recordings},
	} {
		listed, lost := listedRows(tables, unit.table)
		in := stage(unit.name, "listed in the table "+unit.table, listed, lost)
		in = stage(unit.name, "read and computed", in, t.leaving(unit.name, statusFailed))
		stage(unit.name, "kept by the study's rules", in, t.leaving(unit.name, statusExcluded))
	}
	return f
}

func (t *tally) leaving(unit, status string) []ReasonCount {
	var list []ReasonCount
	for l, n := range t.left {
		if l.unit == unit && l.status == status {
			list = append(list, ReasonCount{status, l.reason, n})
		}
	}
	slices.SortFunc(list, func(a, b ReasonCount) int { return cmp.Or(cmp.Compare(b.N, a.N), cmp.Compare(a.Reason, b.Reason)) })
	return list
}

// listedRows says how many rows a table had and where those went that are not
// in the study.
func listedRows(tables []study.TableCount, table string) (rows int, lost []ReasonCount) {
	for _, c := range tables {
		if c.Table != table {
			continue
		}
		rows = c.Rows
		for _, l := range []ReasonCount{{Reason: "withdrawn", N: c.Withdrawn}, {Reason: "row_left_out", N: c.LeftOut}, {Reason: "blank_row", N: c.Blank}} {
			if l.N > 0 {
				lost = append(lost, l)
			}
		}
	}
	return rows, lost
}
