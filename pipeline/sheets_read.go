package pipeline

import (
	"slices"
	"strings"

	"tonocohort/pipeline/sheets"
	"tonocohort/schema"
)

// sheetsReader reads what the sheets show from a results folder.
type sheetsReader struct {
	source     *source
	recordings *schema.Frame
	waves      *schema.Frame
	waveAt     map[string]int // row by recording
	centre     map[string]string
	detail     map[string]string
	reviews    map[string][]sheets.Review
	beats      map[string][]sheets.Beat
	inputs     map[string]string // digests of the manifest by path
}

func readSheets(dir string) (*sheetsReader, error) {
	source, err := openSource(dir)
	if err != nil {
		return nil, err
	}
	r := &sheetsReader{source: source, waveAt: map[string]int{}, centre: map[string]string{}, detail: map[string]string{},
		reviews: map[string][]sheets.Review{}, beats: map[string][]sheets.Beat{}, inputs: map[string]string{}}
	if err := r.read(); err != nil {
		r.close()
		return nil, err
	}
	return r, nil
}

func (r *sheetsReader) close() { r.source.root.Close() }

func (r *sheetsReader) read() error {
	var err error
	for _, t := range []struct {
		into  **schema.Frame
		table schema.Table
	}{{&r.recordings, schema.RecordingsTable()}, {&r.waves, schema.WaveformsTable()}} {
		path := tablePath(t.table.Name)
		if err = r.source.check(path); err != nil {
			return err
		}
		if *t.into, err = readTable(r.source.root, path, t.table); err != nil {
			return err
		}
	}
	for row, id := range r.waves.Texts("recording_id") {
		r.waveAt[id] = row
	}
	for _, in := range r.source.manifest.Inputs {
		r.inputs[in.Path] = in.SHA256
	}
	return r.readOthers()
}

// readOthers reads the small tables beside: centres, details of what was left
// out, and reviews.
func (r *sheetsReader) readOthers() error {
	visits, err := r.source.visits()
	if err != nil {
		return err
	}
	if visits.Has("centre") {
		for row := range visits.N {
			r.centre[visits.TextAt(row, "subject_id")+"\x00"+visits.TextAt(row, "visit_id")] = visits.TextAt(row, "centre")
		}
	}
	left, err := r.source.frame("exclusions")
	if err != nil {
		return err
	}
	for row := range left.N {
		if left.TextAt(row, "level") == "recording" && left.TextAt(row, "stage") == "recordings" {
			r.detail[left.TextAt(row, "recording_id")] = left.TextAt(row, "detail")
		}
	}
	read, err := r.source.frame("reviews")
	if err != nil {
		return err
	}
	for row := range read.N {
		id := read.TextAt(row, "recording_id")
		r.reviews[id] = append(r.reviews[id], sheets.Review{Reader: read.TextAt(row, "reader"), Decision: read.TextAt(row, "decision"),
			Reason: read.TextAt(row, "reason"), ReadOn: read.TextAt(row, "read_on")})
	}
	return nil
}

// reviewsFrom takes the reviews of the study in place of those of the results,
// and says which of them the results do not know yet.
func (r *sheetsReader) reviewsFrom(t *studyTraces) {
	if t == nil {
		return
	}
	then := r.reviews
	r.reviews = map[string][]sheets.Review{}
	for id, row := range t.rows {
		for _, v := range row.Reviews {
			now := sheets.Review{Reader: v.Reader, Decision: v.Decision, Reason: v.Reason, ReadOn: v.ReadOn}
			now.Pending = !slices.ContainsFunc(then[id], func(old sheets.Review) bool { return old.Reader == now.Reader && old.Decision == now.Decision })
			r.reviews[id] = append(r.reviews[id], now)
		}
	}
}

// readBeats reads the beats of the chosen recordings, a row group at a time.
func (r *sheetsReader) readBeats(rows []int) error {
	wanted := make(map[string]bool, len(rows))
	for _, row := range rows {
		wanted[r.recordings.TextAt(row, "recording_id")] = true
	}
	path := tablePath("beats")
	if err := r.source.check(path); err != nil {
		return err
	}
	return readGroups(r.source.root, path, schema.BeatsTable(), func(f *schema.Frame) error {
		for row, id := range f.Texts("recording_id") {
			if wanted[id] {
				r.beats[id] = append(r.beats[id], sheets.Beat{
					OnsetS: f.Number(row, "onset_s"), FootS: f.Number(row, "foot_s"), PeriodS: f.Number(row, "period_s"),
					Correlation: f.Number(row, "template_correlation"), Accepted: f.Number(row, "accepted") == 1, Reason: f.TextAt(row, "reason"),
				})
			}
		}
		return nil
	})
}

func (r *sheetsReader) book(rows []int, o SheetsOptions) *sheets.Book {
	m := r.source.manifest
	b := &sheets.Book{Study: m.Study.ID, Title: m.Study.Title, Content: m.Content, Filter: o.Only.words(), Recordings: len(rows), PerPage: o.PerPage,
		Calibration: m.Settings.Calibration.Primary, Delimiter: string(delimiterOf(m.Settings.CSV)), Dates: m.Settings.CSV.Dates,
		ReviewsName: "reviews.csv", Earlier: []sheets.Earlier{}, Quantities: sheets.Quantities(m.Settings.Calibration.Primary)}
	for _, row := range rows {
		id := r.recordings.TextAt(row, "recording_id")
		for _, v := range r.reviews[id] {
			if v.Reader != "" {
				b.Earlier = append(b.Earlier, sheets.Earlier{Recording: id, Reader: v.Reader})
			}
		}
	}
	if o.Study == "" {
		b.Notes = append(b.Notes, "The results alone hold average waves and what the rules made of each beat. Traces, and beats over each other, are read from the study: tonocohort sheets RESULTS --study STUDY.")
	}
	return b
}

func delimiterOf(s schema.CSVSettings) rune {
	if d, ok := schema.Delimiters()[s.Delimiter]; ok {
		return rune(d)
	}
	return ','
}

func (r *sheetsReader) entries(rows []int) []sheets.Entry {
	list := make([]sheets.Entry, len(rows))
	for i, row := range rows {
		text := func(name string) string { return r.recordings.TextAt(row, name) }
		list[i] = sheets.Entry{Recording: text("recording_id"), Subject: text("subject_id"), Visit: text("visit_id"), Grade: text("quality"),
			Status: text("status"), GradeReasons: strings.Fields(text("quality_reasons")), Reason: text("reason"), Reviews: r.reviews[text("recording_id")]}
	}
	return list
}
