package report

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"slices"
	"strings"
	"testing"

	"tonocohort/schema"
)

// released makes a released table of rows; a column that a row leaves out is empty.
func released(t schema.Table, rows ...map[string]any) *schema.Frame {
	f := schema.NewFrame(schema.Released(t), len(rows))
	for _, cells := range rows {
		row := f.AddRow()
		for i, c := range f.Table.Columns {
			switch v := cells[c.Name].(type) {
			case string:
				f.SetText(row, c.Name, v)
			case float64:
				f.SetNumber(row, c.Name, v)
			case int:
				f.SetNumber(row, c.Name, float64(v))
			case nil:
				if c.Kind != schema.Text && c.Kind != schema.Category {
					f.SetNumber(row, f.Table.Columns[i].Name, math.NaN())
				}
			}
		}
	}
	return f
}

// with is some cells and others.
func with(cells map[string]any, others ...any) map[string]any {
	out := map[string]any{}
	for k, v := range cells {
		out[k] = v
	}
	for i := 0; i < len(others); i += 2 {
		out[others[i].(string)] = others[i+1]
	}
	return out
}

// everything is a release with every part, whose names are all the given one.
func everything(name string) Source {
	s := Source{Settings: schema.DefaultSettings(), Build: schema.Build{Program: "tonocohort"}, Again: "tonocohort rerun RESULTS --study STUDY"}
	s.Settings.Study.ID, s.Settings.Study.Title = "x", name
	s.Settings.Analysis.Variables, s.Settings.Analysis.Strata = []string{"central_pp_mmhg"}, []string{"sex", name}
	s.Settings.Analysis.Models = []schema.Model{{Name: name, Outcome: "central_pp_mmhg", Terms: []schema.Term{{Column: "age_years"}, {Column: name}}}}
	base := map[string]any{"set": name, "variable": "central_pp_mmhg", "unit": "mmHg", "sex": "female", name: name, "n": 30, "n_missing": 2, "low": 35.0, "high": 45.0, "estimate": 40.0,
		"model": name, "published": name, "age_band": "30-39", "note": name, "choice": "calibration", "value": name, "comparison": "methods", "first": name, "second": name, "published_n": 50, "published_estimate": 39.0}
	var summary, characteristics, agreement []map[string]any
	for _, statistic := range []string{"n", "n_missing", "mean", "sd", "p10", "p90", "median"} {
		summary = append(summary, with(base, "statistic", statistic))
		characteristics = append(characteristics, with(base, "statistic", statistic))
	}
	characteristics = append(characteristics, with(base, "variable", name, "statistic", "n"), with(base, "variable", name, "statistic", "count_"+name), with(base, "variable", name, "statistic", "proportion_"+name))
	for _, statistic := range []string{"bias", "lower_limit", "upper_limit", "within_subject_sd", "icc_2_1"} {
		agreement = append(agreement, with(base, "statistic", statistic))
	}
	s.Frames = []*schema.Frame{
		released(schema.FlowTable(), map[string]any{"unit": "subjects", "stage": name, "order": 1, "in": 40, "out": 30, "reason": name, "n": 10}, map[string]any{"unit": "subjects", "stage": "set:" + name, "order": 2, "in": 30, "out": 30, "n": 0}),
		released(schema.CharacteristicsTable("sex"), characteristics...),
		released(schema.SummaryTable([]string{"sex", name}), summary...),
		released(schema.ChangeTable([]string{"sex", name}), with(base, "statistic", "mean_change", "from_visit", name, "to_visit", name, "method", name), with(base, "statistic", "n_persons", "from_visit", name, "to_visit", name)),
		released(schema.CentilesTable(), with(base, "statistic", "p50", "age_years", 20, "method", name), with(base, "statistic", "p50", "age_years", 30, "method", name)),
		released(schema.RegressionTable(), with(base, "term", name+"="+name, "statistic", "estimate"), with(base, "term", "age_years", "statistic", "estimate")),
		released(schema.ComparisonTable(), with(base, "statistic", "difference_of_means"), with(base, "statistic", "mean"), with(base, "statistic", "sd")),
		released(schema.AgreementTable(), agreement...),
		released(schema.SensitivityTable(), with(base, "choice", "primary", "term", "age_years"), with(base, "term", "age_years", "estimate", 41.0)),
		released(schema.UsedDeparturesTable(), with(base, "variable", name, "observations", 3)),
		released(schema.QualityTable(), with(base, "variable", name, "observations", 3)),
	}
	return s
}

// elements counts the elements of a page and gathers its text.
func elements(t *testing.T, page []byte) (names map[string]int, text string) {
	t.Helper()
	decoder := xml.NewDecoder(bytes.NewReader(page))
	decoder.Strict, decoder.AutoClose, decoder.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	names = map[string]int{}
	var b strings.Builder
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			return names, b.String()
		}
		if err != nil {
			t.Fatal(err)
		}
		switch token := token.(type) {
		case xml.StartElement:
			names[token.Name.Local]++
			for _, a := range token.Attr {
				if strings.HasPrefix(strings.ToLower(a.Name.Local), "on") {
					t.Errorf("an attribute %s=%q", a.Name.Local, a.Value)
				}
			}
		case xml.CharData:
			b.Write(token)
			b.WriteByte('\n')
		}
	}
}

// A name of a set, level, model, method or note is text, whatever it holds: the
// page has the same elements as with a harmless one, and the name can be read.
func TestNamesStayTextInTheReport(t *testing.T) {
	page := func(name string) []byte {
		var b bytes.Buffer
		if err := WriteReport(&b, everything(name), Tables(everything(name)), Figures(everything(name))); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	plain, text := elements(t, page("plainname"))
	for _, part := range parts() {
		if strings.Contains(text, part.absent) {
			t.Errorf("the source of this test lacks what the part %s shows", part.id)
		}
	}
	for _, name := range []string{`<script>alert(1)</script>`, `"><img src=x onerror=alert(1)>`, "=cmd|' /C calc'!A0", "\u202eolleh", "שלום", `</style><b>`, "{{.}}", "a\x00b"} {
		data := page(name)
		got, text := elements(t, data)
		for element, n := range plain {
			if element != "text" && element != "path" && got[element] != n { // a longer name takes more lines
				t.Errorf("%q: %d elements %s, %d with a plain name", name, got[element], element, n)
			}
		}
		for element := range got {
			if plain[element] == 0 {
				t.Errorf("%q: an element %s", name, element)
			}
		}
		if bytes.ContainsAny(data, "\u202e\x00") {
			t.Errorf("%q: a mark of direction or control stands in the page", name)
		}
		shown := strings.NewReplacer("\u202e", "", "\x00", " ").Replace(name)
		if n := strings.Count(text, shown); n < 5 {
			t.Errorf("%q is readable %d times", name, n)
		}
	}
}

// A part of which nothing was released says so in a sentence; none is a heading
// alone, and no figure or table is drawn of nothing.
func TestAbsentPartsSayWhy(t *testing.T) {
	hidden := everything("name")
	for _, f := range hidden.Frames {
		for row := range f.N {
			for _, c := range f.Table.Columns {
				if slices.Contains([]string{"estimate", "low", "high", "n", "n_missing", "in", "out", "observations", "published_estimate"}, c.Name) {
					f.SetNumber(row, c.Name, math.NaN())
				}
			}
			f.SetText(row, schema.Suppressed, "all")
		}
	}
	sources := map[string]Source{"nothing released": {Settings: schema.DefaultSettings()}, "everything hidden": hidden}
	for i, f := range everything("name").Frames {
		s := everything("name")
		s.Frames = slices.Delete(s.Frames, i, i+1)
		sources["without "+f.Table.Name] = s
	}
	for name, s := range sources {
		for _, sec := range sections(s, Tables(s), Figures(s)) {
			if len(sec.Paragraphs)+len(sec.List)+len(sec.Tables)+len(sec.Drawings) == 0 {
				t.Errorf("%s: the part %q is empty", name, sec.Title)
			}
			for _, table := range sec.Tables {
				if len(table.Rows) == 0 {
					t.Errorf("%s: the table %s has no row", name, table.Name)
				}
			}
		}
	}
	// What the hidden numbers were stands nowhere.
	var b bytes.Buffer
	if err := WriteReport(&b, hidden, Tables(hidden), Figures(hidden)); err != nil {
		t.Fatal(err)
	}
	for _, d := range Figures(hidden) {
		if kind, _, _ := strings.Cut(d.Name, "_"); kind != "flow" {
			t.Errorf("%s is drawn of hidden numbers alone", d.Name)
		}
	}
	if _, text := elements(t, b.Bytes()); strings.Contains(text, "40.0") || !strings.Contains(text, Confidential) {
		t.Error("a hidden number is shown, or none is marked as hidden")
	}
	for _, p := range parts() {
		var b bytes.Buffer
		if err := WriteReport(&b, Source{Settings: schema.DefaultSettings()}, nil, nil); err != nil {
			t.Fatal(err)
		}
		if _, text := elements(t, b.Bytes()); !strings.Contains(text, p.absent) {
			t.Errorf("the part %s does not say why it is absent", p.id)
		}
	}
}
