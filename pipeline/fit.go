package pipeline

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"golang.org/x/sync/errgroup"

	"tonocohort/pipeline/central"
	"tonocohort/pipeline/report"
	"tonocohort/pipeline/store"
	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// FitOptions says how a transfer function is derived.
type FitOptions struct {
	Folds   int    // of the validation; 0: ten, or one per subject
	Source  string // who measured the pairs; "" : by digest alone
	Replace bool   // write over existing files
	Version string // of the program
	Jobs    int    // pairs worked on at once; 0: one per core. Changes no result
}

// FitOutcome is what Fit leaves for the terminal.
type FitOutcome struct {
	Transfer *schema.Transfer
	Issues   []schema.Issue // sorted
	Files    []string       // written, beside each other
}

// ErrNoFile says that a file named on the command line is not there.
var ErrNoFile = errors.New("no such file")

// ErrFileExists says that a file that would be written is there already.
var ErrFileExists = errors.New("the file exists")

// fit carries what the steps hand on to each other.
type fit struct {
	options FitOptions
	files   *store.Root
	table   *study.Pairs
	results []*pairResult
	pairs   []central.Pair
	issues  []schema.Issue
}

// Fit derives a transfer function from a table of paired recordings and writes
// it to outFile, a name that ends in .json, with a figure (.svg) and a report
// (.md) beside it. The files of the recordings stand in the folder of the table
// or below. Pairs that cannot be used are left out, each with its Issue; where
// too few subjects remain, or the table itself is wrong, the error is a
// *StructuralError with everything that was found, and nothing is written.
func Fit(ctx context.Context, pairsFile, outFile string, o FitOptions) (*FitOutcome, error) {
	targets, err := fitTargets(outFile, o.Replace)
	if err != nil {
		return nil, err
	}
	f := &fit{options: o}
	dir, name := filepath.Split(pairsFile)
	if f.files, err = openFolder(filepath.Clean(dir + ".")); err != nil {
		return nil, err
	}
	defer f.files.Close()
	if !f.files.Exists(name) {
		return nil, fmt.Errorf("%s: %w", pairsFile, ErrNoFile)
	}
	f.table = study.LoadPairs(f.files, name, study.Options{RecordingFormats: newReader(f.files, schema.DefaultSettings()).Supported()})
	f.issues = f.table.Issues
	if err := f.readPairs(ctx, name); err != nil {
		return nil, err
	}
	f.judgeSet(name)
	if schema.AnyStructural(f.issues) {
		return nil, f.refused()
	}
	t, err := f.derive()
	if err != nil {
		f.refuse(name, "cannot_derive", err.Error(), "")
		return nil, f.refused()
	}
	if err := writeFit(outFile, targets, t); err != nil {
		return nil, err
	}
	schema.SortIssues(f.issues)
	return &FitOutcome{Transfer: t, Issues: f.issues, Files: targets}, nil
}

func (f *fit) refused() error {
	schema.SortIssues(f.issues)
	return &StructuralError{Issues: f.issues}
}

func (f *fit) refuse(file, code, message, hint string) {
	f.issues = append(f.issues, schema.Issue{Size: schema.SizeStructural, File: file, Code: code, Message: message, Hint: hint})
}

// fitTargets names the files that will be written, which must not be there yet.
func fitTargets(outFile string, replace bool) ([]string, error) {
	base, ok := strings.CutSuffix(filepath.Base(outFile), ".json")
	if !ok || base == "" {
		return nil, fmt.Errorf("%s: the name of a transfer function ends in .json: %w", outFile, ErrFileName)
	}
	targets := []string{base + ".svg", base + ".md", base + ".json"}
	for _, name := range targets {
		path := filepath.Join(filepath.Dir(outFile), name)
		if _, err := os.Lstat(path); err == nil && !replace {
			return nil, fmt.Errorf("%s: %w; give another name, or --replace to write over it", path, ErrFileExists)
		}
	}
	return targets, nil
}

// ErrFileName says that a file cannot have the name that was given.
var ErrFileName = errors.New("not a name for this file")

// writeFit writes the figure and the report, then the file itself.
func writeFit(outFile string, targets []string, t *schema.Transfer) error {
	folder, err := store.OpenFolder(filepath.Dir(outFile))
	if err != nil {
		return err
	}
	defer folder.Close()
	writers := []func(io.Writer) error{
		func(w io.Writer) error { return report.TransferFigure(w, t) },
		func(w io.Writer) error { return report.TransferReport(w, t, targets[0]) },
		func(w io.Writer) error { return writeJSON(w, t) },
	}
	for i, name := range targets {
		if _, err := folder.WriteAtomic(name, writers[i]); err != nil {
			return err
		}
	}
	return nil
}

// readPairs reads and judges every pair; a worker writes only its own slot.
func (f *fit) readPairs(ctx context.Context, name string) error {
	rows := f.table.Rows
	f.results = make([]*pairResult, len(rows))
	jobs := f.options.Jobs
	if jobs <= 0 {
		jobs = runtime.GOMAXPROCS(0)
	}
	workers := make(chan *pairWorker, jobs)
	for range jobs {
		workers <- newPairWorker(f.files, name)
	}
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(jobs)
	for i := range rows {
		group.Go(func() error {
			if err := ctx.Err(); err != nil {
				return err
			}
			w := <-workers
			defer func() { workers <- w }()
			f.results[i] = w.pair(&rows[i])
			return nil
		})
	}
	if err := group.Wait(); err != nil {
		return err
	}
	for _, r := range f.results {
		f.issues = append(f.issues, r.issues...)
		if r.status == statusUsed {
			f.pairs = append(f.pairs, r.pair)
		}
	}
	return nil
}

// judgeSet sees that the pairs belong together and are enough.
func (f *fit) judgeSet(file string) {
	f.oneOf(file, "artery", func(p *study.Pair) string { return p.Artery })
	f.oneOf(file, "central_artery", func(p *study.Pair) string { return p.CentralArtery })
	first := map[string]int{}
	for _, r := range f.results {
		if r.key == "" {
			continue
		}
		if line, twice := first[r.key]; twice {
			f.issues = append(f.issues, schema.Issue{Size: schema.SizeStructural, File: file, Row: r.row.Line, Code: "recordings_used_twice",
				Message: fmt.Sprintf("the same two recordings as line %d: a pair counts once", line), Hint: "remove one of the lines, or correct its files"})
			continue
		}
		first[r.key] = r.row.Line
	}
	subjects := map[string]bool{}
	for _, p := range f.pairs {
		subjects[p.SubjectID] = true
	}
	if n := len(subjects); n < central.FewestSubjects {
		f.refuse(file, "too_few_subjects", fmt.Sprintf("%d subjects with a usable pair, at least %d are needed: an average of fewer is the shape of single arms, and nobody is left to validate it on",
			n, central.FewestSubjects), fmt.Sprintf("from %d on there are bands and limits of agreement; published functions rest on 14 and 20", central.SubjectsForBands))
	}
}

// oneOf refuses a mixture: a transfer function is for one artery and one truth.
func (f *fit) oneOf(file, column string, of func(*study.Pair) string) {
	first := ""
	for i := range f.table.Rows {
		p := &f.table.Rows[i]
		switch v := of(p); {
		case p.Fault != "" || v == "":
		case first == "":
			first = v
		case v != first:
			f.issues = append(f.issues, schema.Issue{Size: schema.SizeStructural, File: file, Row: p.Line, Name: column, Value: v, Code: "mixed_arteries",
				Message: "the pairs before are " + first + ": a transfer function is for one artery and one kind of truth", Hint: "make a table for each"})
			return
		}
	}
}
