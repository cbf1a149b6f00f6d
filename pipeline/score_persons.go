package pipeline

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"tonocohort/pipeline/store"
	"tonocohort/schema"
)

// maxNewPersons bounds the file of new persons.
const maxNewPersons = 1 << 30

// newPersons is a file of persons to be scored.
type newPersons struct {
	file      string
	variables []string // columns that a scale is for, in the order of the file
	unused    []string
	rows      []newPerson
	issues    []schema.Issue
	seen      map[schema.Issue]bool
}

// newPerson is one row of it. Numbers that are missing are NaN.
type newPerson struct {
	line                              int
	subject, sex, calibration, method string
	age                               float64
	values                            []float64 // by variable
}

// scoreColumns are those that every file of new persons has.
var scoreColumns = []string{"sex", "age_years", "calibration", "central_method"}

// readNewPersons reads the file. A fault of the file as a whole is a structural
// issue; a cell that is no number is missing, with an issue.
func readNewPersons(name string, scales []scale) (*newPersons, error) {
	root, err := openFolder(filepath.Dir(name))
	if err != nil {
		return nil, err
	}
	defer root.Close()
	data, _, err := root.ReadFile(filepath.Base(name), nil, maxNewPersons)
	if store.IsMissing(err) {
		return nil, fmt.Errorf("%s: %w", name, ErrNoFile)
	}
	if err != nil {
		return nil, err
	}
	p := &newPersons{file: filepath.Base(name), seen: map[schema.Issue]bool{}}
	reader := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(data, []byte("\ufeff"))))
	header, err := reader.Read()
	if err != nil {
		p.fault(1, "", "", "no_header", "a csv file with a header line is needed", "")
		return p, nil
	}
	columns := p.columns(header, scales)
	for !schema.AnyStructural(p.issues) {
		cells, err := reader.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		var parse *csv.ParseError
		if errors.As(err, &parse) {
			p.fault(parse.Line, "", "", "csv_syntax", parse.Err.Error(), "every line has as many cells as the header")
			break
		}
		if err != nil {
			return nil, err
		}
		line, _ := reader.FieldPos(0)
		p.person(line, cells, columns)
	}
	return p, nil
}

// columns finds where each column stands.
func (p *newPersons) columns(header []string, scales []scale) map[string]int {
	columns := map[string]int{}
	known := append(slices.Clone(scoreColumns), "subject_id")
	var scaled []string
	for _, s := range scales {
		scaled = append(scaled, s.variable)
	}
	for i, name := range header {
		if _, twice := columns[name]; twice {
			p.fault(1, name, "", "duplicate_column", "the column stands twice", "keep one")
		}
		columns[name] = i
		switch {
		case slices.Contains(scaled, name):
			p.variables = append(p.variables, name)
		case !slices.Contains(known, name):
			p.unused = append(p.unused, name)
		}
	}
	for _, name := range scoreColumns {
		if _, ok := columns[name]; !ok {
			hint := ""
			if near, found := schema.Nearest(name, header); found {
				hint = "did you mean " + near + "?"
			}
			p.fault(1, name, "", "missing_column", "required", hint)
		}
	}
	if len(p.variables) == 0 {
		p.fault(1, "", "", "no_variable", "no column is a variable of the references: "+strings.Join(slices.Compact(scaled), ", "), "")
	}
	return columns
}

var identifier = regexp.MustCompile(schema.Identifier)

func (p *newPersons) person(line int, cells []string, columns map[string]int) {
	text := func(name string) string {
		if i, ok := columns[name]; ok {
			return strings.TrimSpace(cells[i])
		}
		return ""
	}
	n := newPerson{line: line, subject: text("subject_id"), sex: text("sex"), calibration: text("calibration"), method: text("central_method")}
	for _, name := range []string{"subject_id", "sex", "calibration", "central_method"} {
		if v := text(name); v != "" && !identifier.MatchString(v) {
			p.fault(line, name, v, "bad_id", "starts with a letter or a digit and holds letters, digits, blanks and . _ : / + -, at most 64", "")
		}
	}
	n.age = p.number(line, "age_years", text("age_years"))
	for _, name := range p.variables {
		n.values = append(n.values, p.number(line, name, text(name)))
	}
	p.rows = append(p.rows, n)
}

// number reads a cell; what is no finite number is missing.
func (p *newPersons) number(line int, name, text string) float64 {
	if text == "" {
		return math.NaN()
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		p.add(schema.SizeValue, line, name, text, "not_a_number", "not a number: counted as missing", "")
		return math.NaN()
	}
	return v
}

func (p *newPersons) fault(line int, name, value, code, message, hint string) {
	p.add(schema.SizeStructural, line, name, value, code, message, hint)
}

// add notes an issue, once.
func (p *newPersons) add(size schema.Size, line int, name, value, code, message, hint string) {
	if len(value) > 40 {
		value = value[:40] + "…"
	}
	i := schema.Issue{Size: size, File: p.file, Row: line, Name: name, Value: value, Code: code, Message: message, Hint: hint}
	if !p.seen[i] {
		p.seen[i] = true
		p.issues = append(p.issues, i)
	}
}
