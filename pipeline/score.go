package pipeline

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"tonocohort/pipeline/parquet"
	"tonocohort/pipeline/store"
	"tonocohort/pipeline/tabulate"
	"tonocohort/schema"
	"tonocohort/stats/centile"
)

// Scored is what scoring leaves for the terminal.
type Scored struct {
	Rows, Scores int            // written, and those of them with a score
	Unused       []string       // columns of the input that no reference is for
	Issues       []schema.Issue // sorted
}

// ErrNoReference says that a results folder holds no fitted centiles.
var ErrNoReference = errors.New("no reference centiles were fitted there; the notes of its table centiles say why")

// Score reads new persons' values from a csv file and writes, as CSV, their
// z-scores and centiles by the references of a results folder or of a release that
// stands alone, whose table of parameters must be as the manifest, or the
// provenance of the release, says (else *DifferenceError). Where a value
// has another calibration or estimator than its reference, the error is a
// *StructuralError and nothing is written. With outFile "" the scores go to
// stdout, else to that file, which must not be there yet.
func Score(resultsDir, newFile, outFile string, stdout io.Writer) (*Scored, error) {
	if outFile != "" {
		if _, err := os.Lstat(outFile); err == nil {
			return nil, fmt.Errorf("%s: %w; give another name", outFile, ErrFileExists)
		}
	}
	scales, err := readScales(resultsDir)
	if err != nil {
		return nil, err
	}
	persons, err := readNewPersons(newFile, scales)
	if err != nil {
		return nil, err
	}
	scores := persons.score(scales)
	schema.SortIssues(persons.issues)
	if schema.AnyStructural(persons.issues) {
		return nil, &StructuralError{Issues: persons.issues}
	}
	write := func(w io.Writer) error { return parquet.WriteCSV(w, scores, parquet.CSVOptions{}) }
	if outFile == "" {
		err = write(stdout)
	} else {
		_, err = store.WriteAtomic(filepath.Dir(outFile), filepath.Base(outFile), write)
	}
	if err != nil {
		return nil, err
	}
	out := &Scored{Rows: scores.N, Unused: persons.unused, Issues: persons.issues}
	for _, z := range scores.Numbers("z") {
		if !math.IsNaN(z) {
			out.Scores++
		}
	}
	return out, nil
}

// scale is the reference of one variable by one set and method, for women and
// for men.
type scale struct {
	variable string
	bySex    []tabulate.Reference
}

// readParameters reads the table of parameters of a results folder, or of a
// release that stands alone.
func readParameters(dir string) (*schema.Frame, error) {
	if f, released, err := releasedParameters(dir); released || err != nil {
		return f, err
	}
	s, err := openWhole(dir)
	if err != nil {
		return nil, err
	}
	defer s.root.Close()
	table := schema.CentileParametersTable()
	if !s.has(tablePath(table.Name)) {
		return nil, fmt.Errorf("%s: %w", dir, ErrNoReference)
	}
	return s.frame(table.Name)
}

// readScales reads the references of a folder.
func readScales(dir string) ([]scale, error) {
	frame, err := readParameters(dir)
	if err != nil {
		return nil, err
	}
	references, err := tabulate.References(frame)
	if err != nil {
		return nil, err
	}
	var scales []scale
	for _, r := range references {
		at := slices.IndexFunc(scales, func(s scale) bool {
			first := s.bySex[0]
			return first.Variable == r.Variable && first.Set == r.Set && first.Method == r.Method
		})
		if at < 0 {
			at = len(scales)
			scales = append(scales, scale{variable: r.Variable})
		}
		scales[at].bySex = append(scales[at].bySex, r)
	}
	if len(scales) == 0 {
		return nil, fmt.Errorf("%s: %w", dir, ErrNoReference)
	}
	return scales, nil
}

// of returns the reference for a sex; where there is none, another's, which
// tells how its values were made, and false.
func (s scale) of(sex string) (tabulate.Reference, bool) {
	for _, r := range s.bySex {
		if r.Sex == sex {
			return r, true
		}
	}
	return s.bySex[0], false
}

// score scores every person on every scale whose variable the file has. A value
// that was made otherwise than the reference's is an issue.
func (p *newPersons) score(scales []scale) *schema.Frame {
	f := schema.NewFrame(schema.ScoresTable(), len(p.rows))
	for _, person := range p.rows {
		for _, s := range scales {
			column := slices.Index(p.variables, s.variable)
			if column < 0 {
				continue
			}
			r, fitted := s.of(person.sex)
			p.judge(person, r)
			value := person.values[column]
			score := centile.Score{Z: math.NaN(), Centile: math.NaN(), Note: "no reference for sex " + person.sex}
			if person.sex == "" {
				score.Note = "no sex"
			}
			if fitted {
				score = r.Score(person.age, value)
			}
			row := f.AddRow()
			f.SetNumber(row, "line", float64(person.line))
			for name, text := range map[string]string{
				"subject_id": person.subject, "sex": person.sex, "variable": s.variable, "set": r.Set, "method": r.Method,
				"calibration": person.calibration, "central_method": person.method, "note": score.Note, "caution": schema.Caution,
			} {
				f.SetText(row, name, text)
			}
			f.SetNumber(row, "age_years", person.age)
			f.SetNumber(row, "value", value)
			f.SetNumber(row, "z", score.Z)
			f.SetNumber(row, "centile_pct", score.Centile)
		}
	}
	return f
}

// judge refuses a person whose values were made otherwise than the reference's,
// and a reference that was itself made of values of several kinds.
func (p *newPersons) judge(person newPerson, r tabulate.Reference) {
	for _, k := range []struct{ name, here, there string }{
		{"calibration", person.calibration, r.Calibration}, {"central_method", person.method, r.CentralMethod},
	} {
		switch {
		case k.here == k.there && !strings.Contains(k.there, tabulate.Mixed):
		case strings.Contains(k.there, tabulate.Mixed):
			p.fault(0, "", "", "mixed_reference", fmt.Sprintf("the reference of %s was made of several kinds of %s (%s): no value compares with it", r.Variable, k.name, k.there), "declare an analysis set of one kind")
		case k.here == "":
			p.fault(person.line, k.name, "", "missing_value", fmt.Sprintf("required: the reference of %s has %s", r.Variable, k.there), "")
		default:
			p.fault(person.line, k.name, k.here, "other_"+k.name, fmt.Sprintf("the reference of %s has %s: the values do not compare", r.Variable, k.there), "")
		}
	}
}
