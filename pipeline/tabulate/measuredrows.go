package tabulate

import (
	"cmp"
	"slices"

	"tonocohort/schema"
)

// The tables behind Measured are written subject by subject, visit by visit and
// recording by recording, all in the same order, so that what belongs to a row of one
// is found by walking along the other; only where that fails is what was met kept.

// visitsOf returns the row of the table of visits that each row of a table belongs
// to, −1 where there is none.
func (m Measured) visitsOf(f *schema.Frame) []int32 {
	subject, visit := f.Labels("subject_id"), f.Labels("visit_id")
	ofSubject, ofVisit := m.Visits.Labels("subject_id"), m.Visits.Labels("visit_id")
	return placed(f.N, m.Visits.N,
		func(row int) visitKey { return visitKey{subject.At(row), visit.At(row)} },
		func(row int) visitKey { return visitKey{ofSubject.At(row), ofVisit.At(row)} })
}

// recordingsOf returns the row of the table of recordings that each row of a table
// belongs to, −1 where there is none.
func (m Measured) recordingsOf(f *schema.Frame) []int32 {
	id, ofID := f.Labels("recording_id"), m.Recordings.Labels("recording_id")
	return placed(f.N, m.Recordings.N, id.At, ofID.At)
}

// placed returns where among others each of n things stands, by its key; −1: nowhere.
func placed[K comparable](n, others int, key, other func(int) K) []int32 {
	out := make([]int32, n)
	var known map[K]int32 // nil as long as both are in the same order
	at := 0
	for i := range out {
		k := key(i)
		if known == nil {
			next := at
			for next < others && other(next) != k {
				next++
			}
			if next < others {
				at = next
				out[i] = int32(at)
				continue
			}
			known = make(map[K]int32, others)
			for j := range others {
				known[other(j)] = int32(j)
			}
		}
		out[i] = -1
		if j, ok := known[k]; ok {
			out[i] = j
		}
	}
	return out
}

// grouped lists things by the one that each belongs to, in their order.
type grouped struct{ start, members []int32 }

// groupBy lists the things that keep takes by what they belong to; −1: nothing.
func groupBy(belongs []int32, owners int, keep func(i int) bool) grouped {
	g := grouped{start: make([]int32, owners+1)}
	for i, owner := range belongs {
		if owner >= 0 && keep(i) {
			g.start[owner+1]++
		}
	}
	for owner := range owners {
		g.start[owner+1] += g.start[owner]
	}
	g.members = make([]int32, g.start[owners])
	next := slices.Clone(g.start)
	for i, owner := range belongs {
		if owner >= 0 && keep(i) {
			g.members[next[owner]] = int32(i)
			next[owner]++
		}
	}
	return g
}

// of returns the members of an owner.
func (g grouped) of(owner int) []int32 { return g.members[g.start[owner]:g.start[owner+1]] }

// usedRecordings lists by visit the recordings that were used, by time and,
// where that does not tell, by name.
func (m Measured) usedRecordings() grouped {
	f := m.Recordings
	status := f.Labels("status")
	g := groupBy(m.visitsOf(f), m.Visits.N, func(row int) bool { return status.At(row) == "used" })
	when, ids := f.Labels("recorded_at"), f.Labels("recording_id")
	for visit := range m.Visits.N {
		if rows := g.of(visit); len(rows) > 1 {
			slices.SortFunc(rows, func(a, b int32) int {
				return cmp.Or(cmp.Compare(when.At(int(a)), when.At(int(b))), cmp.Compare(ids.At(int(a)), ids.At(int(b))))
			})
		}
	}
	return g
}

// readingsByVisit lists the cuff readings of each visit in the order of the table,
// which is that of their numbers.
func (m Measured) readingsByVisit() grouped {
	return groupBy(m.visitsOf(m.Readings), m.Visits.N, func(int) bool { return true })
}

// examinedVisits returns the visits that the rule of the plan keeps, one of each
// person, and every used visit with more than one recording. Where the plan takes all
// visits, a person's first is the one.
func (m Measured) examinedVisits(plan schema.Analysis) (one, repeats []examined) {
	if plan.Visit == allVisits {
		plan.Visit = firstVisit
	}
	recordings := m.usedRecordings()
	for _, row := range newCohort(m.Visits, plan, newFlow(), &reporter{}).rows {
		one = append(one, examined{int(row), recordings.of(int(row))})
	}
	m.Visits.EachText("status", func(row int, status string) {
		if rows := recordings.of(row); status == "used" && len(rows) > 1 {
			repeats = append(repeats, examined{row, rows})
		}
	})
	return one, repeats
}
