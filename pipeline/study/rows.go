package study

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"math"
	"strconv"

	"tonocohort/schema"
)

// rowSource gives the rows of a table as text, the header first.
type rowSource interface {
	// next returns the cells of the next row and io.EOF behind the last; the
	// slice is good until the next call.
	next() ([]string, error)
	// line returns the line of the file on which a cell of that row starts.
	line(cell int) int
}

// csvRows reads CSV text. Lines are counted as an editor does: the header is
// line 1, and a quoted line break begins a line of the file.
type csvRows struct{ reader *csv.Reader }

func newCSVRows(text []byte, delimiter string) csvRows {
	reader := csv.NewReader(bytes.NewReader(text))
	reader.Comma = delimiterRune(delimiter)
	reader.FieldsPerRecord = -1 // ragged rows are reported one by one
	reader.ReuseRecord = true
	return csvRows{reader}
}

func (r csvRows) next() ([]string, error) { return r.reader.Read() }

func (r csvRows) line(cell int) int {
	line, _ := r.reader.FieldPos(cell)
	return line
}

// csvFault explains an error of the csv reader and says where it stands.
func csvFault(err error, file string) schema.Issue {
	issue := schema.Issue{Size: schema.SizeStructural, File: file, Code: "csv_syntax", Message: "not CSV: a quotation mark within a cell is out of place",
		Hint: "quote the whole cell and double the marks within it"}
	var parse *csv.ParseError
	if errors.As(err, &parse) {
		issue.Row = parse.StartLine
		if errors.Is(parse.Err, csv.ErrQuote) {
			issue.Message = "a quoted cell that does not end where its row does"
		}
	}
	return issue
}

// frameRows gives the rows of a Parquet table as text, so that they meet the
// same checks as those of a CSV file. Row 1 is the header, as there.
type frameRows struct {
	frame *schema.Frame
	row   int // next row; -1: the header
	cells []string
}

func newFrameRows(f *schema.Frame) *frameRows {
	return &frameRows{frame: f, row: -1, cells: make([]string, len(f.Table.Columns))}
}

func (r *frameRows) next() ([]string, error) {
	if r.row >= r.frame.N {
		return nil, io.EOF
	}
	for i, c := range r.frame.Table.Columns {
		switch data := &r.frame.Cols[i]; {
		case r.row < 0:
			r.cells[i] = c.Name
		case c.Textual():
			r.cells[i] = data.Text[r.row]
		case c.Numeric() && !math.IsNaN(data.Num[r.row]):
			r.cells[i] = strconv.FormatFloat(data.Num[r.row], 'f', -1, 64)
		default:
			r.cells[i] = "" // a wave is no column of these tables
		}
	}
	r.row++
	return r.cells, nil
}

func (r *frameRows) line(int) int { return r.row + 1 }
