package release

import (
	"strings"

	"tonocohort/schema"
)

// Visits and recordings are counted in the flow, people are protected: twelve
// recordings that were left out may be of three.

// heads are the people behind a count of the flow. As soon as there are as many as
// the smallest cell no further ones are noted.
type heads struct {
	each bool // of whom each is counted once
	ids  map[int32]bool
}

func (h heads) with(id int32, most int) heads {
	if h.ids == nil {
		h.ids = map[int32]bool{}
	}
	if len(h.ids) < most {
		h.ids[id] = true
	}
	return h
}

// join are the people of two counts.
func (h heads) join(o heads, most int) heads {
	if h.each && o.each {
		return h
	}
	out := heads{}
	for _, from := range []heads{h, o} {
		for id := range from.ids {
			out = out.with(id, most)
		}
	}
	return out
}

// fewOf reports a count of things that is told of few people.
func (c *checker) fewOf(n int, of heads) bool {
	return c.rules.Few(n) || n > 0 && !of.each && len(of.ids) < c.rules.MinCell
}

// lostOf joins the people whom a stage lost.
func (c *checker) lostOf(s stage) heads {
	all := heads{}
	for i, l := range s.lost {
		if i == 0 {
			all = l.of
		} else {
			all = all.join(l.of, c.rules.MinCell)
		}
	}
	return all
}

// behind finds the people behind the reasons of the flow, by unit and, with a nul
// between, the stage's set and the reason; "" holds those who are used.
func (c *checker) behind() map[string]map[string]heads {
	out := map[string]map[string]heads{"subject_visits": c.leftOut(c.Visits)}
	if c.Recordings != nil {
		out["recordings"] = c.leftOut(c.Recordings)
	}
	return out
}

// leftOut finds the people of a table by the reason for which their rows are left out.
func (c *checker) leftOut(f *schema.Frame) map[string]heads {
	of := map[string]heads{}
	persons, _ := f.Numbered("subject_id")
	statuses, reasons := f.Labels("status"), f.Labels("reason")
	for row := range f.N {
		reason := ""
		if statuses.At(row) != "used" {
			reason = reasons.At(row)
		}
		if h := of[reason]; len(h.ids) < c.rules.MinCell {
			of[reason] = h.with(persons[row], c.rules.MinCell)
		}
	}
	return of
}

// whose are the people who were lost for a reason; none where it is not known.
func (c *checker) whose(unit, stage, reason string) heads {
	if unit == "subjects" || !c.People.Repeated && strings.HasPrefix(stage, setPrefix) {
		return heads{each: true}
	}
	if c.heads == nil {
		c.heads = c.behind()
	}
	switch {
	case strings.HasPrefix(stage, setPrefix):
		return c.whoLeft(strings.TrimPrefix(stage, setPrefix), reason)
	case stage == visitRule:
		return c.otherVisits()
	case strings.HasPrefix(stage, listedStage): // withdrawn, or in no row that is kept
		return heads{}
	}
	return c.heads[unit][reason]
}

// Stages by name that need a rule of their own.
const (
	visitRule   = "visit_rule"
	listedStage = "listed in the table"
)

// whoLeft are the people of the visits that leave a set for a reason.
func (c *checker) whoLeft(set, reason string) (of heads) {
	why := c.reasonToLeave(set)
	if why == nil {
		return of
	}
	for i, person := range c.People.Person {
		if why(i) == reason {
			of = of.with(person, c.rules.MinCell)
		}
	}
	return of
}

// otherVisits are the people of whom a further visit is not analysed.
func (c *checker) otherVisits() (of heads) {
	persons, _ := c.Visits.Numbered("subject_id")
	statuses := c.Visits.Labels("status")
	next := 0
	for row := range c.Visits.N {
		if next < len(c.People.Rows) && int(c.People.Rows[next]) == row {
			next++
			continue
		}
		if statuses.At(row) == "used" {
			of = of.with(persons[row], c.rules.MinCell)
		}
	}
	return of
}
