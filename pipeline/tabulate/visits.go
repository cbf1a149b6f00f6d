package tabulate

import (
	"cmp"
	"fmt"
	"iter"
	"math"
	"slices"

	"tonocohort/schema"
)

// The visit rules that are not the name of a visit.
const (
	firstVisit = "first"
	lastVisit  = "last"
	allVisits  = "all"
)

// FirstStage is the stage with which the flow of the statistics begins.
const FirstStage = "used"

// visitRule returns the rule of the plan; silence means the first visit.
func visitRule(plan schema.Analysis) string {
	if plan.Visit == "" {
		return firstVisit
	}
	return plan.Visit
}

// visits returns the rows that are analysed: those with status used, and of
// these the ones that the visit rule keeps.
func (c *cohort) visits(plan schema.Analysis, flow *flow, report *reporter) []int32 {
	used := c.used(flow)
	c.everyUsed = used
	rule := visitRule(plan)
	var kept []int32
	reason := "not_" + rule + "_visit"
	switch rule {
	case allVisits:
		kept = used
	case firstVisit, lastVisit:
		kept = c.outermost(used, rule, report)
	default:
		ids := c.frame.Labels("visit_id")
		for _, row := range used {
			if ids.At(int(row)) == rule {
				kept = append(kept, row)
			}
		}
		reason = "not_visit_" + rule
		if len(kept) == 0 {
			report.note("visit", rule, "no_such_visit", "no used visit has this visit_id: every statistic is empty", "first, last, all or a visit_id")
		}
	}
	left := newTally()
	for range len(used) - len(kept) {
		left.add(reason)
	}
	flow.stage("visit_rule", len(used), left)
	return kept
}

// used returns the rows with central values.
func (c *cohort) used(flow *flow) []int32 {
	rows := make([]int32, 0, c.frame.N)
	left := newTally()
	reasons, statuses := c.frame.Labels("reason"), c.frame.Labels("status")
	for row := range c.frame.N {
		switch status, reason := statuses.At(row), reasons.At(row); {
		case status == "used":
			rows = append(rows, int32(row))
		case reason != "":
			left.add(reason)
		default:
			left.add(status)
		}
	}
	slices.Sort(left.reasons)
	flow.stage(FirstStage, c.frame.N, left)
	return rows
}

// outermost keeps the first or the last visit of each person, by date where all
// visits of the person have one, else by age where all have one, else by
// visit_id. Where date or age do not tell visits apart, visit_id decides, and
// an issue says for how many persons.
func (c *cohort) outermost(used []int32, rule string, report *reporter) []int32 {
	if c.persons == c.frame.N {
		return used // nobody was seen twice
	}
	kept := make([]int32, 0, c.persons)
	orders := c.visitOrders()
	byName := 0
	for rows := range c.byPerson(used) {
		if len(rows) == 1 {
			kept = append(kept, rows[0])
			continue
		}
		order := orders(rows)
		rows = slices.SortedFunc(slices.Values(rows), order.compare)
		pick, next := 0, 1
		if rule == lastVisit {
			pick, next = len(rows)-1, len(rows)-2
		}
		if order.time(rows[pick], rows[next]) == 0 {
			byName++
		}
		kept = append(kept, rows[pick])
	}
	if byName > 0 {
		report.note("visit", rule, "visit_order_by_id", fmt.Sprintf("for %d persons neither dates nor ages tell the visits apart: visit_id, sorted as text, decided", byName), "give visit_date")
	}
	slices.Sort(kept)
	return kept
}

// byPerson yields the rows of each person, persons in the order in which they
// first stand in the frame. What it yields must not be changed.
func (c *cohort) byPerson(rows []int32) iter.Seq[[]int32] {
	byNumber := func(a, b int32) int { return cmp.Compare(c.subject[a], c.subject[b]) }
	if !slices.IsSortedFunc(rows, byNumber) {
		rows = slices.Clone(rows)
		slices.SortStableFunc(rows, byNumber)
	}
	return func(yield func([]int32) bool) {
		for from := 0; from < len(rows); {
			to := from + 1
			for to < len(rows) && c.subject[rows[to]] == c.subject[rows[from]] {
				to++
			}
			if !yield(rows[from:to]) {
				return
			}
			from = to
		}
	}
}

// visitOrder orders the visits of one person.
type visitOrder struct {
	time func(a, b int32) int // 0 where time does not tell them apart
	ids  *schema.Labels
}

func (o visitOrder) compare(a, b int32) int {
	return cmp.Or(o.time(a, b), cmp.Compare(o.ids.At(int(a)), o.ids.At(int(b))))
}

// visitOrders returns what gives the visits of a person their order.
func (c *cohort) visitOrders() func(rows []int32) visitOrder {
	ids := c.frame.Labels("visit_id")
	var dates schema.Labels
	var ages []float64
	dated := c.frame.Has("visit_date")
	if dated {
		dates = c.frame.Labels("visit_date")
	}
	if c.frame.Has("age_years") {
		ages = c.frame.Numbers("age_years")
	}
	return func(rows []int32) visitOrder {
		o := visitOrder{time: func(int32, int32) int { return 0 }, ids: &ids}
		switch {
		case dated && !slices.ContainsFunc(rows, func(row int32) bool { return dates.At(int(row)) == "" }):
			o.time = func(a, b int32) int { return cmp.Compare(dates.At(int(a)), dates.At(int(b))) }
		case ages != nil && !slices.ContainsFunc(rows, func(row int32) bool { return math.IsNaN(ages[row]) }):
			o.time = func(a, b int32) int { return cmp.Compare(ages[a], ages[b]) }
		}
		return o
	}
}
