// Package draft plans a study folder around recordings that exist: the tables
// as far as headers and side files fill them, the settings that read them, and
// the list of what a person must still fill in. It is pure; reading the source
// and writing the study are the caller's. Nothing is guessed in silence: what a
// header does not say stays empty and is listed.
package draft

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// Channel is one signal or column of a file.
type Channel struct {
	Name       string
	Position   string  // from 1
	SamplingHz float64 // 0: not said
	Unit       string  // mmHg, au
}

// Recording is one file that could be a recording.
type Recording struct {
	File     string // as the study will name it
	Name     string // below the source folder, without its ending
	Channels []Channel
	Timed    bool // has a column of times
}

// Table is a table as text, its header first.
type Table struct {
	Header []string
	Rows   [][]string
}

// Source is what was found.
type Source struct {
	StudyID            string
	Format             string
	Recordings         []Recording
	Pattern            *Pattern // how names tell person, visit and recording; nil: they do not
	Delimiter, Decimal string   // of csv waveforms, as the settings call them; "" for the default

	// Of BIDS: participants.tsv with the units of its side file, and each
	// participant's sessions.
	Participants Table
	Units        map[string]string
	Sessions     map[string]Table

	Reserved func(name string) bool // names that no covariate can have
	Left     map[string][]string    // files that were left out, by reason
}

// Draft is a study folder in text.
type Draft struct {
	Settings string
	Tables   map[string]Table // subjects, visits, cuff, recordings
	ToFill   []string         // what a person must still fill in or confirm
}

// plan is a draft in progress.
type plan struct {
	Source
	subjects, visits, cuff, recordings Table
	covariates                         []covariate
	recode                             []string // of sex, as yaml
	units                              []string // as yaml
	fill                               []string
	seen                               map[string]bool // ids of recordings
	visitOf                            map[[2]string]int
	subjectAt                          map[string]int
	ages                               map[string]string // by participant
}

// New drafts a study.
func New(s Source) *Draft {
	slices.SortFunc(s.Recordings, func(a, b Recording) int { return cmp.Compare(a.File, b.File) })
	p := &plan{Source: s, seen: map[string]bool{}, visitOf: map[[2]string]int{}, subjectAt: map[string]int{}, ages: map[string]string{}}
	p.subjects.Header = []string{"subject_id", "sex", "height_cm", "weight_kg"}
	p.visits.Header = []string{"subject_id", "visit_id", "age_years", "treated"}
	p.cuff.Header = []string{"subject_id", "visit_id", "reading", "sbp_mmhg", "dbp_mmhg"}
	p.recordings.Header = []string{"recording_id", "subject_id", "visit_id", "file", "format", "channel", "sampling_hz", "unit", "artery"}
	p.participants()
	choices := &choices{}
	for i := range p.Recordings {
		p.recording(&p.Recordings[i], choices)
	}
	p.sessions()
	p.readings()
	p.listPeople()
	p.fill = append(p.fill, choices.list(p.Format)...)
	p.listRest()
	return &Draft{
		Settings: p.settings(),
		Tables:   map[string]Table{"subjects": p.subjects, "visits": p.visits, "cuff": p.cuff, "recordings": p.recordings},
		ToFill:   p.fill,
	}
}

func (p *plan) todo(format string, args ...any) {
	p.fill = append(p.fill, fmt.Sprintf(format, args...))
}

// recording adds the row of a recording, and its person and visit.
func (p *plan) recording(r *Recording, c *choices) {
	who := p.who(r)
	p.person(who.subject)
	p.visit(who.subject, who.visit)
	channel := c.choose(r)
	hz := ""
	if channel.SamplingHz > 0 {
		hz = strconv.FormatFloat(channel.SamplingHz, 'g', -1, 64)
	}
	unit := channel.Unit
	if p.Format == "csv" {
		unit = "" // no header says it
	}
	p.recordings.Rows = append(p.recordings.Rows, []string{p.uniqueID(who.recording), who.subject, who.visit, r.File, p.Format, channel.named(), hz, unit, ""})
}

// uniqueID makes an id that no other recording has.
func (p *plan) uniqueID(name string) string {
	id := name
	for n := 2; p.seen[id]; n++ {
		id = fmt.Sprintf("%s-%d", name, n)
	}
	p.seen[id] = true
	return id
}

func (p *plan) person(id string) int {
	if at, ok := p.subjectAt[id]; ok {
		return at
	}
	row := make([]string, len(p.subjects.Header))
	row[0] = id
	p.subjects.Rows = append(p.subjects.Rows, row)
	p.subjectAt[id] = len(p.subjects.Rows) - 1
	return p.subjectAt[id]
}

func (p *plan) visit(subject, visit string) int {
	key := [2]string{subject, visit}
	if at, ok := p.visitOf[key]; ok {
		return at
	}
	row := make([]string, len(p.visits.Header))
	row[0], row[1] = subject, visit
	p.visits.Rows = append(p.visits.Rows, row)
	p.visitOf[key] = len(p.visits.Rows) - 1
	return p.visitOf[key]
}

// readings gives every visit an empty cuff reading.
func (p *plan) readings() {
	for _, v := range p.visits.Rows {
		p.cuff.Rows = append(p.cuff.Rows, []string{v[0], v[1], "1", "", ""})
	}
}

// listPeople lists what the tables of people lack.
func (p *plan) listPeople() {
	if p.Format != "bids" && p.Pattern == nil {
		p.todo("subjects, visits, recordings: %s taken as one person each. Give the recordings of one person one subject_id, or draft again with --names", files(len(p.Recordings)))
	}
	for _, c := range []struct {
		name   string
		table  Table
		column int
		of     string
	}{{"subjects.csv: sex", p.subjects, 1, "person"}, {"visits.csv: age_years", p.visits, 2, "visit"}, {"cuff.csv: sbp_mmhg, dbp_mmhg", p.cuff, 3, "reading"}} {
		if n := c.table.empty(c.column); n > 0 {
			p.todo("%s: empty for %d of %s", c.name, n, plural(len(c.table.Rows), c.of))
		}
	}
	p.todo("cuff.csv: each visit has a row for one reading; add a row for each further one, and delete the rows of visits without any")
}

// empty counts the rows in which a column is empty.
func (t Table) empty(column int) int {
	n := 0
	for _, row := range t.Rows {
		if row[column] == "" {
			n++
		}
	}
	return n
}

func (p *plan) listRest() {
	p.todo("recordings.csv: artery is empty, which means radial. Write brachial, carotid or aortic where the sensor lay there")
	p.todo("optional: subjects.csv height_cm and weight_kg, visits.csv treated (yes, no, unknown). Delete a column that you do not have")
	for _, reason := range slices.Sorted(maps.Keys(p.Left)) {
		p.todo("%s left out: %s (%s)", files(len(p.Left[reason])), reason, someNames(p.Left[reason]))
	}
	p.todo("study.yaml: study.id and a title; the plan of the analysis where the default is not yours")
	p.todo("file names and ids are as they came. If they tell who a person is, rename them, or set privacy: {ids: keyed} in study.yaml")
}

// someNames lists the first few names of files, each on the line of the list
// whatever is in it.
func someNames(names []string) string {
	const most = 3
	var shown []string
	for _, name := range names[:min(most, len(names))] {
		if strings.ContainsFunc(name, func(r rune) bool { return !unicode.IsPrint(r) }) {
			name = strconv.Quote(name)
		}
		shown = append(shown, name)
	}
	if more := len(names) - most; more > 0 {
		shown = append(shown, fmt.Sprintf("and %d more", more))
	}
	return strings.Join(shown, ", ")
}

func (p *plan) settings() string {
	var b strings.Builder
	fmt.Fprintf(&b, "format: 1\nstudy: {id: %s}\n", strconv.Quote(p.StudyID))
	b.WriteString("tables: {subjects: subjects.csv, visits: visits.csv, cuff: cuff.csv, recordings: recordings.csv}\n")
	if p.Delimiter != "" || p.Decimal != "" {
		fmt.Fprintf(&b, "waveforms: {delimiter: %s, decimal: %s}\n", cmp.Or(p.Delimiter, "comma"), cmp.Or(p.Decimal, "point"))
	}
	if len(p.covariates) > 0 {
		b.WriteString("covariates:\n")
		for _, c := range p.covariates {
			b.WriteString("  - " + c.yaml() + "\n")
		}
	}
	if len(p.recode) > 0 {
		fmt.Fprintf(&b, "recode: {sex: {%s}}\n", strings.Join(p.recode, ", "))
	}
	if len(p.units) > 0 {
		fmt.Fprintf(&b, "units: {%s}\n", strings.Join(p.units, ", "))
	}
	return b.String()
}
