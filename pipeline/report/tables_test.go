package report

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"

	"tonocohort/schema"
)

func invented() *Table {
	t := &Table{Name: "table_x", Title: `Levels <b>&</b> "more"`, Stub: []string{"Set", "Stratum"}, Columns: []string{"n", "Mean (SD)"}}
	t.add([]string{"all", "<script>alert(1)</script>"}, "12", Confidential)
	t.add([]string{"all", "a|b"}, NoValue, "3.1 (0.2)")
	t.add([]string{"healthy", "a"}, "10", "3.0 (0.2)")
	t.symbols()
	return t
}

// A level can be any text: in HTML it stays text, in Markdown it ends no cell.
func TestLevelsStayText(t *testing.T) {
	var page, text bytes.Buffer
	if err := invented().WriteHTML(&page); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(page.String(), "<script") || strings.Contains(page.String(), "<b>") {
		t.Error("a level became markup")
	}
	for _, wanted := range []string{`<html lang="en">`, "<caption", `scope="col"`, `scope="row"`, `scope="rowgroup"`, `tabindex="0"`, "default-src 'none'", "[c] confidential"} {
		if !strings.Contains(page.String(), wanted) {
			t.Errorf("the page lacks %s", wanted)
		}
	}
	if err := invented().WriteMarkdown(&text); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(text.String(), "\n")
	for _, line := range lines[2:7] {
		if n := strings.Count(strings.ReplaceAll(line, `\|`, ""), "|"); n != 5 {
			t.Errorf("%d cell borders in %q", n, line)
		}
	}
}

// Every row of the page has as many cells as the header has columns.
func TestPageIsRectangular(t *testing.T) {
	var page bytes.Buffer
	if err := invented().WriteHTML(&page); err != nil {
		t.Fatal(err)
	}
	decoder := xml.NewDecoder(&page)
	decoder.Strict = false
	decoder.AutoClose, decoder.Entity = xml.HTMLAutoClose, xml.HTMLEntity
	var widths []int
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		start, ok := token.(xml.StartElement)
		switch {
		case ok && start.Name.Local == "tr":
			widths = append(widths, 0)
		case ok && (start.Name.Local == "th" || start.Name.Local == "td"):
			width := 1
			for _, a := range start.Attr {
				if a.Name.Local == "colspan" {
					width = int(a.Value[0] - '0')
				}
			}
			widths[len(widths)-1] += width
		}
	}
	for i, w := range widths {
		if w != 3 {
			t.Errorf("row %d is %d cells wide, the header 3", i, w)
		}
	}
	if len(widths) != 6 {
		t.Errorf("%d rows", len(widths))
	}
}

// A hidden number, a missing one and zero are three different things.
func TestHiddenMissingAndZero(t *testing.T) {
	f := schema.NewFrame(schema.Released(schema.SummaryTable(nil)), 3)
	for _, c := range []struct {
		v    float64
		mark string
	}{{0, ""}, {math.NaN(), ""}, {math.NaN(), "all"}} {
		row := f.AddRow()
		f.SetNumber(row, "estimate", c.v)
		f.SetText(row, schema.Suppressed, c.mark)
	}
	s := style(t, "standard")
	for row, want := range []string{"0", NoValue, Confidential} {
		if got := cell(f, row, "estimate", s.Count); got != want {
			t.Errorf("row %d is %q, expected %q", row, got, want)
		}
	}
}

// Every value that a setting can take has a sentence of its own.
func TestMethodsFitTheSettings(t *testing.T) {
	write := func(change func(*schema.Settings)) string {
		s := schema.DefaultSettings()
		change(&s)
		var out bytes.Buffer
		if err := WriteMethods(&out, Source{Settings: s, Build: schema.Build{Program: "tonocohort", Version: "1"}}); err != nil {
			t.Fatal(err)
		}
		return out.String()
	}
	seen := map[string]string{}
	try := func(name string, change func(*schema.Settings)) {
		text := write(change)
		if strings.Contains(text, "Setting: ") {
			t.Errorf("%s has no words", name)
		}
		if other, twice := seen[text]; twice {
			t.Errorf("%s and %s read the same", name, other)
		}
		seen[text] = name
	}
	for _, rule := range schema.CuffRules {
		try("cuff "+rule, func(s *schema.Settings) { s.Cuff.Rule = rule })
	}
	for _, method := range schema.CentralMethods[1:] {
		try("central "+method, func(s *schema.Settings) { s.Central.Method = method })
	}
	for _, primary := range []string{"map_dbp", "as_recorded"} {
		try("calibration "+primary, func(s *schema.Settings) { s.Calibration.Primary = primary })
	}
	for _, rule := range []string{"cuff", "factor"} {
		try("map "+rule, func(s *schema.Settings) { s.Calibration.Map = rule })
	}
	for _, rule := range []string{"best", "first"} {
		try("replicates "+rule, func(s *schema.Settings) { s.Replicates.Rule = rule })
	}
	try("exclude", func(s *schema.Settings) { s.Protocol.OnDeparture = "exclude" })
	try("quality", func(s *schema.Settings) { s.Quality.MinGrade = "usable" })
	try("visit last", func(s *schema.Settings) { s.Analysis.Visit = "last" })
	try("visit all", func(s *schema.Settings) { s.Analysis.Visit = "all" })
	try("scheme", func(s *schema.Settings) { s.Analysis.Strata = []string{"bp_class"}; s.Analysis.BPScheme = "JNC7" })
	for _, kind := range schema.WeightKinds {
		try("weights "+kind, func(s *schema.Settings) { s.Analysis.Weights = schema.WeightSettings{Column: "w", Kind: kind} })
	}
	for _, rule := range schema.SinglePSURules {
		try("single unit "+rule, func(s *schema.Settings) {
			s.Analysis.Weights = schema.WeightSettings{Column: "w", Kind: "sampling", Stratum: "stratum", Cluster: "cluster", SinglePSU: rule}
		})
	}
	try("standardise", func(s *schema.Settings) { s.Analysis.Standardise.By = "age_band" })
	try("shares", func(s *schema.Settings) {
		s.Analysis.Standardise = schema.StandardSettings{By: "age_band", Shares: map[string]float64{"18-29": 1}}
	})
	try("equivalence", func(s *schema.Settings) { s.Analysis.Equivalence = map[string]float64{"central_pp_mmhg": 3} })
	try("quantile type", func(s *schema.Settings) { s.Analysis.QuantileType = 7 })
	try("zero", func(s *schema.Settings) { s.Disclosure.ZeroIsSmall = false })
	try("missing", func(s *schema.Settings) { s.Disclosure.MissingIsSmall = false })
	try("min_cell", func(s *schema.Settings) { s.Disclosure.MinCell = 5 })
	try("rounding", func(s *schema.Settings) { s.Disclosure.Rounding = 5 })
}
