package pipeline

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"tonocohort/pipeline/sheets"
	"tonocohort/pipeline/store"
)

// SheetsOptions says which recordings a book holds, and where its traces come
// from.
type SheetsOptions struct {
	Out     string  // folder of the book
	Study   string  // "": the sheets have no traces
	Storage Storage // gives the recordings, where they do not lie in Study
	KeyFile string
	Reviews string // file for verdicts other than the study's; "": that
	PerPage int
	Only    SheetsFilter
	Show    func(done, total int) // may be nil
}

// SheetsFilter picks recordings: of each list that is not empty a recording must
// match one name.
type SheetsFilter struct {
	Grades, Reasons, IDs, Centres, Operators, Devices []string
	Unread                                            bool
	Sample                                            float64 // share of the recordings, chosen by a hash of their ids; 0: all
	SampleText                                        string  // as it was given
}

// SheetsPolicy is the content security policy of every page.
func SheetsPolicy() string { return sheets.Policy() }

// SheetsUsageError says that what was asked for cannot be.
type SheetsUsageError struct{ Message string }

func (e *SheetsUsageError) Error() string { return e.Message }

func noSheets(format string, args ...any) error {
	return &SheetsUsageError{fmt.Sprintf(format, args...)}
}

// SheetsBook is a book that was written.
type SheetsBook struct {
	Recordings, Pages, Traces int
	Notes                     []string
}

// MakeSheets writes a book of the recordings of a results folder. What the book
// holds is person-level: it may not lie in the results folder, whose release is
// for others and whose manifest lists what belongs there.
func MakeSheets(ctx context.Context, resultsDir string, o SheetsOptions) (*SheetsBook, error) {
	if err := bookFolder(o.Out, resultsDir); err != nil {
		return nil, err
	}
	r, err := readSheets(resultsDir)
	if err != nil {
		return nil, err
	}
	defer r.close()
	var t *studyTraces
	if o.Study != "" {
		if t, err = openTraces(ctx, resultsDir, o, r.source.manifest); err != nil {
			return nil, err
		}
		defer t.close()
	}
	r.reviewsFrom(t)
	rows, err := r.choose(o.Only)
	if err != nil {
		return nil, err
	}
	if err := r.readBeats(rows); err != nil {
		return nil, err
	}
	book := r.book(rows, o)
	out := &SheetsBook{Recordings: len(rows), Pages: book.Pages()}
	if t != nil {
		book.Notes = append(book.Notes, t.notes...)
	}
	if err := r.write(ctx, book, rows, t, o, out); err != nil {
		return nil, err
	}
	out.Notes = book.Notes
	return out, nil
}

// bookFolder refuses a folder that holds anything but a book, and one within the
// results.
func bookFolder(dir, resultsDir string) error {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return err
	}
	if resolved, err := filepath.EvalSymlinks(abs); err == nil {
		abs = resolved
	}
	if liesIn(abs, resultsDir) {
		return noSheets("the book would lie in the results folder, which is sealed: give another folder by --out")
	}
	entries, err := os.ReadDir(dir)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	for _, e := range entries {
		if !IsBookPage(e.Name()) {
			return noSheets("%s holds %s, which is no page of a book: give an empty folder by --out", filepath.Base(dir), e.Name())
		}
	}
	return nil
}

// IsBookPage reports whether a name is that of a page of a book.
func IsBookPage(name string) bool {
	ok, err := filepath.Match("page-[0-9][0-9][0-9][0-9]*.html", name)
	return name == sheets.IndexName || ok && err == nil
}

// write writes pages and index, and removes what an earlier book has left.
func (r *sheetsReader) write(ctx context.Context, book *sheets.Book, rows []int, t *studyTraces, o SheetsOptions, out *SheetsBook) error {
	folder, err := store.OpenFolder(o.Out)
	if err != nil {
		return err
	}
	defer folder.Close()
	place := make(map[int]int, len(rows)) // row of the table → place in the book
	for i, row := range rows {
		place[row] = i
	}
	w := sheets.NewWriter(book)
	names := []string{sheets.IndexName}
	for page := 1; page <= book.Pages(); page++ {
		var drawn []*sheets.Sheet
		for i := (page - 1) * book.PerPage; i < min(page*book.PerPage, len(rows)); i++ {
			if err := ctx.Err(); err != nil {
				return err
			}
			s := r.sheet(book, rows[i], place)
			if err := t.attach(s, r.inputs); err != nil {
				return err
			}
			if s.Trace != nil {
				out.Traces++
			}
			drawn = append(drawn, s)
			if o.Show != nil {
				o.Show(i+1, len(rows))
			}
		}
		name := sheets.PageName(page)
		names = append(names, name)
		if _, err := folder.WriteAtomic(name, func(to io.Writer) error { return w.Page(to, page, drawn) }); err != nil {
			return err
		}
	}
	if _, err := folder.WriteAtomic(sheets.IndexName, func(to io.Writer) error { return w.Index(to, r.entries(rows)) }); err != nil {
		return err
	}
	return sweepBook(o.Out, names)
}

func sweepBook(dir string, keep []string) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		if IsBookPage(e.Name()) && !slices.Contains(keep, e.Name()) {
			if err := os.Remove(filepath.Join(dir, e.Name())); err != nil {
				return err
			}
		}
	}
	return nil
}

// words says in a line which recordings a filter picks.
func (f SheetsFilter) words() string {
	var parts []string
	for _, l := range []struct {
		what  string
		names []string
	}{{"grade", f.Grades}, {"reason", f.Reasons}, {"id", f.IDs}, {"centre", f.Centres}, {"operator", f.Operators}, {"device", f.Devices}} {
		if len(l.names) > 0 {
			parts = append(parts, l.what+" "+strings.Join(l.names, " or "))
		}
	}
	if f.Unread {
		parts = append(parts, "read by nobody yet")
	}
	if f.Sample > 0 {
		parts = append(parts, "a sample of "+f.SampleText+" by a hash of the recording's id")
	}
	if len(parts) == 0 {
		return "every recording of the results"
	}
	return strings.Join(parts, ", ")
}
