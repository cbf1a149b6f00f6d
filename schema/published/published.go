// Package published holds published reference values: means and standard
// deviations by sex and age band, each set with its source, how it was read and
// what a comparison must take into account. No number from memory is here; a
// description from memory says so.
//
// # The format of a set
//
// A set is a CSV file in UTF-8. Lines "# key: text" at its head describe the
// set; after them stands the header line
//
//	variable,sex,age_band,n,mean,sd,status,note
//
// and one row per variable, sex and age band.
//
//	key                 meaning
//	source              the publication
//	reading             how the numbers came from there to here
//	selection           healthy, or any: who was measured
//	selection_note      the same in words
//	ages                completed years of the youngest and the oldest, as 18-90
//	calibration         sbp_dbp or map_dbp: how the waves got their scale
//	amplification       definition, as brachial_pp/central_pp
//	augmentation_index  definition, as augmentation_pressure/central_pp
//	posture             supine or seated
//	method              how the aortic wave was obtained
//	…_note              what weakens calibration or posture, as "from memory"
//
// A variable has the name of our column of the same definition and unit. An age
// band is in completed years: <20, 20-29 (both ends included) or >=80. The
// status is read (in the publication itself), second_hand (in a transcription)
// or suspect (it contradicts the rest of its table): a suspect value is shown
// with its note and enters no total.
package published

import (
	"bufio"
	"embed"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

//go:embed *.csv
var files embed.FS

// Set is one published table with its description.
type Set struct {
	Name              string
	Source            string
	Reading           string
	Selection         string // healthy or any
	SelectionNote     string
	AgeLow, AgeHigh   int // completed years of the youngest and the oldest
	Calibration       string
	CalibrationNote   string
	Amplification     string
	AugmentationIndex string
	Posture           string
	PostureNote       string
	Method            string
	Values            []Value // in the order of the file
}

// Value is one published mean with its standard deviation.
type Value struct {
	Variable        string
	Sex             string
	AgeBand         string
	AgeLow, AgeHigh int // completed years, both included
	N               int
	Mean, SD        float64
	Status          string // read, second_hand or suspect
	Note            string
}

// Suspect reports whether the value contradicts the rest of its table; it is
// kept out of totals.
func (v Value) Suspect() bool { return v.Status == "suspect" }

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

// Open returns a set by its name.
func Open(name string) (Set, error) {
	if !slices.Contains(Names(), name) {
		return Set{}, fmt.Errorf("no published set is called %q; there are: %s", name, strings.Join(Names(), ", "))
	}
	f, err := files.Open(name + ".csv")
	if err != nil {
		return Set{}, err
	}
	defer f.Close()
	return Read(name, f)
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
	ages := ""
	fields := map[string]*string{
		"source": &s.Source, "reading": &s.Reading, "selection": &s.Selection, "selection_note": &s.SelectionNote,
		"ages": &ages, "calibration": &s.Calibration, "calibration_note": &s.CalibrationNote,
		"amplification": &s.Amplification, "augmentation_index": &s.AugmentationIndex,
		"posture": &s.Posture, "posture_note": &s.PostureNote, "method": &s.Method,
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
	s.AgeLow, s.AgeHigh, err = ageBand(ages, 0, math.MaxInt)
	return err
}

// fill reads the rows.
func (s *Set) fill(r io.Reader) error {
	reader := csv.NewReader(r)
	rows, err := reader.ReadAll()
	if err != nil {
		return err
	}
	if len(rows) == 0 || strings.Join(rows[0], ",") != "variable,sex,age_band,n,mean,sd,status,note" {
		return fmt.Errorf("the header line must be variable,sex,age_band,n,mean,sd,status,note")
	}
	seen := map[[3]string]bool{}
	for _, row := range rows[1:] {
		v, err := s.value(row)
		if err != nil {
			return fmt.Errorf("%s, %s, %s: %w", row[0], row[1], row[2], err)
		}
		key := [3]string{v.Variable, v.Sex, v.AgeBand}
		if seen[key] {
			return fmt.Errorf("%s, %s, %s stands there twice", row[0], row[1], row[2])
		}
		seen[key] = true
		s.Values = append(s.Values, v)
	}
	return nil
}

func (s *Set) value(row []string) (Value, error) {
	v := Value{Variable: row[0], Sex: row[1], AgeBand: row[2], Status: row[6], Note: row[7]}
	var err error
	if v.AgeLow, v.AgeHigh, err = ageBand(row[2], s.AgeLow, s.AgeHigh); err != nil {
		return v, err
	}
	if v.N, err = strconv.Atoi(row[3]); err != nil || v.N < 1 {
		return v, fmt.Errorf("n %q is not a count of people", row[3])
	}
	if v.Mean, err = strconv.ParseFloat(row[4], 64); err != nil || math.IsInf(v.Mean, 0) || math.IsNaN(v.Mean) {
		return v, fmt.Errorf("mean %q is not a number", row[4])
	}
	if v.SD, err = strconv.ParseFloat(row[5], 64); err != nil || !(v.SD >= 0) || math.IsInf(v.SD, 0) {
		return v, fmt.Errorf("standard deviation %q is not a number from 0 up", row[5])
	}
	if !slices.Contains([]string{"read", "second_hand", "suspect"}, v.Status) {
		return v, fmt.Errorf("status %q is not read, second_hand or suspect", v.Status)
	}
	return v, nil
}

// ageBand reads <20, 20-29 or >=80; an open end takes that of the whole set.
func ageBand(band string, youngest, oldest int) (low, high int, err error) {
	low, high = youngest, oldest
	from, to, closed := strings.Cut(band, "-")
	switch {
	case strings.HasPrefix(band, "<"):
		high, err = strconv.Atoi(band[1:])
		high--
	case strings.HasPrefix(band, ">="):
		low, err = strconv.Atoi(band[2:])
	case closed:
		if low, err = strconv.Atoi(from); err == nil {
			high, err = strconv.Atoi(to)
		}
	default:
		err = strconv.ErrSyntax
	}
	if err != nil || low > high {
		return 0, 0, fmt.Errorf("age band %q is not <20, 20-29 or >=80", band)
	}
	return low, high, nil
}
