package report

import (
	"bytes"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"
	"unicode"

	"tonocohort/schema"
)

// section is one part of the report. A part for which nothing was released says
// why in a sentence.
type section struct {
	ID, Title  string
	Strobe     string // items of the STROBE list that the part answers
	Paragraphs []string
	List       []string
	Drawings   []Drawing
	Tables     []*Table
	Closing    []string // paragraphs behind figures and tables
	Command    string
	Digests    []digest
}

type digest struct{ Of, SHA256 string }

// WriteReport writes the report as one page that needs nothing from elsewhere:
// style and figures stand in it, and there is no script. Everything in it comes
// from released tables and from settings; tables and figures are those of s.
func WriteReport(w io.Writer, s Source, tables []*Table, figures []Drawing) error {
	page, err := template.New("report").Funcs(template.FuncMap{"figure": inline, "page": onPage, "quantity": quantity, "pieces": pieces}).Parse(reportPage + tablePart)
	if err != nil {
		return err
	}
	title := s.Settings.Study.Title
	if title == "" {
		title = s.Settings.Study.ID
	}
	return page.Execute(printable{w}, struct {
		Title, ID, Caution string
		Style              template.CSS
		Sections           []section
	}{title, s.Settings.Study.ID, schema.Caution, reportStyle, sections(s, tables, figures)})
}

// printable passes on what a page may hold: no control characters, which HTML
// forbids, and none of the marks that turn the direction of what follows them, by
// which a name could set the numbers beside it the other way round.
type printable struct{ w io.Writer }

func (p printable) Write(data []byte) (int, error) {
	clean := bytes.Map(func(r rune) rune {
		switch {
		case r < ' ' && r != '\n' && r != '\t', r >= 0x7f && r <= 0x9f:
			return ' '
		case unicode.Is(unicode.Bidi_Control, r):
			return -1
		}
		return r
	}, data)
	if _, err := p.w.Write(clean); err != nil {
		return 0, err
	}
	return len(data), nil
}

// inline is the figure as an element of the page.
func inline(d Drawing) template.HTML {
	return template.HTML(d.SVG("")) // the figure has escaped its texts
}

// onPage is what the template needs of a table.
func onPage(t *Table) any {
	return struct {
		*Table
		Groups []group
		Heads  []string
		Span   int
		Fold   bool
	}{t, t.groups(), t.Stub[1:], len(t.Stub) - 1 + len(t.Columns), len(t.Rows) > unfolded}
}

// unfolded is how many rows of a table the page shows at once: a longer one is
// folded, so that a reader with a small window comes to what follows.
const unfolded = 12

// quantity reports a cell that is read as one number with what belongs to it, and
// is not broken between two lines.
func quantity(cell string) bool {
	return strings.ContainsAny(cell, "0123456789") && !strings.ContainsFunc(cell, func(r rune) bool {
		return unicode.IsLetter(r) && r != 'P' && !strings.ContainsRune("to", r)
	})
}

// pieces cuts a cell behind its semicolons, where its line may break.
func pieces(cell string) []string { return strings.SplitAfter(cell, "; ") }

// sections lists the parts of the report in their order.
func sections(s Source, publication []*Table, figures []Drawing) []section {
	style := styleOf(s)
	tables := map[string]*Table{}
	for _, t := range publication {
		tables[t.Name] = t
	}
	drawings := map[string][]Drawing{}
	for _, d := range figures {
		kind, _, _ := strings.Cut(d.Name, "_")
		drawings[kind] = append(drawings[kind], d)
	}
	list := []section{asked(s), found(s, style, tables)}
	for _, p := range parts() {
		part := section{ID: p.id, Title: p.title, Strobe: p.strobe, Paragraphs: p.words}
		for _, kind := range p.figures {
			part.Drawings = append(part.Drawings, drawings[kind]...)
		}
		for _, name := range p.tables {
			if t := tables[name]; t != nil {
				part.Tables = append(part.Tables, focused(s, t))
			}
		}
		if len(part.Tables) == 0 {
			part.Paragraphs = []string{p.absent}
		} else if len(part.Drawings) == 0 && p.undrawn != "" {
			part.Paragraphs = append(part.Paragraphs, p.undrawn)
		}
		list = append(list, part)
	}
	return append(list, hidden(s, style), methodsPart(s), limits(), references(s), origin(s))
}

// part says what belongs to a part of the report.
type part struct {
	id, title, strobe string
	words             []string
	figures, tables   []string
	absent            string // where there is no table
	undrawn           string // where there is no figure
}

func parts() []part {
	return []part{
		{id: "flow", title: "Participant flow", strobe: "13", figures: []string{"flow"}, tables: []string{"table_flow"},
			words:  []string{"Who came in, who left for which first reason, who went on. At every stage those who came in are those who left and those who went on."},
			absent: "The flow is not shown: none was released."},
		{id: "participants", title: "Who was measured", strobe: "14", tables: []string{"table_participants"},
			absent: "The characteristics of the participants are not shown: none were released, because the plan describes none or nobody was analysed."},
		{id: "pressure", title: "Central pressure by sex and age", strobe: "15, 16", figures: []string{"centiles", "strata"}, tables: []string{"table_reference", "table_centiles"},
			absent:  "No summaries are shown: nobody was analysed, or every stratum holds too few people.",
			undrawn: "There is no figure: the plan declares no strata, or every stratum holds too few people; no centile curves were fitted or none may be shown."},
		{id: "change", title: "Change between visits", strobe: "16", tables: []string{"table_change"},
			absent: "No change is shown: nobody was seen twice, the plan wants none, or too few people were."},
		{id: "models", title: "Models", strobe: "16", figures: []string{"models"}, tables: []string{"table_models"},
			absent:  "No model is shown: the plan declares none, or none of them may be shown.",
			undrawn: "There is no figure: no coefficient may be shown."},
		{id: "comparison", title: "Beside published values", strobe: "17, 21", figures: []string{"comparison"}, tables: []string{"table_comparison"},
			absent:  "No comparison is shown: the plan names no published set, the study has no people in its strata, or every difference rests on too few people.",
			undrawn: "There is no figure: no difference of this variable may be shown."},
		{id: "agreement", title: "How well measurements agree", strobe: "9, 12", figures: []string{"agreement"}, tables: []string{"table_agreement"},
			absent:  "No agreement is shown: nothing was measured twice, in enough people, and nothing in two ways.",
			undrawn: "There is no figure: no difference may be shown."},
		{id: "sensitivity", title: "What hangs on our choices", strobe: "12e, 17", figures: []string{"sensitivity"}, tables: []string{"table_sensitivity"},
			absent:  "No sensitivity is shown: the plan declares no model to fit again under other choices.",
			undrawn: "There is no figure: the model could be fitted, or may be shown, under one choice alone."},
		{id: "departures", title: "Departures from the protocol", strobe: "8, 9", tables: []string{"table_departures"},
			absent: "No departures are shown: the study records no answer that its protocol judges."},
		{id: "quality", title: "Quality of the pulses", strobe: "8, 9", tables: []string{"table_quality"},
			words:  []string{"Recordings that were left out stand in the flow of recordings with their reasons; how well repeated recordings agree stands above."},
			absent: "No grades are shown: no visit was used."},
	}
}

// focused leaves in a long table the rows of the variable that the report is
// about; the file beside the report has them all.
func focused(s Source, t *Table) *Table {
	if !slices.Contains([]string{"table_reference", "table_change", "table_comparison", "table_centiles"}, t.Name) {
		return t
	}
	out := &Table{Name: t.Name, Title: t.Title, Stub: t.Stub, Columns: t.Columns}
	for _, r := range t.Rows {
		if strings.HasPrefix(r.Labels[0], Label(focus(s), "")) {
			out.Rows = append(out.Rows, r)
		}
	}
	if len(out.Rows) == 0 || len(out.Rows) == len(t.Rows) {
		return t
	}
	out.Notes = []string{fmt.Sprintf("Of %s; the other variables stand in %s.html.", Label(focus(s), ""), t.Name)}
	for _, n := range t.Notes {
		if sign, _, _ := strings.Cut(n, " "); !t.lettered(sign) || out.lettered(sign) {
			out.note(n)
		}
	}
	return out
}

// lettered reports a letter by which some row points at a note.
func (t *Table) lettered(sign string) bool {
	at := len(t.Columns) - 1
	if t.Columns[at] != "Notes" {
		return false
	}
	return slices.ContainsFunc(t.Rows, func(r Row) bool { return slices.Contains(strings.Fields(r.Cells[at]), sign) })
}
