package report

import (
	"bufio"
	"encoding/csv"
	"fmt"
	"html/template"
	"io"
	"strings"
	"sync"

	"tonocohort/schema"
)

// Table is a publication table: text in its last form.
type Table struct {
	Name    string   // of its files
	Title   string   // what, who, how many
	Stub    []string // headers of the label columns; the first groups rows
	Columns []string
	Rows    []Row
	Notes   []string
}

// Row has a label per stub column and a cell per column.
type Row struct{ Labels, Cells []string }

// add appends a row.
func (t *Table) add(labels []string, cells ...string) {
	t.Rows = append(t.Rows, Row{labels, cells})
}

// symbols explains the signs that stand for no number.
func (t *Table) symbols() {
	if t.holds(Confidential) {
		t.note(Confidential + " confidential: hidden by disclosure control; neither zero nor missing.")
	}
	if t.holds(NoValue) {
		t.note(NoValue + " no such value.")
	}
}

func (t *Table) holds(sign string) bool {
	for _, r := range t.Rows {
		for _, c := range r.Cells {
			if strings.Contains(c, sign) {
				return true
			}
		}
	}
	return false
}

func (t *Table) note(text string) {
	for _, n := range t.Notes {
		if n == text {
			return
		}
	}
	t.Notes = append(t.Notes, text)
}

// weighted says which numbers the weights of the plan are in.
func (t *Table) weighted(s Source) {
	switch w := s.Settings.Analysis.Weights; {
	case w.Column == "":
	case w.Kind == "frequency":
		t.note("A row counts as often as its weight says (frequency weights).")
	default:
		t.note("Numbers of people are unweighted; means, SDs, percentiles and percentages are weighted (" + w.Kind + " weights).")
	}
}

// WriteCSV writes the table with every label in every row, the notes left out.
func (t *Table) WriteCSV(w io.Writer) error {
	out := csv.NewWriter(w)
	if err := out.Write(append(append([]string{}, t.Stub...), t.Columns...)); err != nil {
		return err
	}
	for _, r := range t.Rows {
		if err := out.Write(append(append([]string{}, r.Labels...), r.Cells...)); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// WriteMarkdown writes the table for a person to read.
func (t *Table) WriteMarkdown(w io.Writer) error {
	out := bufio.NewWriter(w)
	fmt.Fprintf(out, "# %s\n\n", escapeMarkdown(t.Title))
	cells := append(append([]string{}, t.Stub...), t.Columns...)
	writeLine(out, cells)
	fmt.Fprintf(out, "|%s%s\n", strings.Repeat("---|", len(t.Stub)), strings.Repeat("---:|", len(t.Columns)))
	last := ""
	for i, r := range t.Rows {
		labels := append([]string{}, r.Labels...)
		if i > 0 && labels[0] == last {
			labels[0] = ""
		}
		last = r.Labels[0]
		writeLine(out, append(labels, r.Cells...))
	}
	for _, n := range t.Notes {
		fmt.Fprintf(out, "\n%s\n", escapeMarkdown(n))
	}
	fmt.Fprintf(out, "\n%s\n", schema.Caution)
	return out.Flush()
}

func writeLine(out *bufio.Writer, cells []string) {
	for _, c := range cells {
		fmt.Fprintf(out, "| %s ", escapeMarkdown(c))
	}
	fmt.Fprint(out, "|\n")
}

var markdownSigns = strings.NewReplacer("|", "\\|", "<", "&lt;", "*", "\\*", "_", "\\_", "\n", " ")

func escapeMarkdown(text string) string { return markdownSigns.Replace(text) }

// group is rows that share their first label.
type group struct {
	Label string
	Rows  []Row
}

func (t *Table) groups() []group {
	var list []group
	for _, r := range t.Rows {
		if len(list) == 0 || list[len(list)-1].Label != r.Labels[0] {
			list = append(list, group{Label: r.Labels[0]})
		}
		g := &list[len(list)-1]
		g.Rows = append(g.Rows, Row{r.Labels[1:], r.Cells})
	}
	return list
}

// WriteHTML writes the table as a page of its own: no script, nothing from
// elsewhere, readable without colour, scrollable by keyboard where it is wide.
func (t *Table) WriteHTML(w io.Writer) error {
	page, err := tableTemplate()
	if err != nil {
		return err
	}
	return page.Execute(printable{w}, struct {
		*Table
		Groups  []group
		Heads   []string
		Span    int
		Caution string
	}{t, t.groups(), t.Stub[1:], len(t.Stub) - 1 + len(t.Columns), schema.Caution})
}

// tableTemplate is read once for all tables.
var tableTemplate = sync.OnceValues(func() (*template.Template, error) { return template.New("table").Parse(tablePage) })

const tablePage = `<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<title>{{.Title}}</title>
<style>
body{margin:1rem;font:1rem/1.45 system-ui,sans-serif;color:#111;background:#fff}
h1{font-size:1.25rem}
.wide{overflow-x:auto}
.wide:focus{outline:2px solid #0072b2}
table{border-collapse:collapse;border-top:2px solid #111;border-bottom:2px solid #111;font-variant-numeric:tabular-nums}
caption{text-align:left;font-weight:600;padding:.4rem 0}
th,td{padding:.2rem .6rem;text-align:right;vertical-align:top}
th{font-weight:600}
thead th{border-bottom:1px solid #111;vertical-align:bottom}
tbody th,thead th.stub{text-align:left}
tbody th[scope=row]{font-weight:400}
tbody th[scope=rowgroup]{padding-top:.6rem}
@media print{body{margin:0;font-size:10pt}table{font-size:8pt}th,td{padding:.15rem .4rem}.wide{overflow:visible}tr{break-inside:avoid}caption,thead,tbody tr:first-child{break-after:avoid}}
</style>
</head>
<body>
<main>
<h1>{{.Title}}</h1>
<div class="wide" role="region" aria-labelledby="caption" tabindex="0">
<table>
<caption id="caption">{{index .Stub 0}} by {{range $i, $h := .Heads}}{{if $i}}, {{end}}{{$h}}{{end}}</caption>
<thead><tr>{{range .Heads}}<th scope="col" class="stub">{{.}}</th>{{end}}{{range .Columns}}<th scope="col">{{.}}</th>{{end}}</tr></thead>
{{range .Groups}}<tbody>
<tr><th scope="rowgroup" colspan="{{$.Span}}">{{.Label}}</th></tr>
{{range .Rows}}<tr>{{range .Labels}}<th scope="row">{{.}}</th>{{end}}{{range .Cells}}<td>{{.}}</td>{{end}}</tr>
{{end}}</tbody>
{{end}}</table>
</div>
{{range .Notes}}<p>{{.}}</p>
{{end}}<p><strong>{{.Caution}}</strong></p>
</main>
</body>
</html>
`
