package sheets

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"

	"tonocohort/schema"
)

// Verdict is one row of the reviews table as a reader makes it. An empty
// Decision takes back what the same reader decided before.
type Verdict struct {
	Recording string `json:"recording"`
	Reader    string `json:"reader"`
	Decision  string `json:"decision"` // accept, reject
	Reason    string `json:"reason"`
	ReadOn    string `json:"read_on"` // YYYY-MM-DD
}

var identifier = regexp.MustCompile(schema.Identifier)

// longestReason bounds what one cell may hold.
const longestReason = 500

// Clean holds a verdict to the contract and gives its reason the form in which
// it is written: one line, and with an apostrophe before what a spreadsheet
// would run as a formula (CWE-1236).
func (v Verdict) Clean() (Verdict, error) {
	switch {
	case !identifier.MatchString(v.Recording):
		return v, errors.New("a verdict without a usable recording_id")
	case v.Reader != "" && !identifier.MatchString(v.Reader):
		return v, fmt.Errorf("%s: the reader must begin with a letter or a digit and have up to 64 letters, digits, blanks and . _ : / + -", v.Recording)
	case v.Decision != "" && v.Decision != "accept" && v.Decision != "reject":
		return v, fmt.Errorf("%s: a decision is accept or reject", v.Recording)
	}
	if v.ReadOn != "" {
		if _, err := time.Parse(time.DateOnly, v.ReadOn); err != nil {
			return v, fmt.Errorf("%s: read_on is not a date", v.Recording)
		}
	}
	v.Reason = strings.TrimSpace(strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r == '\u2028' || r == '\u2029' || r == unicode.ReplacementChar {
			return ' '
		}
		return r
	}, v.Reason))
	if r := []rune(v.Reason); len(r) > longestReason {
		v.Reason = strings.TrimSpace(string(r[:longestReason]))
	}
	if v.Reason != "" && strings.ContainsRune("=+-@", rune(v.Reason[0])) {
		v.Reason = "'" + v.Reason
	}
	return v, nil
}

// Form is how a study writes its tables.
type Form struct {
	Delimiter rune
	Dates     string // yyyy-mm-dd, dd.mm.yyyy, dd/mm/yyyy, mm/dd/yyyy
}

func (f Form) date(iso string) string {
	if len(iso) != len(time.DateOnly) {
		return ""
	}
	return strings.NewReplacer("yyyy", iso[:4], "mm", iso[5:7], "dd", iso[8:]).Replace(f.Dates)
}

// Merged counts what a merge did.
type Merged struct{ Added, Replaced, Kept int }

var verdictColumns = []string{"recording_id", "decision", "reason", "reader", "read_on"}

// Merge puts verdicts into the text of a reviews table, which may be empty: a row
// of the same recording and reader takes the new decision, reason and date and
// keeps its other cells; every other row stays as it is. New rows follow, by
// recording and reader.
func Merge(text []byte, f Form, verdicts []Verdict) ([]byte, Merged, error) {
	var done Merged
	body, marked := bytes.CutPrefix(text, []byte("\ufeff"))
	rows, err := parse(body, f)
	if err != nil {
		return nil, done, err
	}
	if len(rows) == 0 {
		rows = [][]string{slices.Clone(verdictColumns)}
	}
	at, header, err := places(rows[0])
	if err != nil {
		return nil, done, err
	}
	fresh := map[[2]string]Verdict{}
	for _, v := range verdicts {
		if v.Decision != "" {
			fresh[[2]string{v.Recording, v.Reader}] = v
		}
	}
	out, used := [][]string{header}, map[[2]string]bool{}
	for _, row := range rows[1:] {
		key := [2]string{cellAt(row, at[0]), cellAt(row, at[3])}
		v, ok := fresh[key]
		switch {
		case !ok:
			done.Kept++
			out = append(out, row)
		case !used[key]:
			used[key] = true
			done.Replaced++
			out = append(out, f.fill(row, at, v))
		}
	}
	var added [][2]string
	for key := range fresh {
		if !used[key] {
			added = append(added, key)
		}
	}
	slices.SortFunc(added, func(a, b [2]string) int { return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1])) })
	for _, key := range added {
		done.Added++
		out = append(out, f.fill(make([]string, len(header)), at, fresh[key]))
	}
	return f.write(out, marked, bytes.Contains(text, []byte("\r\n"))), done, nil
}

func parse(text []byte, f Form) ([][]string, error) {
	r := csv.NewReader(bytes.NewReader(text))
	r.Comma, r.FieldsPerRecord = f.Delimiter, -1
	rows, err := r.ReadAll()
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("the reviews table is not CSV: %w", err)
	}
	return rows, nil
}

// places finds the columns of the contract; reader and read_on are added where
// they are not there.
func places(header []string) (at [5]int, full []string, err error) {
	full = slices.Clone(header)
	for i, name := range verdictColumns {
		at[i] = slices.IndexFunc(full, func(cell string) bool { return strings.TrimSpace(cell) == name })
		if at[i] < 0 && i < 3 {
			return at, nil, fmt.Errorf("the reviews table has no column %s", name)
		}
		if at[i] < 0 {
			at[i] = len(full)
			full = append(full, name)
		}
	}
	return at, full, nil
}

func cellAt(row []string, i int) string {
	if i >= len(row) {
		return ""
	}
	return strings.TrimSpace(row[i])
}

func (f Form) fill(row []string, at [5]int, v Verdict) []string {
	out := slices.Clone(row)
	for i, text := range []string{v.Recording, v.Decision, v.Reason, v.Reader, f.date(v.ReadOn)} {
		for len(out) <= at[i] {
			out = append(out, "")
		}
		out[at[i]] = text
	}
	return out
}

// write writes the rows as the table was written; a row shorter than the header
// is filled up.
func (f Form) write(rows [][]string, marked, crlf bool) []byte {
	var b bytes.Buffer
	if marked {
		b.WriteString("\ufeff")
	}
	w := csv.NewWriter(&b)
	w.Comma, w.UseCRLF = f.Delimiter, crlf
	for _, row := range rows {
		for len(row) < len(rows[0]) {
			row = append(row, "")
		}
		_ = w.Write(row) // a buffer takes everything
	}
	w.Flush()
	return b.Bytes()
}

// Verdicts reads a file of verdicts, as the pages of a book give it.
func Verdicts(text []byte, f Form) ([]Verdict, error) {
	body, _ := bytes.CutPrefix(text, []byte("\ufeff"))
	rows, err := parse(body, f)
	if err != nil || len(rows) == 0 {
		return nil, err
	}
	at, _, err := places(rows[0])
	if err != nil {
		return nil, err
	}
	var list []Verdict
	for i, row := range rows[1:] {
		v := Verdict{Recording: cellAt(row, at[0]), Decision: cellAt(row, at[1]), Reason: strings.TrimPrefix(cellAt(row, at[2]), "'"), Reader: cellAt(row, at[3])}
		if v.ReadOn, err = f.iso(cellAt(row, at[4])); err == nil && v.Decision == "" {
			err = errors.New("no decision")
		}
		if err == nil {
			v, err = v.Clean()
		}
		if err != nil {
			return nil, fmt.Errorf("row %d: %w", i+2, err)
		}
		list = append(list, v)
	}
	return list, nil
}

// iso reads a date in the form of the study, or YYYY-MM-DD.
func (f Form) iso(text string) (string, error) {
	if text == "" {
		return "", nil
	}
	layout := strings.NewReplacer("yyyy", "2006", "mm", "01", "dd", "02").Replace(f.Dates)
	for _, l := range []string{layout, time.DateOnly} {
		if t, err := time.Parse(l, text); err == nil {
			return t.Format(time.DateOnly), nil
		}
	}
	return "", fmt.Errorf("read_on is not a date as %s", f.Dates)
}
