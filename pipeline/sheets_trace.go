package pipeline

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"

	"tonocohort/pipeline/recording"
	"tonocohort/pipeline/sheets"
	"tonocohort/pipeline/store"
	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// studyTraces reads recordings of the study again, through the doors of a run.
type studyTraces struct {
	files *store.Root
	study *study.Study
	*disguise
	traced *tracedFiles
	read   func(recording.Request) (recording.Recording, error)
	rows   map[string]*study.Recording // by id in the results
	notes  []string
}

// openTraces reads the tables of the study. What a verdict changes, the reviews
// and the settings that name them, may have changed since; what names persons and
// recordings may not.
func openTraces(ctx context.Context, resultsDir string, o SheetsOptions, m *schema.Manifest) (*studyTraces, error) {
	if len(m.Sources) > 0 {
		return nil, noSheets("these results were made from other results, not from a study: leave --study out")
	}
	again := &run{output: output{dir: resultsDir}, options: Options{KeyFile: o.KeyFile, Storage: o.Storage}.filled(), studyDir: o.Study, tally: newTally()}
	err := again.readStudy(ctx)
	t := &studyTraces{files: again.files, study: again.study, disguise: again.disguise, rows: map[string]*study.Recording{}}
	if err == nil {
		err = t.belongs(m)
	}
	if err != nil {
		t.close()
		return nil, err
	}
	t.traced = &tracedFiles{files: again.recordings(), wait: time.Sleep}
	t.read = newReader(t.traced, t.study.Settings).Read
	for i := range t.study.Subjects {
		for j := range t.study.Subjects[i].Visits {
			list := t.study.Subjects[i].Visits[j].Recordings
			for k := range list {
				t.rows[list[k].ID] = &list[k]
			}
		}
	}
	t.changed(m)
	if hint := elsewhere(m, o.Storage); hint != "" {
		t.notes = append(t.notes, strings.ToUpper(hint[:1])+hint[1:]+".")
	}
	return t, nil
}

func (t *studyTraces) close() {
	if t != nil && t.files != nil {
		t.files.Close()
	}
}

// belongs holds the study to the manifest.
func (t *studyTraces) belongs(m *schema.Manifest) error {
	now := t.study.Settings
	switch {
	case now.Study.ID != m.Study.ID:
		return noSheets("the results are of the study %s, this one is %s", m.Study.ID, now.Study.ID)
	case !reflect.DeepEqual(now.Privacy, m.Settings.Privacy):
		return noSheets("study.yaml now asks for another privacy than the results were made with: run it again first")
	case t.keyID() != m.KeyID:
		return noSheets("the key is not the one that the results were made with, whose id is %s", m.KeyID)
	}
	return nil
}

// changed notes which tables of the study are others than those of the results.
func (t *studyTraces) changed(m *schema.Manifest) {
	then := map[string]string{}
	for _, in := range m.Inputs {
		then[in.Path] = in.SHA256
	}
	var names []string
	for _, in := range t.study.Inputs {
		if then[in.Path] != in.SHA256 {
			names = append(names, in.Path)
		}
	}
	if len(names) > 0 {
		slices.Sort(names)
		t.notes = append(t.notes, "Changed in the study since these results were made: "+strings.Join(names, ", ")+".")
	}
}

// attach gives a sheet its trace, or says why it has none. Only the bytes that
// the results were made from are shown.
func (t *studyTraces) attach(s *sheets.Sheet, inputs map[string]string) error {
	if t == nil {
		return nil
	}
	row := t.rows[s.Recording]
	switch {
	case row == nil:
		s.TraceMissing = "the study has no such recording any more"
		return nil
	case row.Fault != "":
		s.TraceMissing = "the recordings table has a fault in its row (" + row.Fault + ")"
		return nil
	}
	read, err := t.read(requestFor(row))
	if t.traced.fatal != nil {
		return t.traced.fatal
	}
	t.traced.take()
	if err != nil {
		var issue *schema.Issue
		if errors.As(err, &issue) {
			s.TraceMissing = "it cannot be read (" + issue.Code + ": " + t.ofRecording(*issue, row.ID).Message + ")"
			return nil
		}
		return err
	}
	for k, in := range read.Inputs {
		f := t.input(schema.File(in), row.ID, k)
		if then, ok := inputs[f.Path]; !ok || then != f.SHA256 {
			s.TraceMissing = fmt.Sprintf("file %d of it is not the one that these results were made from (its digest differs)", k+1)
			return nil
		}
	}
	s.Trace = &sheets.Trace{Samples: slices.Clone(read.Samples), SamplingHz: read.SamplingHz, Unit: read.Unit}
	return nil
}
