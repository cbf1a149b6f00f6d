package pipeline

import (
	"bytes"
	"context"
	"errors"
	"runtime"
	"time"

	"golang.org/x/sync/errgroup"

	"tonocohort/pipeline/parquet"
	"tonocohort/pipeline/recording"
	"tonocohort/pipeline/store"
	"tonocohort/pipeline/study"
	"tonocohort/pipeline/tabulate"
	"tonocohort/schema"
	"tonocohort/schema/published"
)

// loadStudy reads study.yaml and the tables, and judges the plan of the
// statistics against the columns that there will be. Settings that this build
// cannot carry out are refused, not ignored.
func loadStudy(files *store.Root) *study.Study { return loadStudyAs(files, nil) }

// loadStudyAs is loadStudy with other settings than those of study.yaml; nil: its
// own.
func loadStudyAs(files *store.Root, settings *schema.Settings) *study.Study {
	s := study.Load(files, study.Options{
		Settings:         settings,
		CentralMethods:   []string{"tube_constant", "tube_windkessel", "tube_individual", "transfer_table", "moving_average", "late_shoulder", "none"},
		RecordingFormats: newReader(files, schema.DefaultSettings()).Supported(),
		Published:        published.Names(),
		ReadTable:        readParquetTable,
		JudgeTransfer:    func(data []byte) error { _, err := transferTable(data); return err },
	})
	if !schema.AnyStructural(s.Issues) {
		table := schema.SubjectVisitsTable(s.Carried)
		if scheme, err := study.SchemeByName(s.Settings.Analysis.BPScheme); err == nil {
			table = scheme.WithClasses(table)
		}
		own, found := readOwnSets(s.OwnSets, s.Settings.Analysis.CompareWith, study.SettingsFile, "analysis")
		if len(found) == 0 {
			found = tabulate.Check(s.Settings.Analysis, table.Columns, study.SettingsFile, "analysis", own...)
		}
		s.Locate(found)
		s.Issues = append(s.Issues, found...)
		s.Issues = append(s.Issues, otherArteries(s)...)
		schema.SortIssues(s.Issues)
	}
	return s
}

// newReader makes the reader of recordings that every worker uses.
func newReader(files recording.Source, s schema.Settings) *recording.Reader {
	delimiter, decimal, ok := s.Waveforms.Signs()
	if !ok {
		delimiter, decimal = ',', '.' // reported with the settings: nothing is computed
	}
	return recording.NewReader(files, recording.Options{Delimiter: delimiter, Decimal: decimal, Text: waveformText(s.Waveforms), Parquet: parquetFiles{}})
}

// waveformText is what the study accepts of csv waveforms. A setting that an
// early manifest lacks is empty, which is its default.
func waveformText(w schema.WaveformSettings) recording.Text {
	text := recording.Text{UTF16: w.Encoding == "utf-16", LoneCR: w.LineEnds == "any", JoinLines: w.LineBreaks == "blank",
		Thousands: w.Thousands, Time: w.TimeColumn, HeaderLine: w.HeaderLine, FirstLine: w.FirstLine}
	if w.TimeUnit != "s" {
		text.TimeUnit = schema.TimeUnits()[w.TimeUnit]
	}
	return text
}

// parquetFiles reads Parquet for the packages that may not import its reader.
type parquetFiles struct{}

func (parquetFiles) Columns(data []byte) ([]schema.Column, error) {
	return parquet.Columns(bytes.NewReader(data), int64(len(data)))
}

func (parquetFiles) Series(data []byte, column string, most int) ([]float64, []int, error) {
	s, err := parquet.ReadSeries(bytes.NewReader(data), int64(len(data)), column, most)
	return s.Values, s.Ends, err
}

func (parquetFiles) Texts(data []byte, column string) ([]string, error) {
	t := schema.Table{Columns: []schema.Column{{Name: column, Kind: schema.Text}}}
	f, err := parquet.Read(bytes.NewReader(data), int64(len(data)), t)
	if err != nil {
		return nil, err
	}
	return f.Texts(column), nil
}

func readParquetTable(name string, data []byte) (*schema.Frame, error) {
	return parquet.ReadAny(bytes.NewReader(data), int64(len(data)))
}

// Check judges every table and every recording of a study, whose recordings the
// storage gives unless it is nil, and computes nothing. The issues are sorted.
func Check(ctx context.Context, studyDir string, storage Storage) ([]schema.Issue, error) {
	files, err := openFolder(studyDir)
	if err != nil {
		return nil, err
	}
	defer files.Close()
	s := loadStudy(files)
	found, err := checkRecordings(ctx, filesOf(storage, files), s)
	if err != nil {
		return nil, err
	}
	issues := append(s.Issues, found...)
	schema.SortIssues(issues)
	return issues, nil
}

// checkRecordings reads every recording through the same door as a run.
func checkRecordings(ctx context.Context, files Files, s *study.Study) ([]schema.Issue, error) {
	perSubject := make([][]schema.Issue, len(s.Subjects))
	jobs := runtime.GOMAXPROCS(0)
	checkers := make(chan *checker, jobs)
	for range jobs {
		traced := &tracedFiles{files: files, wait: time.Sleep}
		checkers <- &checker{traced, newReader(traced, s.Settings)}
	}
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(jobs)
	for i := range s.Subjects {
		group.Go(func() error {
			if err := ctx.Err(); err != nil {
				return err
			}
			c := <-checkers
			defer func() { checkers <- c }()
			perSubject[i] = c.subject(&s.Subjects[i])
			return c.files.fatal
		})
	}
	if err := group.Wait(); err != nil {
		return nil, err
	}
	var issues []schema.Issue
	for _, found := range perSubject {
		issues = append(issues, found...)
	}
	return issues, nil
}

// checker is what one goroutine reads recordings with.
type checker struct {
	files  *tracedFiles
	reader *recording.Reader
}

func (c *checker) subject(s *study.Subject) []schema.Issue {
	var issues []schema.Issue
	for i := range s.Visits {
		v := &s.Visits[i]
		for j := range v.Recordings {
			row := &v.Recordings[j]
			if row.Fault != "" {
				continue
			}
			read, err := c.reader.Read(requestFor(row))
			c.files.take()
			found := read.Notes
			if err != nil {
				found = append(found, asIssue(row, err))
			}
			for _, issue := range found {
				issue.SubjectID, issue.VisitID, issue.RecordingID = s.ID, v.ID, row.ID
				issues = append(issues, issue)
			}
		}
	}
	return issues
}

func requestFor(row *study.Recording) recording.Request {
	return recording.Request{File: row.File, Format: row.Format, Channel: row.Channel, SamplingHz: row.SamplingHz, Unit: row.Unit, RecordingID: row.GivenID}
}

// asIssue is the error of the reading door as an Issue.
func asIssue(row *study.Recording, err error) schema.Issue {
	var issue *schema.Issue
	if errors.As(err, &issue) {
		return *issue
	}
	return schema.Issue{Size: schema.SizeRecording, File: row.File, Code: "unreadable", Message: err.Error()}
}
