package pipeline

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// disguise is what a study wants shown in place of who the people are. It is put
// on between reading the tables and everything else, so that nothing that comes
// after has the ids of the study in its hands.
type disguise struct {
	settings schema.PrivacySettings
	key      *key
	numbers  map[string]map[string]string // by kind and id, where ids are renumbered
}

// newDisguise loads the key where one is needed.
func newDisguise(s schema.PrivacySettings, keyFile string, outside ...string) (*disguise, error) {
	d := &disguise{settings: s}
	needed := s.IDs == "keyed" || s.DateShift == "keyed"
	switch {
	case needed && keyFile == "":
		return nil, &KeyError{"privacy asks for keyed ids or dates: give --key-file"}
	case !needed && keyFile != "":
		return nil, &KeyError{"no setting under privacy needs one: ids would be shown as given"}
	case !needed:
		return d, nil
	}
	var err error
	d.key, err = loadKey(keyFile, outside...)
	return d, err
}

// keyID names the key in the manifest; empty where none is used.
func (d *disguise) keyID() string {
	if d.key == nil {
		return ""
	}
	return d.key.id()
}

// hidesIDs reports whether ids are replaced; file names, which mostly hold them,
// then go too.
func (d *disguise) hidesIDs() bool { return d.settings.IDs != "as_given" }

// hidesCells reports whether a cell of the tables may not be quoted.
func (d *disguise) hidesCells() bool { return d.hidesIDs() || d.settings.DateShift != "none" }

// The kinds of id that stand for a person or lead to one.
const (
	kindSubject   = "subject"
	kindRecording = "recording"
	kindFamily    = "family_id"
	kindCluster   = "cluster" // may be a household
	kindStaff     = "staff"   // operators and readers
)

// id is what an id is called in the results.
func (d *disguise) id(kind, id string) string {
	switch {
	case id == "" || !d.hidesIDs():
		return id
	case d.settings.IDs == "keyed":
		return d.key.pseudonym(kind, id)
	default:
		return d.numbers[kind][id] // an id that is in no table has no number
	}
}

// apply replaces ids and dates throughout a study.
func (d *disguise) apply(s *study.Study) {
	if d.settings.IDs == "renumber" {
		d.number(s)
	}
	dates := d.newDates(s)
	for i := range s.Subjects {
		d.subject(&s.Subjects[i], s.Carried, dates)
	}
	slices.SortFunc(s.Subjects, func(a, b study.Subject) int { return strings.Compare(a.ID, b.ID) })
	for i := range s.Issues {
		s.Issues[i] = d.issue(s.Issues[i])
	}
	s.Issues = append(s.Issues, dates.notes()...)
	schema.SortIssues(s.Issues)
	for i := range s.Exclusions {
		e := &s.Exclusions[i]
		e.SubjectID, e.RecordingID, e.Issue = d.id(kindSubject, e.SubjectID), d.id(kindRecording, e.RecordingID), d.issue(e.Issue)
	}
	study.SortExclusions(s.Exclusions)
}

func (d *disguise) subject(p *study.Subject, carried []schema.Column, dates *dates) {
	given := p.ID
	p.ID = d.id(kindSubject, given)
	for i := range p.Visits {
		v := &p.Visits[i]
		dates.look(v.ID)
		for k, c := range carried {
			switch cell := &v.Cells[k]; {
			case c.Name == kindFamily, c.Name == kindCluster:
				cell.Text = d.id(c.Name, cell.Text)
			case c.Kind == schema.Date:
				cell.Text = dates.earlier(given, cell.Text)
			}
		}
		for k := range v.Cuff {
			v.Cuff[k].RecordingID = d.id(kindRecording, v.Cuff[k].RecordingID)
		}
		for k := range v.Recordings {
			d.recording(given, &v.Recordings[k], dates)
		}
		slices.SortFunc(v.Recordings, func(a, b study.Recording) int { return strings.Compare(a.ID, b.ID) })
	}
}

func (d *disguise) recording(subject string, r *study.Recording, dates *dates) {
	r.ID, r.OperatorID = d.id(kindRecording, r.ID), d.id(kindStaff, r.OperatorID)
	r.RecordedAt = dates.earlier(subject, r.RecordedAt)
	for i := range r.Reviews {
		v := &r.Reviews[i]
		v.Reader, v.ReadOn = d.id(kindStaff, v.Reader), dates.earlier(subject, v.ReadOn)
		if d.hidesCells() {
			v.Reason = "" // words of a person about a person
		}
	}
}

// issue takes out of an Issue of a table what the table says; where it stands
// and which rule it breaks stay.
func (d *disguise) issue(i schema.Issue) schema.Issue {
	i.SubjectID, i.RecordingID = d.id(kindSubject, i.SubjectID), d.id(kindRecording, i.RecordingID)
	if d.hidesCells() {
		i.Value = ""
		if i.Size != schema.SizeNote { // a note is about a table as a whole: its hint quotes no cell
			i.Hint = ""
		}
		if i.Code == study.UnusedColumns {
			i.Message = "columns that are not used" // their names may be anything
		}
	}
	return i
}

// ofRecording does the same for an Issue of a recording, whose file then goes
// by the recording's name.
func (d *disguise) ofRecording(i schema.Issue, id string) schema.Issue {
	if d.hidesCells() {
		i.Value, i.Hint = "", ""
	}
	if d.hidesIDs() {
		i.File = id
	}
	return i
}

// input is what an input of a recording is called in the manifest.
func (d *disguise) input(f schema.File, id string, n int) schema.File {
	if d.hidesIDs() {
		f.Path = fmt.Sprintf("%s/%d", id, n+1)
	}
	return f
}

// number gives every id a number by its place among the sorted.
func (d *disguise) number(s *study.Study) {
	seen := map[string]map[string]bool{kindSubject: {}, kindRecording: {}, kindFamily: {}, kindCluster: {}, kindStaff: {}}
	for i := range s.Subjects {
		seen[kindSubject][s.Subjects[i].ID] = true
		for _, v := range s.Subjects[i].Visits {
			for k, c := range s.Carried {
				if c.Name == kindFamily || c.Name == kindCluster {
					seen[c.Name][v.Cells[k].Text] = true
				}
			}
			for _, r := range v.Recordings {
				seen[kindRecording][r.ID], seen[kindStaff][r.OperatorID] = true, true
				for _, review := range r.Reviews {
					seen[kindStaff][review.Reader] = true
				}
			}
		}
	}
	d.numbers = map[string]map[string]string{}
	for kind, letter := range map[string]string{kindSubject: "S", kindRecording: "R", kindFamily: "F", kindCluster: "C", kindStaff: "P"} {
		delete(seen[kind], "")
		width := max(4, len(strconv.Itoa(len(seen[kind]))))
		d.numbers[kind] = map[string]string{}
		for i, id := range slices.Sorted(maps.Keys(seen[kind])) {
			d.numbers[kind][id] = fmt.Sprintf("%s%0*d", letter, width, i+1)
		}
	}
}

// dates moves the dates of a person, all by the same number of days, so that
// what lies between them stays.
type dates struct {
	*disguise
	days    map[string]int // by subject
	dropped int            // texts that hold no date that could be moved
	visits  int            // visits whose id is a date
}

func (d *disguise) newDates(s *study.Study) *dates {
	return &dates{disguise: d, days: make(map[string]int, len(s.Subjects))}
}

// earlier moves the date that a text begins with; the time of day stays. A text
// that begins otherwise is left out, since it may hold a date all the same.
func (d *dates) earlier(subject, text string) string {
	if d.settings.DateShift != "keyed" || text == "" {
		return text
	}
	days, ok := d.days[subject]
	if !ok {
		days = d.key.daysEarlier(subject)
		d.days[subject] = days
	}
	const day = len(time.DateOnly)
	if len(text) >= day {
		if t, err := time.Parse(time.DateOnly, text[:day]); err == nil {
			return t.AddDate(0, 0, -days).Format(time.DateOnly) + text[day:]
		}
	}
	d.dropped++
	return ""
}

func (d *dates) look(visitID string) {
	if d.settings.DateShift == "keyed" && len(visitID) >= len(time.DateOnly) {
		if _, err := time.Parse(time.DateOnly, visitID[:len(time.DateOnly)]); err == nil {
			d.visits++
		}
	}
}

// notes says what moving the dates could not do.
func (d *dates) notes() []schema.Issue {
	var notes []schema.Issue
	note := func(n int, code, message, hint string) {
		if n > 0 {
			notes = append(notes, schema.Issue{Size: schema.SizeNote, File: study.SettingsFile, Name: "privacy.date_shift", Code: code,
				Message: fmt.Sprintf("%d %s", n, message), Hint: hint})
		}
	}
	note(d.dropped, "dates_left_out", "dates and times that do not begin as YYYY-MM-DD are left out, since they cannot be moved", "write them in ISO 8601")
	note(d.visits, "visit_id_is_date", "visits have an id that begins with a date, which is not moved", "name visits by their round")
	return notes
}

// byGivenID orders recordings as the study does, whatever they are called now.
func byGivenID(a, b *recordingResult) int { return cmp.Compare(a.row.GivenID, b.row.GivenID) }
