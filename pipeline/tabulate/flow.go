package tabulate

import "tonocohort/schema"

// flow writes the stages of the participant flow.
type flow struct {
	frame *schema.Frame
	order int
}

func newFlow() *flow { return &flow{frame: schema.NewFrame(schema.FlowTable(), 8)} }

// tally counts by reason, in the order in which reasons first stand in it.
type tally struct {
	reasons []string
	n       map[string]int
}

func newTally(reasons ...string) *tally {
	return &tally{reasons: reasons, n: map[string]int{}}
}

func (t *tally) add(reason string) {
	if _, seen := t.n[reason]; !seen {
		declared := false
		for _, r := range t.reasons {
			declared = declared || r == reason
		}
		if !declared {
			t.reasons = append(t.reasons, reason)
		}
	}
	t.n[reason]++
}

// stage writes one stage: a row per reason that took somebody out, or a single
// row without a reason. in − out is the sum of the counts.
func (f *flow) stage(name string, in int, left *tally) (out int) {
	f.order++
	out = in
	for _, n := range left.n {
		out -= n
	}
	row := func(reason string, n int) {
		i := f.frame.AddRow()
		f.frame.SetText(i, "unit", "subject_visits")
		f.frame.SetText(i, "stage", name)
		f.frame.SetNumber(i, "order", float64(f.order))
		f.frame.SetNumber(i, "in", float64(in))
		f.frame.SetNumber(i, "out", float64(out))
		f.frame.SetText(i, "reason", reason)
		f.frame.SetNumber(i, "n", float64(n))
	}
	if out == in {
		row("", 0)
	}
	for _, reason := range left.reasons {
		if n := left.n[reason]; n > 0 {
			row(reason, n)
		}
	}
	return out
}
