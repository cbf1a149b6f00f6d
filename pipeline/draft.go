package pipeline

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"tonocohort/pipeline/draft"
	"tonocohort/pipeline/recording"
	"tonocohort/pipeline/store"
	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// DraftOptions says where a study is drafted from.
type DraftOptions struct {
	From  string // bids, wfdb, edf, csv
	Names string // pattern of the file names; "": they tell nothing
	Link  bool   // hard links in place of copies
}

// DraftFormats lists the layouts that a study can be drafted from.
func DraftFormats() []string { return []string{"bids", "wfdb", "edf", "csv"} }

// Drafted is what a draft leaves for the terminal.
type Drafted struct {
	Recordings, Files int
	ToFill            []string
	Issues            []schema.Issue // of check, on the draft as it stands
}

// FillIn is the file in a drafted study with what must still be filled in.
const FillIn = "fill-in.md"

// wavesFolder is where the draft puts the recordings, since no file of a study
// may lie outside it.
const wavesFolder = "waves"

// DraftError says why nothing can be drafted; it is wrong usage.
type DraftError struct{ Message string }

func (e *DraftError) Error() string { return e.Message }

// drafting is a draft in progress.
type drafting struct {
	options DraftOptions
	source  *store.Root
	target  *store.Folder
	folder  string // of the source
	dir     string // of the study
	plan    draft.Source
	reader  *recording.Reader
	copies  []string // below the source folder
}

// Draft makes a study folder in dir, which must not be there yet or be empty,
// around the recordings in folder, in which nothing is written. What headers
// and side files say fills the tables; names, dates of birth and times of
// recordings are not among it.
func Draft(ctx context.Context, folder, dir string, o DraftOptions) (*Drafted, error) {
	d := &drafting{options: o, folder: folder, dir: dir}
	d.plan = draft.Source{Format: o.From, StudyID: studyID(dir), Reserved: study.Reserved, Units: map[string]string{}, Sessions: map[string]draft.Table{}}
	if err := d.open(); err != nil {
		return nil, err
	}
	defer d.source.Close()
	if err := d.look(ctx); err != nil {
		return nil, err
	}
	if len(d.plan.Recordings) == 0 {
		return nil, &DraftError{fmt.Sprintf("no recording of the form %s was found", o.From)}
	}
	drafted := draft.New(d.plan)
	if err := d.write(ctx, drafted); err != nil {
		return nil, err
	}
	issues, err := Check(ctx, dir, nil)
	if err != nil {
		return nil, err
	}
	return &Drafted{Recordings: len(d.plan.Recordings), Files: len(d.copies), ToFill: drafted.ToFill, Issues: issues}, nil
}

// studyID takes the name of the new folder, which the user chose.
func studyID(dir string) string {
	if abs, err := filepath.Abs(dir); err == nil && study.IsIdentifier(filepath.Base(abs)) {
		return filepath.Base(abs)
	}
	return "study"
}

func (d *drafting) open() error {
	var err error
	if d.options.Names != "" {
		if d.options.From == "bids" {
			return &DraftError{"--names is not for bids, whose names say it themselves"}
		}
		if d.plan.Pattern, err = draft.ParsePattern(d.options.Names); err != nil {
			return &DraftError{"--names: " + err.Error()}
		}
	}
	if d.source, err = openFolder(d.folder); err != nil {
		return err
	}
	d.reader = newReader(d.source, schema.DefaultSettings())
	if real, err := filepath.EvalSymlinks(d.folder); err == nil {
		if abs, err := filepath.Abs(d.dir); err == nil && liesIn(resolved(abs), real) {
			return &DraftError{"the study would lie inside the folder that it is drafted from, in which nothing is written: give another place"}
		}
	}
	if d.source.Exists(study.SettingsFile) { // whose table of the withdrawn would not be heeded
		return &DraftError{"the folder is a study already: tonocohort check judges it, and run takes it as it is"}
	}
	names, err := os.ReadDir(d.dir)
	if err == nil && len(names) > 0 {
		return &DraftError{"the folder for the study is not empty: give another one"}
	}
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return &DraftError{"the folder for the study cannot be used"}
	}
	return nil
}

// resolved follows the links of the part of a path that is there.
func resolved(abs string) string {
	if real, err := filepath.EvalSymlinks(abs); err == nil {
		return real
	}
	if parent := filepath.Dir(abs); parent != abs {
		return filepath.Join(resolved(parent), filepath.Base(abs))
	}
	return abs
}

// write copies the recordings and writes tables, settings and the list.
func (d *drafting) write(ctx context.Context, drafted *draft.Draft) error {
	var err error
	if d.target, err = store.OpenFolder(d.dir); err != nil {
		return err
	}
	defer d.target.Close()
	slices.Sort(d.copies)
	d.copies = slices.Compact(d.copies)
	for _, name := range d.copies {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := d.bring(name); err != nil {
			return fmt.Errorf("bringing %s: %w", name, err)
		}
	}
	for _, name := range []string{"subjects", "visits", "cuff", "recordings"} {
		if err := d.put(name+".csv", csvOf(drafted.Tables[name])); err != nil {
			return err
		}
	}
	var list strings.Builder
	list.WriteString("# To fill in\n\nDrafted from what headers and side files say. `tonocohort check` shows what is still missing.\n\n")
	for _, line := range drafted.ToFill {
		list.WriteString("- [ ] " + line + "\n")
	}
	if err := d.put(FillIn, list.String()); err != nil {
		return err
	}
	return d.put(study.SettingsFile, drafted.Settings) // last: without it, it is no study
}

func (d *drafting) put(name, text string) error {
	_, err := d.target.WriteAtomic(name, func(w io.Writer) error {
		_, err := io.WriteString(w, text)
		return err
	})
	return err
}

// bring copies or links one file; a file that is not there is left to check.
func (d *drafting) bring(name string) error {
	to := path.Join(wavesFolder, name)
	file, err := d.source.Open(name)
	if store.IsMissing(err) {
		return nil
	}
	if err != nil {
		return err
	}
	defer file.Close()
	if d.options.Link {
		target := filepath.Join(d.dir, filepath.FromSlash(to))
		if err := os.MkdirAll(filepath.Dir(target), 0o777); err != nil {
			return err
		}
		if err := os.Link(filepath.Join(d.folder, filepath.FromSlash(name)), target); err != nil {
			return errors.New("a hard link cannot be made there: draft without --link")
		}
		return nil
	}
	_, err = d.target.WriteAtomic(to, func(w io.Writer) error {
		_, err := io.Copy(w, file)
		return err
	})
	return err
}

func csvOf(t draft.Table) string {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	// A bytes.Buffer takes everything, so there is no error to be had.
	_ = w.Write(t.Header)
	_ = w.WriteAll(t.Rows)
	return b.String()
}

// readTSV reads a table of BIDS: tabs, n/a for a missing value.
func (d *drafting) readTSV(name string) (draft.Table, bool) {
	data, _, err := d.source.ReadFile(name, nil, 64<<20)
	if err != nil {
		return draft.Table{}, false
	}
	lines := strings.Split(strings.TrimPrefix(strings.ReplaceAll(string(data), "\r\n", "\n"), "\ufeff"), "\n")
	t := draft.Table{Header: strings.Split(lines[0], "\t")}
	for _, line := range lines[1:] {
		cells := strings.Split(line, "\t")
		if len(cells) != len(t.Header) {
			continue
		}
		for i := range cells {
			if cells[i] = strings.TrimSpace(cells[i]); cells[i] == "n/a" {
				cells[i] = ""
			}
		}
		t.Rows = append(t.Rows, cells)
	}
	return t, true
}

// readUnits reads the units of the columns from a side file.
func (d *drafting) readUnits(name string) {
	data, _, err := d.source.ReadFile(name, nil, 4<<20)
	if err != nil {
		return
	}
	var fields map[string]json.RawMessage
	if json.Unmarshal(data, &fields) != nil {
		return
	}
	for column, text := range fields {
		var about struct{ Units string }
		if json.Unmarshal(text, &about) == nil && about.Units != "" {
			d.plan.Units[column] = about.Units
		}
	}
}
