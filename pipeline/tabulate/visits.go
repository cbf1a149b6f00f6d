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
func (c *cohort) visits(plan schema.Analysis, flow *flow, report *reporter) []int {
	used := c.used(flow)
	c.everyUsed = used
	rule := visitRule(plan)
	var kept []int
	reason := "not_" + rule + "_visit"
	switch rule {
	case allVisits:
		kept = used
	case firstVisit, lastVisit:
		kept = c.outermost(used, rule, report)
	default:
		ids := c.frame.Texts("visit_id")
		for _, row := range used {
			if ids[row] == rule {
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
func (c *cohort) used(flow *flow) []int {
	rows := make([]int, 0, c.frame.N)
	left := newTally()
	reasons := c.frame.Texts("reason")
	for row, status := range c.frame.Texts("status") {
		switch {
		case status == "used":
			rows = append(rows, row)
		case reasons[row] != "":
			left.add(reasons[row])
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
func (c *cohort) outermost(used []int, rule string, report *reporter) []int {
	kept := make([]int, 0, c.persons)
	byName := 0
	for rows := range c.byPerson(used) {
		if len(rows) == 1 {
			kept = append(kept, rows[0])
			continue
		}
		order := c.visitOrder(rows)
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
func (c *cohort) byPerson(rows []int) iter.Seq[[]int] {
	byNumber := func(a, b int) int { return cmp.Compare(c.subject[a], c.subject[b]) }
	if !slices.IsSortedFunc(rows, byNumber) {
		rows = slices.Clone(rows)
		slices.SortStableFunc(rows, byNumber)
	}
	return func(yield func([]int) bool) {
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
	time func(a, b int) int // 0 where time does not tell them apart
	ids  []string
}

func (o visitOrder) compare(a, b int) int {
	return cmp.Or(o.time(a, b), cmp.Compare(o.ids[a], o.ids[b]))
}

func (c *cohort) visitOrder(rows []int) visitOrder {
	o := visitOrder{time: func(int, int) int { return 0 }, ids: c.frame.Texts("visit_id")}
	if c.frame.Has("visit_date") {
		dates := c.frame.Texts("visit_date")
		if !slices.ContainsFunc(rows, func(row int) bool { return dates[row] == "" }) {
			o.time = func(a, b int) int { return cmp.Compare(dates[a], dates[b]) }
			return o
		}
	}
	if c.frame.Has("age_years") {
		ages := c.frame.Numbers("age_years")
		if !slices.ContainsFunc(rows, func(row int) bool { return math.IsNaN(ages[row]) }) {
			o.time = func(a, b int) int { return cmp.Compare(ages[a], ages[b]) }
		}
	}
	return o
}
