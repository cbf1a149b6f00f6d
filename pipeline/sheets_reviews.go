package pipeline

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"tonocohort/pipeline/sheets"
	"tonocohort/pipeline/store"
	"tonocohort/schema"
)

// Verdict is what a reader decides of a recording of a book.
type Verdict = sheets.Verdict

// mostReviews bounds a reviews table that is written again.
const mostReviews = 64 << 20

// ErrReviewsChanged says that somebody else wrote the reviews in the meantime.
var ErrReviewsChanged = errors.New("the file was changed by somebody else since it was read: nothing was written")

// ReviewsFile puts verdicts into a reviews table: what stands there stays, but
// for what the same reader says of the same recording. It may be used by several
// goroutines at once.
type ReviewsFile struct {
	Name     string // for a person: the study's table, or the file as it was named
	Declared bool   // study.yaml names it, so that the next run reads it

	folder, file string
	form         sheets.Form
	given        map[string]string // id in the results → id in the table

	mu      sync.Mutex
	base    []byte // as it was before the first verdict
	digest  string // of what stands there now; "": no such file
	session map[[2]string]Verdict
	last    sheets.Merged
	written bool
}

// OpenReviews opens the reviews table that verdicts on results go to: that of
// the study, or another file.
func OpenReviews(ctx context.Context, resultsDir string, o SheetsOptions) (*ReviewsFile, error) {
	source, err := openSource(resultsDir)
	if err != nil {
		return nil, err
	}
	defer source.root.Close()
	settings := source.manifest.Settings
	f := &ReviewsFile{session: map[[2]string]Verdict{}, given: map[string]string{}}
	if o.Study == "" {
		if settings.Privacy.IDs != "as_given" {
			return nil, noSheets("the results have pseudonyms, which no reviews table knows: give --study and its key")
		}
		recordings, err := source.frame("recordings")
		if err != nil {
			return nil, err
		}
		for _, id := range recordings.Texts("recording_id") {
			f.given[id] = id
		}
	} else {
		t, err := openTraces(ctx, resultsDir, o, source.manifest)
		if err != nil {
			return nil, err
		}
		defer t.close()
		for id, row := range t.rows {
			f.given[id] = row.GivenID
		}
		settings = t.study.Settings
	}
	f.form = sheets.Form{Delimiter: delimiterOf(settings.CSV), Dates: settings.CSV.Dates}
	if err := f.place(o, settings); err != nil {
		return nil, err
	}
	return f, f.load()
}

// place finds where the table lies.
func (f *ReviewsFile) place(o SheetsOptions, s schema.Settings) error {
	switch {
	case o.Reviews != "":
		f.folder, f.file, f.Name = filepath.Dir(o.Reviews), filepath.Base(o.Reviews), filepath.Base(o.Reviews)
	case o.Study == "":
		return noSheets("nowhere to write verdicts: give --study STUDY or --reviews FILE")
	default:
		f.folder, f.file, f.Declared = o.Study, orElse(s.Tables.Reviews, "reviews.csv"), s.Tables.Reviews != ""
		f.Name = f.file + " of the study"
	}
	if strings.EqualFold(filepath.Ext(f.file), ".parquet") {
		return noSheets("%s is Parquet, which is not written in place: give --reviews FILE.csv", f.file)
	}
	if s.CSV.Encoding != "utf-8" {
		return noSheets("the tables of the study are written in %s; verdicts are written in UTF-8 alone: download them from the pages", s.CSV.Encoding)
	}
	return nil
}

func orElse(text, otherwise string) string {
	if text == "" {
		return otherwise
	}
	return text
}

func (f *ReviewsFile) read() ([]byte, string, error) {
	root, err := openFolder(f.folder)
	if err != nil {
		return nil, "", err
	}
	defer root.Close()
	text, digest, err := root.ReadFile(f.file, nil, mostReviews)
	if store.IsMissing(err) {
		return nil, "", nil
	}
	return bytes.Clone(text), digest, err
}

func (f *ReviewsFile) load() error {
	var err error
	if f.base, f.digest, err = f.read(); err != nil {
		return err
	}
	_, _, err = sheets.Merge(f.base, f.form, nil)
	return err
}

// Verdicts lists what was decided since the file was opened, by recording and
// reader, under the ids of the results.
func (f *ReviewsFile) Verdicts() []Verdict {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.sorted()
}

func (f *ReviewsFile) sorted() []Verdict {
	list := make([]Verdict, 0, len(f.session))
	for _, v := range f.session {
		list = append(list, v)
	}
	slices.SortFunc(list, func(a, b Verdict) int {
		return cmp.Or(cmp.Compare(a.Recording, b.Recording), cmp.Compare(a.Reader, b.Reader))
	})
	return list
}

// Change takes up verdicts and writes the table. A verdict without a decision
// takes back what its reader decided since the file was opened. After an error
// nothing is changed.
func (f *ReviewsFile) Change(changes []Verdict) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	before := f.sorted()
	for _, v := range changes {
		clean, err := v.Clean()
		if err == nil && f.given[v.Recording] == "" {
			err = fmt.Errorf("%s: no such recording in the results", v.Recording)
		}
		if err != nil {
			f.restore(before)
			return err
		}
		key := [2]string{clean.Recording, clean.Reader}
		if clean.Decision == "" {
			delete(f.session, key)
		} else {
			f.session[key] = clean
		}
	}
	if err := f.write(); err != nil {
		f.restore(before)
		return err
	}
	return nil
}

func (f *ReviewsFile) restore(list []Verdict) {
	clear(f.session)
	for _, v := range list {
		f.session[[2]string{v.Recording, v.Reader}] = v
	}
}

func (f *ReviewsFile) write() error {
	_, digest, err := f.read()
	if err != nil {
		return err
	}
	if digest != f.digest {
		return ErrReviewsChanged
	}
	verdicts := f.sorted()
	for i := range verdicts {
		verdicts[i].Recording = f.given[verdicts[i].Recording]
	}
	text, merged, err := sheets.Merge(f.base, f.form, verdicts)
	if err != nil {
		return err
	}
	d, err := store.WriteAtomic(f.folder, f.file, func(w io.Writer) error {
		_, err := w.Write(text)
		return err
	})
	if err != nil {
		return err
	}
	f.digest, f.last, f.written = d.SHA256, merged, true
	return nil
}

// String says what was written.
func (f *ReviewsFile) String() string {
	f.mu.Lock()
	defer f.mu.Unlock()
	if !f.written {
		return "no verdict was made; " + f.Name + " is as it was"
	}
	return fmt.Sprintf("%d verdicts in %s: %d added, %d in place of earlier ones of the same reader; %d other rows kept",
		f.last.Added+f.last.Replaced, f.Name, f.last.Added, f.last.Replaced, f.last.Kept)
}

// Hint says what stands between the file and the next run; "": nothing.
func (f *ReviewsFile) Hint() string {
	if f.Declared {
		return ""
	}
	return fmt.Sprintf("study.yaml does not name it: the next run reads it once `reviews: %s` stands under tables", f.file)
}

// MergeReviews puts a file of verdicts, as a page gives it, into the reviews.
func MergeReviews(f *ReviewsFile, file string) error {
	root, err := openFolder(filepath.Dir(file))
	if err != nil {
		return err
	}
	defer root.Close()
	text, _, err := root.ReadFile(filepath.Base(file), nil, mostReviews)
	if err != nil {
		return err
	}
	verdicts, err := sheets.Verdicts(text, f.form)
	if err != nil {
		return noSheets("%s: %v", filepath.Base(file), err)
	}
	if len(verdicts) == 0 {
		return noSheets("%s holds no verdicts", filepath.Base(file))
	}
	if err := f.Change(verdicts); err != nil && !errors.Is(err, ErrReviewsChanged) {
		return noSheets("%s: %v", filepath.Base(file), err)
	} else if err != nil {
		return err
	}
	return nil
}
