// Package published holds published reference values: means and standard
// deviations by sex and age band, equations, coefficients of models and limits,
// each set with its source, how it was read and what a comparison must take into
// account. No number from memory is here; a
// description from memory says so.
//
// # The format of a set
//
// A set is a CSV file in UTF-8. Lines "# key: text" at its head describe the
// set; after them stands the header line of its kind and one row per value.
//
//	key                 meaning
//	kind                means, equations, coefficients or limits; means where it is not said
//	source              the publication
//	reading             how the numbers came from there to here
//	selection           healthy, or any: who was measured
//	selection_note      the same in words
//	ages                completed years of the youngest and the oldest, as 18-90; all where they are not known
//	people              how many were measured, where the rows do not say
//	calibration         sbp_dbp or map_dbp: how the waves got their scale
//	amplification       definition, as brachial_pp/central_pp
//	augmentation_index  definition, as augmentation_pressure/central_pp
//	posture             supine or seated
//	method              how the aortic wave was obtained
//	exchangeable        no: the method's values do not stand for those of a transfer function
//	…_note              what weakens calibration or posture, as "from memory"
//
// A variable has the name of our column of the same definition and unit. The sex
// is female, male or all. An age band is in completed years: <20, 20-29 (both
// ends included), >=80 or all. The status is read (in the publication itself),
// second_hand (in a transcription) or suspect (it contradicts the rest of its
// table): a suspect value is shown with its note and enters no total.
//
// Means (an empty n is not known):
//
//	variable,sex,age_band,n,mean,sd,status,note
//
// Equations, a row per term of the mean or of the standard deviation of the
// variable on its scale x, x^0.5 or (x+12.001)^0.5:
//
//	variable,sex,scale,part,term,coefficient,status,note
//
// Coefficients of a published model (per is the step of the term that the
// coefficient belongs to; se, or low and high, may be empty):
//
//	variable,term,per,coefficient,se,low,high,status,note
//
// A term is 1, or factors joined by *: a column, column^2, log10(column) or
// column=level.
//
// Limits (side is at_least or below; kind is outcome_threshold,
// reference_percentile or proposed_limit):
//
//	variable,sex,age_band,side,limit,kind,effect,source,status,note
package published

import (
	"bufio"
	"bytes"
	"embed"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
)

//go:embed *.csv
var files embed.FS

// The kinds of set.
const (
	Means        = "means"
	Equations    = "equations"
	Coefficients = "coefficients"
	Limits       = "limits"
)

// Set is one published table with its description.
type Set struct {
	Kind                  string
	Name                  string
	Source                string
	Reading               string
	Selection             string // healthy or any
	SelectionNote         string
	AgeLow, AgeHigh       int // completed years of the youngest and the oldest; the widest where ages are not known
	AgesNote              string
	AugmentationIndexNote string
	Calibration           string
	CalibrationNote       string
	Amplification         string
	AugmentationIndex     string
	Posture               string
	PostureNote           string
	Method                string
	Exchangeable          string        // no, or ""
	People                int           // 0: not known, or by row
	Values                []Value       // of means, in the order of the file; so all others
	Equations             []Equation    // of equations
	Coefficients          []Coefficient // of coefficients
	Limits                []Limit       // of limits
}

// Names lists the sets that ship, sorted.
func Names() []string {
	entries, err := files.ReadDir(".")
	if err != nil {
		panic(err) // the files are part of the program
	}
	names := make([]string, len(entries))
	for i, e := range entries {
		names[i] = strings.TrimSuffix(e.Name(), ".csv")
	}
	return names
}

// File returns the file of a set by its name.
func File(name string) ([]byte, error) {
	if !slices.Contains(Names(), name) {
		return nil, fmt.Errorf("no published set is called %q; there are: %s", name, strings.Join(Names(), ", "))
	}
	return files.ReadFile(name + ".csv")
}

// Open returns a set by its name.
func Open(name string) (Set, error) {
	data, err := File(name)
	if err != nil {
		return Set{}, err
	}
	return Read(name, bytes.NewReader(data))
}

// Among returns a set by its name: one of the study's own, else one that ships.
func Among(own []Set, name string) (Set, error) {
	if i := slices.IndexFunc(own, func(s Set) bool { return s.Name == name }); i >= 0 {
		return own[i], nil
	}
	return Open(name)
}

// Read reads a set in the format of this package.
func Read(name string, r io.Reader) (Set, error) {
	buffered := bufio.NewReader(r)
	set := Set{Name: name}
	if err := set.describe(buffered); err != nil {
		return Set{}, fmt.Errorf("published set %s: %w", name, err)
	}
	if err := set.fill(buffered); err != nil {
		return Set{}, fmt.Errorf("published set %s: %w", name, err)
	}
	return set, nil
}

// describe reads the lines that begin with #.
func (s *Set) describe(r *bufio.Reader) error {
	ages, people := "", ""
	fields := map[string]*string{
		"kind": &s.Kind, "people": &people, "exchangeable": &s.Exchangeable,
		"source": &s.Source, "reading": &s.Reading, "selection": &s.Selection, "selection_note": &s.SelectionNote,
		"ages": &ages, "calibration": &s.Calibration, "calibration_note": &s.CalibrationNote,
		"amplification": &s.Amplification, "augmentation_index": &s.AugmentationIndex,
		"posture": &s.Posture, "posture_note": &s.PostureNote, "method": &s.Method,
		"ages_note": &s.AgesNote, "augmentation_index_note": &s.AugmentationIndexNote,
	}
	for {
		if next, err := r.Peek(1); err != nil || next[0] != '#' {
			break
		}
		line, err := r.ReadString('\n')
		if err != nil {
			return err
		}
		key, text, ok := strings.Cut(strings.TrimPrefix(line, "#"), ":")
		field, known := fields[strings.TrimSpace(key)]
		if !ok || !known {
			return fmt.Errorf("line %q is not \"# key: text\" with a known key", strings.TrimSpace(line))
		}
		*field = strings.TrimSpace(text)
	}
	for _, needed := range []string{"source", "reading", "selection", "ages"} {
		if *fields[needed] == "" {
			return fmt.Errorf("the line \"# %s: …\" is missing", needed)
		}
	}
	var err error
	if s.AgeLow, s.AgeHigh, err = ageBand(ages, 0, math.MaxInt); err != nil {
		return err
	}
	if s.Kind == "" {
		s.Kind = Means
	}
	for _, known := range []struct {
		key, value string
		values     []string
	}{
		{"kind", s.Kind, []string{Means, Equations, Coefficients, Limits}},
		{"selection", s.Selection, []string{"healthy", "any"}},
		{"exchangeable", s.Exchangeable, []string{"", "no"}},
	} {
		if !slices.Contains(known.values, known.value) {
			return fmt.Errorf("%s %q is not one of %s", known.key, known.value, strings.Join(known.values, ", "))
		}
	}
	s.People, err = count(people)
	return err
}

// rowKind says how the rows of a kind of set are read.
type rowKind struct {
	header string
	read   func(row []string) (key string, err error)
}

func (s *Set) rowKinds() map[string]rowKind {
	return map[string]rowKind{
		Means:        {"variable,sex,age_band,n,mean,sd,status,note", s.readValue},
		Equations:    {"variable,sex,scale,part,term,coefficient,status,note", s.readEquation},
		Coefficients: {"variable,term,per,coefficient,se,low,high,status,note", s.readCoefficient},
		Limits:       {"variable,sex,age_band,side,limit,kind,effect,source,status,note", s.readLimit},
	}
}

// fill reads the rows.
func (s *Set) fill(r io.Reader) error {
	rows, err := csv.NewReader(r).ReadAll()
	if err != nil {
		return err
	}
	kind := s.rowKinds()[s.Kind]
	if len(rows) == 0 || strings.Join(rows[0], ",") != kind.header {
		return fmt.Errorf("the header line of %s must be %s", s.Kind, kind.header)
	}
	seen := map[string]bool{}
	for _, row := range rows[1:] {
		key, err := kind.read(row)
		if err != nil {
			return fmt.Errorf("%s: %w", strings.Join(row[:3], ", "), err)
		}
		if seen[key] {
			return fmt.Errorf("%s stands there twice", strings.Join(row[:3], ", "))
		}
		seen[key] = true
	}
	if len(seen) == 0 {
		return fmt.Errorf("there are no values")
	}
	return nil
}
