package pipeline

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"tonocohort/pipeline/report"
	"tonocohort/pipeline/store"
	"tonocohort/schema"
)

// The forms in which figures are drawn.
const (
	FigurePNG = "png"
	FigureSVG = "svg"
)

// Resolutions of a PNG, in dots per inch.
const (
	LeastDPI = report.LeastDPI
	MostDPI  = report.MostDPI
)

// FigureForms lists the forms.
func FigureForms() []string { return []string{FigurePNG, FigureSVG} }

// FigureOptions says which figures are drawn, and how.
type FigureOptions struct {
	Names      []string // of figures; nil: all
	Form       string   // one of FigureForms
	DPI        int      // of PNG: dots per inch
	Restricted bool     // also those that show single persons
}

// RestrictedFigures is the folder, in that of the figures, for those that show single
// persons, so that nobody sends them along with the others.
const RestrictedFigures = "restricted"

// ErrInsideResults says that something would be written among sealed files.
var ErrInsideResults = errors.New("inside the results, whose files are sealed: take another folder")

// DrawFigures draws the figures of sealed results again, from their released
// tables, and writes each to a file in outDir, over one of its name; those of single
// persons, where they are wanted, from the person-level tables into RestrictedFigures
// in it. A table that is not as the manifest says is a *DifferenceError, a figure
// that is not there an *UnknownNameError. It returns the names of the files.
func DrawFigures(ctx context.Context, resultsDir, outDir string, o FigureOptions) ([]string, error) {
	drawings, restricted, err := figuresOf(resultsDir, o.Restricted)
	if err != nil {
		return nil, err
	}
	if drawings, err = chosen(drawings, o.Names); err != nil {
		return nil, err
	}
	if within, err := inside(resultsDir, outDir); err != nil || within {
		return nil, errors.Join(err, fmt.Errorf("%s is %w", outDir, ErrInsideResults))
	}
	var names []string
	for _, d := range drawings {
		if err := ctx.Err(); err != nil {
			return names, err
		}
		folder := ""
		if slices.Contains(restricted, d.Name) {
			folder = RestrictedFigures
		}
		dir := filepath.Join(outDir, folder)
		if err := os.MkdirAll(dir, 0o777); err != nil {
			return names, err
		}
		name := d.Name + "." + o.Form
		if _, err := store.WriteAtomic(dir, name, func(w io.Writer) error { return drawn(d, w, o) }); err != nil {
			return names, fmt.Errorf("%s: %w", d.Name, err)
		}
		names = append(names, filepath.Join(folder, name))
	}
	return names, nil
}

func drawn(d report.Drawing, w io.Writer, o FigureOptions) error {
	if o.Form == FigurePNG {
		return d.File().WritePNG(w, o.DPI)
	}
	return d.File().WriteSVG(w)
}

// FigureNames are the figures of the release of sealed results; with restricted, also
// those of single persons.
func FigureNames(resultsDir string, restricted bool) ([]string, error) {
	drawings, _, err := figuresOf(resultsDir, restricted)
	return namesOf(drawings), err
}

func namesOf(drawings []report.Drawing) []string {
	var names []string
	for _, d := range drawings {
		names = append(names, d.Name)
	}
	return names
}

// figuresOf makes the figures of sealed results, and says which show single persons.
func figuresOf(resultsDir string, restricted bool) (drawings []report.Drawing, persons []string, err error) {
	s, err := openSource(resultsDir)
	if err != nil {
		return nil, nil, err
	}
	defer s.root.Close()
	if err := onlyWhole(resultsDir, s.manifest); err != nil {
		return nil, nil, err
	}
	if drawings, err = s.releasedFigures(); err != nil || !restricted {
		return drawings, nil, err
	}
	private, err := s.personFigures()
	return append(drawings, private...), namesOf(private), err
}

// personFigures makes the figures of single persons from what stays with the study.
func (s *source) personFigures() ([]report.Drawing, error) {
	visits, done, err := s.lentVisits()
	if err != nil {
		return nil, err
	}
	defer done()
	measured, closed, err := s.measured(visits)
	if err != nil {
		return nil, err
	}
	defer closed()
	frames := map[string]*schema.Frame{}
	for _, name := range []string{"residuals", "agreement"} {
		if s.has(tablePath(name)) {
			if frames[name], err = s.frame(name); err != nil {
				return nil, err
			}
		}
	}
	persons := personsOf(measured, frames["agreement"], s.manifest.Settings.Analysis)
	if f := frames["residuals"]; f != nil {
		persons.Residuals = residualsOf(f)
	}
	if err := measured.Err(); err != nil {
		return nil, err
	}
	return report.PersonFigures(persons), nil
}

// residualsOf takes the table of residuals apart by model.
func residualsOf(f *schema.Frame) iter.Seq[report.ModelResiduals] {
	return func(yield func(report.ModelResiduals) bool) {
		name := func(row int) [3]string {
			return [3]string{f.TextAt(row, "set"), f.TextAt(row, "variable"), f.TextAt(row, "model")}
		}
		observed, fitted, residual, standardised := f.Numbers("observed"), f.Numbers("fitted"), f.Numbers("residual"), f.Numbers("standardised")
		for from := 0; from < f.N; {
			to, persons := from, map[string]bool{}
			for ; to < f.N && name(to) == name(from); to++ {
				persons[f.TextAt(to, "subject_id")] = true
			}
			n := name(from)
			m := report.ModelResiduals{Set: n[0], Variable: n[1], Model: n[2], Persons: len(persons), Observed: observed[from:to],
				Fitted: fitted[from:to], Residual: residual[from:to], Standardised: slices.Clone(standardised[from:to])}
			if !yield(m) {
				return
			}
			from = to
		}
	}
}

// releasedFigures makes the figures from what the release holds.
func (s *source) releasedFigures() ([]report.Drawing, error) {
	source := report.Source{Settings: s.manifest.Settings, Build: s.manifest.Build}
	for _, out := range s.manifest.Outputs {
		if !strings.HasPrefix(out.Path, releaseFolder) || !strings.HasSuffix(out.Path, ".parquet") {
			continue
		}
		if err := s.check(out.Path); err != nil {
			return nil, err
		}
		f, err := readOwnTable(s.root, out.Path)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", out.Path, err)
		}
		source.Frames = append(source.Frames, f)
	}
	return report.Figures(source), nil
}

// chosen are the figures with these names; nil chooses all.
func chosen(drawings []report.Drawing, names []string) ([]report.Drawing, error) {
	if names == nil {
		return drawings, nil
	}
	var list []report.Drawing
	for _, name := range names {
		at := slices.IndexFunc(drawings, func(d report.Drawing) bool { return d.Name == name })
		if at < 0 {
			return nil, &UnknownNameError{"figure", name, namesOf(drawings)}
		}
		list = append(list, drawings[at])
	}
	return list, nil
}

// inside reports whether a folder is another, or in it.
func inside(outer, inner string) (bool, error) {
	a, err := filepath.Abs(outer)
	if err != nil {
		return false, err
	}
	b, err := filepath.Abs(inner)
	if err != nil {
		return false, err
	}
	rel, err := filepath.Rel(a, b)
	return err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator)), nil
}
