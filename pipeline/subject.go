package pipeline

import (
	"cmp"
	"slices"
	"strings"

	"tonocohort/pipeline/pulse"
	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// subjectResult is the slot of one subject in its chunk.
type subjectResult struct {
	subject *study.Subject
	visits  []visitResult
	trace   traces // of the recordings that were read
}

// visitResult is one visit with its recordings, combined.
type visitResult struct {
	visit          *study.Visit
	recordings     []*recordingResult
	status, reason string
	detail         string
	used           []*recordingResult // those that were combined
	cuff           study.Cuff
	mapSource      string
	values         values
}

// subject carries every recording of one subject through the doors and combines
// the replicates of each visit.
func (w *worker) subject(s *study.Subject) subjectResult {
	out := subjectResult{subject: s, visits: make([]visitResult, len(s.Visits))}
	for i := range s.Visits {
		visit := &s.Visits[i]
		v := visitResult{visit: visit}
		for j := range visit.Recordings {
			w.files.take()
			v.recordings = append(v.recordings, w.guarded(s.Sex, visit, &visit.Recordings[j]))
			if visit.Recordings[j].Fault == "" {
				out.trace = append(out.trace, w.files.take())
			}
		}
		w.departures(&v)
		w.combine(&v)
		out.visits[i] = v
	}
	return out
}

// departures leaves the recordings of a visit out that departed from the
// protocol, where the study wants that.
func (w *worker) departures(v *visitResult) {
	if w.settings.Protocol.OnDeparture != "exclude" || len(v.visit.Departures) == 0 {
		return
	}
	for _, r := range v.recordings {
		r.leave(statusExcluded, "protocol_departure", strings.Join(v.visit.Departures, " "))
	}
}

// combine makes the visit's values of those of its recordings.
func (w *worker) combine(v *visitResult) {
	v.cuff = w.combineCuff(v.visit.Cuff)
	for _, r := range v.recordings {
		if r.status == statusUsed {
			v.used = append(v.used, r)
		}
	}
	slices.SortFunc(v.used, byGivenID) // so that pseudonyms change neither a choice nor a last digit
	v.used = replicates(v.used, w.settings.Replicates.Rule)
	if len(v.used) == 0 {
		w.unused(v)
		return
	}
	v.status = statusUsed
	all := make([]values, len(v.used))
	for i, r := range v.used {
		all[i] = r.values
	}
	v.values = theLayout.combine(all)
	v.values.fillErrors(combineErrors(v.used))
	v.mapSource = v.used[0].mapSource
}

// unused keeps the brachial values of a visit without a usable recording: the
// person still stands in every count.
func (w *worker) unused(v *visitResult) {
	v.values = theLayout.empty()
	v.values[atBrachialSBP] = v.cuff.SBP
	v.values[atBrachialDBP] = v.cuff.DBP
	var mean float64
	mean, v.mapSource = meanPressure(v.cuff, w.settings.Calibration)
	v.values[atBrachialMAP] = mean
	v.values.derive()
	if len(v.recordings) == 0 {
		v.status, v.reason, v.detail = statusExcluded, "no_recording", "the recordings table has none for this visit"
		return
	}
	// A visit failed only where no rule left any of its recordings out.
	first := v.recordings[0]
	for _, r := range v.recordings {
		if r.status == statusExcluded {
			first = r
			break
		}
	}
	v.status, v.reason, v.detail = first.status, first.reason, "recording "+first.row.ID
}

// replicates picks the recordings of a visit that are combined.
func replicates(used []*recordingResult, rule string) []*recordingResult {
	if len(used) < 2 {
		return used
	}
	switch rule {
	case "first":
		first := slices.MinFunc(used, func(a, b *recordingResult) int {
			return cmp.Or(cmp.Compare(a.row.RecordedAt, b.row.RecordedAt), byGivenID(a, b))
		})
		return []*recordingResult{first}
	case "best":
		best := slices.MinFunc(used, func(a, b *recordingResult) int {
			return cmp.Or(cmp.Compare(gradeRank(b.quality), gradeRank(a.quality)), cmp.Compare(acceptedBeats(b), acceptedBeats(a)), byGivenID(a, b))
		})
		return []*recordingResult{best}
	default:
		return used
	}
}

func gradeRank(grade string) int {
	return slices.Index([]string{pulse.Unusable, pulse.Doubtful, pulse.Usable}, grade)
}

func acceptedBeats(r *recordingResult) int {
	n := 0
	for _, b := range r.beats {
		if b.Accepted {
			n++
		}
	}
	return n
}

// lowestGrade is the lowest grade among recordings that were combined.
func lowestGrade(used []*recordingResult) string {
	if len(used) == 0 {
		return ""
	}
	lowest := slices.MinFunc(used, func(a, b *recordingResult) int { return cmp.Compare(gradeRank(a.quality), gradeRank(b.quality)) })
	return lowest.quality
}

// shared is the value all recordings agree on, or "mixed".
func shared(used []*recordingResult, of func(*recordingResult) string) string {
	if len(used) == 0 {
		return ""
	}
	first := of(used[0])
	for _, r := range used[1:] {
		if of(r) != first {
			return "mixed"
		}
	}
	return first
}

// status is what became of the subject: the best of its visits.
func (s *subjectResult) status() (status, reason string) {
	if len(s.visits) == 0 {
		return statusExcluded, "no_visit"
	}
	status, reason = statusFailed, s.visits[0].reason
	for _, v := range s.visits {
		switch {
		case v.status == statusUsed:
			return statusUsed, ""
		case v.status == statusExcluded && status == statusFailed:
			status, reason = statusExcluded, v.reason
		}
	}
	return status, reason
}

// setCells copies the carried cells of a visit into a row.
func setCells(f *schema.Frame, row int, carried []schema.Column, cells []study.Cell) {
	for i, c := range carried {
		if c.Numeric() {
			f.SetNumber(row, c.Name, cells[i].Number)
		} else {
			f.SetText(row, c.Name, cells[i].Text)
		}
	}
}

func setInteger(f *schema.Frame, row int, name string, n int) { f.SetNumber(row, name, float64(n)) }
