package study

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"tonocohort/schema"
)

// loader holds what the tables tell about one another while they are read.
type loader struct {
	source   Source
	options  Options
	study    *Study
	settings *decoder // knows where each setting stands
	log      faults
	buffer   []byte // one for all tables, which are read one after another

	withdrawn           map[string]int      // by subject id: line of the withdrawn table
	withdrawnRecordings map[string]struct{} // their recordings

	subjects     []subjectRow
	subjectAt    rowIndex[string]
	subjectCells []Cell // subjects × columns of the subjects table that a visit may carry
	subjectCell  []int  // place of a column of the table among these; -1: not there
	subjectWidth int    // how many there are
	visits       []Visit
	visitAt      rowIndex[visitKey]
	carry        []carrier
	slab         []Cell    // what is left of the last piece of memory for cells
	readings     []Reading // SBP is NaN where left out: the row still takes up its number
	recordings   []Recording
	recordingAt  rowIndex[string]
	setups       map[Setup]*Setup // those met so far, up to mostSetups
	lastSubject  int32            // found for the row before
	lastVisit    int32
	reviews      []reviewRow

	subjectsTable, visitsTable, recordingsTable *tableReader // nil: not there or not readable
}

type subjectRow struct {
	id    string
	birth time.Time // zero: unknown
	line  int32
}

type visitKey struct {
	subject int32
	visit   string
}

type reviewRow struct {
	Review
	recording int32
}

// Load reads a study folder and checks it. It always returns a Study: what is
// wrong stands in its Issues, and AnyStructural of them says whether it may be
// used. As much as can be judged is judged, so that one call shows all.
func Load(source Source, o Options) *Study {
	l := &loader{source: source, options: o, study: &Study{}, withdrawn: map[string]int{}, withdrawnRecordings: map[string]struct{}{}, setups: map[Setup]*Setup{}}
	l.subjectAt = newRowIndex(func(row int32) string { return l.subjects[row].id })
	l.visitAt = newRowIndex(func(row int32) visitKey { return visitKey{l.visits[row].subject, l.visits[row].ID} })
	l.recordingAt = newRowIndex(func(row int32) string { return l.recordings[row].ID })
	data, ok := l.read(SettingsFile, settingsLimit, schema.Issue{File: SettingsFile})
	if !ok {
		l.study.Settings = schema.DefaultSettings()
		l.finish()
		return l.study
	}
	settings, d := decodeSettings(data, o)
	l.study.Settings, l.settings, l.study.settings = settings, d, d
	l.readOwnSets()
	l.readTransfer()
	l.readTables()
	l.assemble()
	if l.subjectsTable != nil && l.visitsTable != nil {
		table := schema.SubjectVisitsTable(l.study.Carried)
		if scheme, err := SchemeByName(l.study.Settings.Analysis.BPScheme); err == nil { // else it is reported
			table = scheme.WithClasses(table)
		}
		d.checkColumns(&l.study.Settings.Analysis, "analysis", table.Columns)
		l.study.Settings.Analysis.Models = schema.ResolveModels(l.study.Settings.Analysis.Models)
		l.study.Settings.Analysis.Centiles = schema.ResolveCentiles(l.study.Settings.Analysis.Centiles, setNames(l.study.Settings.Analysis))
		d.checkVisit(l.study)
	}
	l.finish()
	return l.study
}

// finish brings issues and exclusions into their order.
func (l *loader) finish() {
	l.log.flushNotes()
	if l.settings != nil {
		l.log.issues = append(l.log.issues, l.settings.issues...)
	}
	schema.SortIssues(l.log.issues)
	SortExclusions(l.log.exclusions)
	l.study.Issues, l.study.Exclusions = l.log.issues, l.log.exclusions
}

// SortExclusions puts exclusions in the order of the tables' rows.
func SortExclusions(exclusions []Exclusion) {
	slices.SortStableFunc(exclusions, func(a, b Exclusion) int {
		return cmp.Or(cmp.Compare(a.SubjectID, b.SubjectID), cmp.Compare(a.VisitID, b.VisitID), cmp.Compare(a.RecordingID, b.RecordingID),
			cmp.Compare(a.Stage, b.Stage), cmp.Compare(a.Reason, b.Reason), cmp.Compare(a.Level, b.Level), cmp.Compare(a.Issue.String(), b.Issue.String()))
	})
}

// read reads a file and notes its digest; at says where the file is named.
func (l *loader) read(name string, limit int64, at schema.Issue) ([]byte, bool) {
	data, digest, err := l.source.ReadFile(name, l.buffer, limit)
	if err != nil {
		at.Size, at.Code, at.Message = schema.SizeStructural, "cannot_read", "the file cannot be read: "+plainError(err)
		if errors.Is(err, fs.ErrNotExist) {
			at.Code, at.Message = "missing_file", "no such file in the study folder"
		}
		l.log.add(at)
		return nil, false
	}
	l.buffer = data
	l.study.Inputs = append(l.study.Inputs, Input{Path: name, Bytes: int64(len(data)), SHA256: digest})
	return data, true
}

// readOwnSets reads the published sets of the study's own.
func (l *loader) readOwnSets() {
	for _, own := range OwnSets(l.study.Settings.Analysis) {
		setting := fmt.Sprintf("analysis.compare_with[%d]", own.Index)
		if own.Name != own.File {
			setting = join(setting, "file")
		}
		at := l.settings.place(setting)
		data, ok := l.read(own.File, settingsLimit, schema.Issue{File: SettingsFile, Row: at.line, Column: at.column, Name: setting, Value: shorten(own.File)})
		if ok {
			l.study.OwnSets = append(l.study.OwnSets, NamedFile{Path: own.File, Name: own.Name, Data: slices.Clone(data)})
		}
	}
}

// plainError leaves out paths, which may tell where a study lies.
func plainError(err error) string {
	var inPath *fs.PathError
	if errors.As(err, &inPath) {
		return inPath.Err.Error()
	}
	return err.Error()
}

// isLocal reports a path that stays inside the study folder on any system.
func isLocal(name string) bool {
	return filepath.IsLocal(name) && !strings.ContainsAny(name, "\\\x00") && !strings.HasPrefix(name, "~") && path.Clean(name) != "."
}

func (l *loader) readTables() {
	walks := map[string]func(*tableReader){
		"withdrawn": l.readWithdrawn, "subjects": l.readSubjects, "visits": l.readVisits,
		"cuff": l.readCuff, "recordings": l.readRecordings, "reviews": l.readReviews,
	}
	for _, f := range tableFiles(l.study.Settings.Tables) {
		if !l.settings.given("tables." + f.table) {
			continue // optional, or reported as missing
		}
		var t *tableReader
		if isLocal(f.file) { // else reported with the settings
			t = l.open(f.table, path.Clean(f.file))
		}
		if t == nil {
			if f.table == "withdrawn" {
				return // who may be read is not known
			}
			continue
		}
		walks[f.table](t)
		t.rows, t.cells = nil, nil // the text of the table
		t.count.Kept = t.count.Rows - t.count.LeftOut - t.count.Withdrawn - t.count.Blank
		l.study.Counts = append(l.study.Counts, t.count)
		if f.table == "withdrawn" && schema.AnyStructural(l.log.issues) {
			return
		}
	}
	l.checkReadingRecordings()
}

// open reads a table's file and header; nil where there is nothing to walk.
func (l *loader) open(table, file string) *tableReader {
	at := l.settings.place("tables." + table)
	named := schema.Issue{File: SettingsFile, Row: at.line, Column: at.column, Name: "tables." + table, Value: shorten(file)}
	limit := l.options.TableLimit
	if limit == 0 {
		limit = DefaultTableLimit
	}
	data, ok := l.read(file, limit, named)
	if !ok {
		return nil
	}
	spec := l.spec(table)
	if strings.EqualFold(path.Ext(file), ".parquet") {
		frame, err := l.readFrame(file, data)
		if err != nil {
			l.log.add(schema.Issue{Size: schema.SizeStructural, File: file, Code: "parquet", Message: "cannot be read as Parquet: " + plainError(err)})
			return nil
		}
		return open(l, spec, file, nil, frame)
	}
	text, issues := plainText(data, file, l.study.Settings.CSV)
	l.log.issues = append(l.log.issues, issues...)
	if text == nil {
		return nil
	}
	return open(l, spec, file, text, nil)
}

func (l *loader) readFrame(file string, data []byte) (*schema.Frame, error) {
	if l.options.ReadTable == nil {
		return nil, errors.New("this build has no reader for it")
	}
	return l.options.ReadTable(file, data)
}

// spec declares the columns of a table for this study.
func (l *loader) spec(table string) schema.Table {
	spec := inputColumns()[table]
	for _, c := range l.study.Settings.Covariates {
		if c.In == table && c.Name != "" && spec.Index(c.Name) < 0 {
			spec.Columns = append(spec.Columns, covariateColumn(c))
		}
	}
	if i := spec.Index("age_years"); i >= 0 {
		spec.Columns[i].Required = false // judged where birth dates are known
	}
	return spec
}

// checkVisit sees that a visit named by the analysis exists.
func (d *decoder) checkVisit(s *Study) {
	visit := s.Settings.Analysis.Visit
	if slices.Contains([]string{"first", "last", "all"}, visit) || !d.given("analysis.visit") {
		return
	}
	seen := map[string]bool{}
	var known []string
	for i := range s.Subjects {
		for _, v := range s.Subjects[i].Visits {
			if v.ID == visit {
				return
			}
			if !seen[v.ID] && len(known) < 1000 {
				seen[v.ID] = true
				known = append(known, v.ID)
			}
		}
	}
	known = append(known, "first", "last", "all")
	d.fault("analysis.visit", visit, "unknown_visit", "no visit has this id; or first, last, all", didYouMean(visit, known))
}

// firstLine says where a key stood before.
func firstLine(line int32) string { return fmt.Sprintf("the same key as line %d", line) }
