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

	"tonocohort/pipeline/report"
	"tonocohort/pipeline/store"
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
	Names []string // of figures; nil: all
	Form  string   // one of FigureForms
	DPI   int      // of PNG: dots per inch
}

// ErrInsideResults says that something would be written among sealed files.
var ErrInsideResults = errors.New("inside the results, whose files are sealed: take another folder")

// DrawFigures draws the figures of sealed results again, from their released
// tables, and writes each to a file in outDir, over one of its name. A table that
// is not as the manifest says is a *DifferenceError, a figure that is not there an
// *UnknownNameError. It returns the names of the files.
func DrawFigures(ctx context.Context, resultsDir, outDir string, o FigureOptions) ([]string, error) {
	drawings, err := releasedFigures(resultsDir)
	if err != nil {
		return nil, err
	}
	if drawings, err = chosen(drawings, o.Names); err != nil {
		return nil, err
	}
	if within, err := inside(resultsDir, outDir); err != nil || within {
		return nil, errors.Join(err, fmt.Errorf("%s is %w", outDir, ErrInsideResults))
	}
	if err := os.MkdirAll(outDir, 0o777); err != nil {
		return nil, err
	}
	var names []string
	for _, d := range drawings {
		if err := ctx.Err(); err != nil {
			return names, err
		}
		name := d.Name + "." + o.Form
		if _, err := store.WriteAtomic(outDir, name, func(w io.Writer) error { return drawn(d, w, o) }); err != nil {
			return names, fmt.Errorf("%s: %w", d.Name, err)
		}
		names = append(names, name)
	}
	return names, nil
}

func drawn(d report.Drawing, w io.Writer, o FigureOptions) error {
	if o.Form == FigurePNG {
		return d.File().WritePNG(w, o.DPI)
	}
	return d.File().WriteSVG(w)
}

// FigureNames are the figures of the release of sealed results.
func FigureNames(resultsDir string) ([]string, error) {
	drawings, err := releasedFigures(resultsDir)
	return namesOf(drawings), err
}

func namesOf(drawings []report.Drawing) []string {
	var names []string
	for _, d := range drawings {
		names = append(names, d.Name)
	}
	return names
}

// releasedFigures makes the figures from what the release holds.
func releasedFigures(resultsDir string) ([]report.Drawing, error) {
	s, err := openSource(resultsDir)
	if err != nil {
		return nil, err
	}
	defer s.root.Close()
	if err := onlyWhole(resultsDir, s.manifest); err != nil {
		return nil, err
	}
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
