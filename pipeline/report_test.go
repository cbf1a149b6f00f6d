package pipeline_test

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"tonocohort/pipeline"
)

// csvRow is a row of a released CSV by column.
type csvRow map[string]string

func releasedRecords(t *testing.T, results, name string) []csvRow {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(results, "release", name+".csv"))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var list []csvRow
	for _, row := range rows[1:] {
		r := csvRow{}
		for i, name := range rows[0] {
			r[name] = row[i]
		}
		list = append(list, r)
	}
	return list
}

// one finds the row with these cells, given as column=text, nil where there is none.
func one(t *testing.T, list []csvRow, cells ...string) csvRow {
	t.Helper()
	var found csvRow
	for _, r := range list {
		fits := true
		for _, c := range cells {
			column, text, _ := strings.Cut(c, "=")
			fits = fits && r[column] == text
		}
		if fits {
			if found != nil && found["estimate"] != r["estimate"] {
				t.Fatalf("several rows with %v", cells)
			}
			found = r
		}
	}
	return found
}

// shownTable is a table of the report as it stands there.
type shownTable struct {
	heads []string
	rows  []shownRow
}

type shownRow struct {
	group  string
	labels []string
	cells  []string
}

// cell is what stands under a header.
func (r shownRow) cell(t shownTable, head string) string {
	for i, h := range t.heads {
		if at := i - len(r.labels); h == head && at >= 0 {
			return r.cells[at]
		}
	}
	return ""
}

// shownTables reads the tables of a page by the id of their caption.
func shownTables(t *testing.T, page []byte) map[string]*shownTable {
	t.Helper()
	decoder := xml.NewDecoder(bytes.NewReader(page))
	decoder.Strict, decoder.AutoClose, decoder.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	tables := map[string]*shownTable{}
	var now *shownTable
	var text strings.Builder
	group, kind, scope := "", "", ""
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			return tables
		}
		if err != nil {
			t.Fatal(err)
		}
		switch token := token.(type) {
		case xml.StartElement:
			if token.Name.Local == "span" { // a piece of a cell
				continue
			}
			kind = token.Name.Local
			text.Reset()
			scope = ""
			for _, a := range token.Attr {
				switch {
				case kind == "caption" && a.Name.Local == "id":
					now = &shownTable{}
					tables[a.Value] = now
				case kind == "th" && a.Name.Local == "scope":
					scope = a.Value
				}
			}
			if kind == "tr" && now != nil {
				now.rows = append(now.rows, shownRow{group: group})
			}
		case xml.CharData:
			text.Write(token)
		case xml.EndElement:
			if now == nil || len(now.rows) == 0 {
				continue
			}
			row := &now.rows[len(now.rows)-1]
			switch {
			case token.Name.Local == "th" && scope == "col":
				now.heads = append(now.heads, text.String())
			case token.Name.Local == "th" && scope == "rowgroup":
				group = text.String()
			case token.Name.Local == "th":
				row.labels = append(row.labels, strings.TrimSpace(text.String()))
			case token.Name.Local == "td":
				row.cells = append(row.cells, text.String())
			}
		}
	}
}

var written = regexp.MustCompile(`−?[0-9]+(\.[0-9]+)?`)

// agrees reports whether a text holds these numbers of released cells, in their
// order, each rounded to the decimals that are shown; an empty cell is no number.
func agrees(shown string, released ...string) bool {
	var present []float64
	for _, r := range released {
		if r == "" {
			continue
		}
		v, err := strconv.ParseFloat(r, 64)
		if err != nil {
			return false
		}
		present = append(present, v)
	}
	texts := written.FindAllString(shown, -1)
	if len(texts) != len(present) {
		return false
	}
	for i, text := range texts {
		v, err := strconv.ParseFloat(strings.Replace(text, "−", "-", 1), 64)
		_, fraction, _ := strings.Cut(text, ".")
		if err != nil || math.Abs(v-present[i]) > 0.5000001*math.Pow10(-len(fraction)) {
			return false
		}
	}
	return true
}

// Each number of the report's tables is that of the released cell it names, and a
// cell without one shows none.
func TestReportShowsReleasedCells(t *testing.T) {
	results := filepath.Join(demoDir(t), "results")
	page, err := os.ReadFile(filepath.Join(results, "release", "report.html"))
	if err != nil {
		t.Fatal(err)
	}
	tables := shownTables(t, page)
	checked := map[string]int{}
	expect := func(table string, row shownRow, head, shown string, released ...string) {
		if checked[table]++; !agrees(shown, released...) {
			t.Errorf("%s, %s %v, %s: shown %q, released %q", table, row.group, row.labels, head, shown, released)
		}
	}
	of := func(r csvRow, column string) string {
		if r == nil {
			return ""
		}
		return r[column]
	}

	summary := releasedRecords(t, results, "summary")
	shown := tables["table_reference"]
	for _, row := range shown.rows {
		if len(row.cells) == 0 {
			continue
		}
		name, set, _ := strings.Cut(row.group, " · ")
		if name != "Central PP, mmHg" {
			t.Fatalf("rows of %q", row.group)
		}
		find := func(statistic string) csvRow {
			return one(t, summary, "set="+set, "variable=central_pp_mmhg", "statistic="+statistic, "sex="+row.labels[0], "age_band="+row.labels[1])
		}
		for head, statistic := range map[string]string{"n": "n", "P5": "p5", "P10": "p10", "P25": "p25", "Median": "median", "P75": "p75", "P90": "p90", "P95": "p95"} {
			expect("reference", row, head, row.cell(*shown, head), of(find(statistic), "estimate"))
		}
		spread := of(find("sd"), "estimate")
		if of(find("mean"), "estimate") == "" {
			spread = ""
		}
		expect("reference", row, "Mean (SD)", row.cell(*shown, "Mean (SD)"), of(find("mean"), "estimate"), spread)
	}

	regression := releasedRecords(t, results, "regression")
	shown = tables["table_models"]
	terms := map[string]string{"Age, years": "age_years", "Sex: male": "sex=male", "Height, cm": "height_cm", "Heart rate, 1/min": "heart_rate_bpm", "Brachial mean pressure, mmHg": "brachial_map_mmhg", "Intercept": "intercept", "Glucose, mmol/L": "glucose_mmol_l"}
	for _, row := range shown.rows {
		if len(row.cells) == 0 {
			continue
		}
		name, set, _ := strings.Cut(row.group, " · ")
		variable := map[string]string{"Central PP, mmHg": "central_pp_mmhg", "Brachial PP, mmHg": "brachial_pp_mmhg"}[name]
		for _, model := range shown.heads[1:] {
			find := func(term, statistic string) csvRow {
				return one(t, regression, "set="+set, "variable="+variable, "model="+model, "term="+term, "statistic="+statistic)
			}
			text := row.cell(*shown, model)
			switch label := row.labels[0]; {
			case terms[label] != "":
				coefficient, p := find(terms[label], "estimate"), find(terms[label], "p_value")
				if value, probability, both := strings.Cut(text, "; P "); both {
					text = value
					if strings.HasPrefix(probability, "<") {
						if v, err := strconv.ParseFloat(of(p, "estimate"), 64); err != nil || v >= 0.001 {
							t.Errorf("P %s of %q", probability, of(p, "estimate"))
						}
					} else {
						expect("models", row, model, probability, of(p, "estimate"))
					}
				} else if of(coefficient, "estimate") != "" && of(p, "estimate") != "" {
					t.Errorf("models, %v, %s: no P", row.labels, model)
				}
				expect("models", row, model, text, of(coefficient, "estimate"), of(coefficient, "low"), of(coefficient, "high"))
			case label == "n":
				expect("models", row, model, text, of(find("", "rank"), "n"))
			case label == "R²":
				expect("models", row, model, text, of(find("", "r_squared"), "estimate"))
			case label == "Residual SD":
				expect("models", row, model, text, of(find("", "residual_sd"), "estimate"))
			}
		}
	}

	comparison := releasedRecords(t, results, "comparison")
	shown = tables["table_comparison"]
	for _, row := range shown.rows {
		if len(row.cells) == 0 {
			continue
		}
		at := strings.Split(row.group, " · ")
		find := func(statistic string) csvRow {
			return one(t, comparison, "set="+at[2], "variable=central_pp_mmhg", "published="+at[1], "statistic="+statistic, "sex="+row.labels[0], "age_band="+row.labels[1])
		}
		difference := find("difference_of_means")
		if row.labels[1] == "all" {
			difference = find("mean_difference_over_strata")
		}
		expect("comparison", row, "n here", row.cell(*shown, "n here"), of(difference, "n"))
		expect("comparison", row, "difference", row.cell(*shown, "Difference of means (95 % CI)"), of(difference, "estimate"), of(difference, "low"), of(difference, "high"))
		expect("comparison", row, "published", row.cell(*shown, "Mean (SD) published"), of(find("mean"), "published_estimate"), of(find("sd"), "published_estimate"))
	}

	agreement := releasedRecords(t, results, "agreement")
	shown = tables["table_agreement"]
	for _, row := range shown.rows {
		variable := map[string]string{"Central SBP, mmHg": "central_sbp_mmhg", "Central PP, mmHg": "central_pp_mmhg"}[row.group]
		if len(row.cells) == 0 || variable == "" || row.labels[0] != "Two recordings of a visit" {
			continue
		}
		find := func(statistic string) csvRow {
			return one(t, agreement, "variable="+variable, "comparison=replicates", "statistic="+statistic)
		}
		for head, statistic := range map[string]string{"Mean difference (95 % CI)": "bias", "Within-person SD (95 % CI)": "within_subject_sd", "ICC(2,1) (95 % CI)": "icc_2_1"} {
			r := find(statistic)
			expect("agreement", row, head, row.cell(*shown, head), of(r, "estimate"), of(r, "low"), of(r, "high"))
		}
		expect("agreement", row, "limits", row.cell(*shown, "Limits of agreement"), of(find("lower_limit"), "estimate"), of(find("upper_limit"), "estimate"))
	}

	conductCells(t, results, tables, expect)

	// What the figures write beside their marks is what the tables have.
	for _, row := range tables["table_comparison"].rows {
		if len(row.cells) > 0 && !bytes.Contains(page, []byte(">"+row.cell(*tables["table_comparison"], "Difference of means (95 % CI)")+"</text>")) {
			t.Errorf("the figure of the comparison lacks %v", row)
		}
	}
	for table, least := range map[string]int{"reference": 100, "models": 30, "comparison": 20, "agreement": 8, "participants": 300, "flow": 25, "centiles": 70, "sensitivity": 12, "departures": 30, "quality": 6} {
		if checked[table] < least {
			t.Errorf("%d cells of %s were held to the release, fewer than %d", checked[table], table, least)
		}
	}
}

// conductCells holds who was measured, the flow, centiles, sensitivity, departures
// and quality to the release.
func conductCells(t *testing.T, results string, tables map[string]*shownTable, expect func(table string, row shownRow, head, shown string, released ...string)) {
	t.Helper()
	hold := func(table string, row shownRow, head string, r csvRow, columns ...string) {
		released := make([]string, len(columns))
		for i, column := range columns {
			released[i] = r[column]
		}
		expect(table, row, head, row.cell(*tables["table_"+table], head), released...)
	}
	characteristics := releasedRecords(t, results, "characteristics")
	variables := map[string]string{"Age, years": "age_years", "Height, cm": "height_cm", "Weight, kg": "weight_kg", "Central PP, mmHg": "central_pp_mmhg", "Central SBP, mmHg": "central_sbp_mmhg",
		"Brachial PP, mmHg": "brachial_pp_mmhg", "Heart rate, 1/min": "heart_rate_bpm", "Centre": "centre", "Blood-pressure-lowering treatment": "treated", "Posture": "posture", "Smoker": "smoker", "Diabetes": "diabetes",
		"Glucose, mmol/L": "glucose_mmol_l", "Body mass index, kg/m2": "bmi_kg_m2", "Body surface area, m2": "bsa_m2", "Brachial SBP, mmHg": "brachial_sbp_mmhg", "Brachial DBP, mmHg": "brachial_dbp_mmhg", "Brachial mean pressure, mmHg": "brachial_map_mmhg",
		"Creatinine, mg/dL": "creatinine_mg_dl", "Augmentation index, %": "augmentation_index_pct", "PP amplification (brachial/central)": "pp_amplification_ratio", "Estimated GFR (CKD-EPI 2021), mL/min/1.73m2": "egfr_ckdepi2021"}
	variable := ""
	for _, row := range tables["table_participants"].rows {
		if len(row.cells) == 0 {
			continue
		}
		label := row.labels[0]
		name, mean := strings.CutSuffix(label, ", mean (SD)")
		name, counted := strings.CutSuffix(name, ", n (%)")
		switch {
		case mean || counted:
			if variable = variables[name]; variable == "" {
				t.Errorf("no column is known for %q", name)
			}
			if counted {
				continue
			}
		case label == "People, n":
			continue
		case strings.Contains(label, "["): // a median
			variable = ""
		}
		if variable == "" {
			continue
		}
		for head, sex := range map[string]string{"All": "all", "Female": "female", "Male": "male"} {
			find := func(statistic string) string {
				return one(t, characteristics, "set="+row.group, "variable="+variable, "statistic="+statistic, "sex="+sex)["estimate"]
			}
			shown := row.cell(*tables["table_participants"], head)
			switch {
			case mean && find("mean") == "":
				expect("participants", row, head, shown)
			case mean:
				expect("participants", row, head, shown, find("mean"), find("sd"))
			case label == "with / without a value, n":
				expect("participants", row, head, shown, find("n"), find("n_missing"))
			case find("count_"+label) == "":
				expect("participants", row, head, shown)
			default:
				share, err := strconv.ParseFloat(find("proportion_"+label), 64)
				if err != nil {
					t.Errorf("participants, %v: %q has no share", row.labels, shown)
				}
				expect("participants", row, head, shown, find("count_"+label), strconv.FormatFloat(100*share, 'g', -1, 64))
			}
		}
	}

	flow := releasedRecords(t, results, "flow")
	at := 0
	for _, row := range tables["table_flow"].rows {
		if len(row.cells) == 0 {
			continue
		}
		r := flow[at]
		if row.group != strings.ReplaceAll(r["unit"], "_", " ") {
			t.Fatalf("a row of %s where the release has one of %s", row.group, r["unit"])
		}
		hold("flow", row, "Left", r, "n")
		if row.labels[0] != "" {
			hold("flow", row, "In", r, "in")
			hold("flow", row, "Out", r, "out")
		}
		at++
	}
	if at != len(flow) {
		t.Errorf("%d rows of the flow are shown of %d", at, len(flow))
	}

	centiles := releasedRecords(t, results, "centiles")
	for _, row := range tables["table_centiles"].rows {
		if len(row.cells) == 0 {
			continue
		}
		_, set, _ := strings.Cut(row.group, " · ")
		for head, statistic := range map[string]string{"P5": "p5", "P10": "p10", "P25": "p25", "P75": "p75", "P90": "p90", "P95": "p95"} {
			hold("centiles", row, head, one(t, centiles, "set="+set, "variable=central_pp_mmhg", "sex="+row.labels[0], "age_years="+row.labels[1], "statistic="+statistic), "estimate")
		}
		hold("centiles", row, "P50 (95 % CI)", one(t, centiles, "set="+set, "variable=central_pp_mmhg", "sex="+row.labels[0], "age_years="+row.labels[1], "statistic=p50"), "estimate", "low", "high")
	}

	sensitivity := releasedRecords(t, results, "sensitivity")
	at = 0
	for _, row := range tables["table_sensitivity"].rows {
		if len(row.cells) == 0 {
			continue
		}
		r := sensitivity[at]
		hold("sensitivity", row, "n", r, "n")
		hold("sensitivity", row, "Coefficient (95 % CI)", r, "estimate", "low", "high")
		if r["choice"] != "primary" {
			hold("sensitivity", row, "Moves by", r, "shift")
			hold("sensitivity", row, "in standard errors", r, "shift_in_se")
		}
		at++
	}

	for table, heads := range map[string][3]string{"departures": {"Answered", "Not answered", "Departed"}, "quality": {"Graded", "Not graded", "Of this grade"}} {
		records := releasedRecords(t, results, table)
		at = 0
		for _, row := range tables["table_"+table].rows {
			if len(row.cells) == 0 {
				continue
			}
			r := records[at]
			hold(table, row, heads[0], r, "n")
			hold(table, row, heads[1], r, "n_missing")
			hold(table, row, heads[2], r, "observations")
			shares := csvRow{}
			for _, column := range []string{"estimate", "low", "high"} {
				if v, err := strconv.ParseFloat(r[column], 64); err == nil {
					shares[column] = strconv.FormatFloat(100*v, 'g', -1, 64)
				}
			}
			hold(table, row, map[string]string{"departures": "% of answered (95 % CI)", "quality": "% of graded (95 % CI)"}[table], shares, "estimate", "low", "high")
			at++
		}
		if at != len(records) {
			t.Errorf("%d rows of %s are shown of %d", at, table, len(records))
		}
	}
}

// STROBE item 13: at every stage those who came in are those who left and those
// who went on, and who went on comes into the next stage (von Elm 2007).
func TestFlowOfTheReportAddsUp(t *testing.T) {
	page, err := os.ReadFile(filepath.Join(demoDir(t), "results", "release", "report.html"))
	if err != nil {
		t.Fatal(err)
	}
	table := shownTables(t, page)["table_flow"]
	stages := 0
	in, out, left := math.NaN(), math.NaN(), 0.0
	unit, stage := "", ""
	number := func(text string) float64 {
		v, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return math.NaN()
		}
		return v
	}
	end := func() {
		if !math.IsNaN(in) {
			if stages++; in != left+out {
				t.Errorf("%s, %s: %g came in, %g left, %g went on", unit, stage, in, left, out)
			}
		}
	}
	before := math.NaN()
	for _, row := range table.rows {
		if len(row.cells) == 0 {
			continue
		}
		if text := row.cell(*table, "In"); text != "" {
			end()
			if row.group != unit {
				before = math.NaN()
			} else if !strings.HasPrefix(stage, "analysis set") {
				before = out
			}
			unit, stage, left = row.group, row.labels[0], 0
			in, out = number(text), number(row.cell(*table, "Out"))
			if !math.IsNaN(before) && in != before {
				t.Errorf("%s, %s: %g come in, %g went on before", unit, stage, in, before)
			}
		}
		left += number(row.cell(*table, "Left"))
	}
	end()
	if stages < 6 {
		t.Errorf("%d stages", stages)
	}
}

// Figures of single persons stand with the restricted tables, say so in the
// picture and in the file, name nobody, and show as many as the table counts.
func TestPersonFiguresStayWithTheStudy(t *testing.T) {
	results := filepath.Join(demoDir(t), "results")
	m, err := pipeline.ReadManifest(results)
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, out := range m.Outputs {
		figure := strings.HasSuffix(out.Path, ".svg")
		private := strings.HasPrefix(out.Path, "tables/figures/")
		if figure && private != out.Restricted {
			t.Errorf("%s: restricted %v", out.Path, out.Restricted)
		}
		if !figure {
			continue
		}
		data, err := os.ReadFile(filepath.Join(results, out.Path))
		if err != nil {
			t.Fatal(err)
		}
		if marks := bytes.Count(data, []byte("RESTRICTED: shows single persons")); private != (marks == 2) || !private && marks > 0 {
			t.Errorf("%s carries the mark %d times", out.Path, marks)
		}
		if bytes.Contains(data, []byte("TQ0")) {
			t.Errorf("%s names a person", out.Path)
		}
		if private {
			seen++
		}
	}
	if seen < 4 {
		t.Errorf("%d figures of single persons", seen)
	}
	// The scatter over age shows everybody whom the table counts, by sign and name.
	scatter, err := os.ReadFile(filepath.Join(results, "tables", "figures", "age_central_pp_mmhg.svg"))
	if err != nil {
		t.Fatal(err)
	}
	visits, met, people, women := table(t, results, "subject_visits"), map[string]bool{}, 0, 0
	for row := range visits.N {
		id := visits.TextAt(row, "subject_id")
		if met[id] || visits.TextAt(row, "status") != "used" {
			continue
		}
		met[id] = true
		if visits.Missing(row, "age_years") || visits.Missing(row, "central_pp_mmhg") {
			continue
		}
		people++
		if visits.TextAt(row, "sex") == "female" {
			women++
		}
	}
	if signs := bytes.Count(scatter, []byte("<circle")); signs != women+1 || women == 0 {
		t.Errorf("%d circles, one of them in the legend, of %d women", signs, women)
	}
	for _, want := range []string{fmt.Sprintf("n = %d persons", people), fmt.Sprintf("Female, n = %d", women), "50 mmHg: outcome threshold, not a reference limit"} {
		if !bytes.Contains(scatter, []byte(want)) {
			t.Errorf("the scatter over age does not say %q", want)
		}
	}
	agreement := table(t, results, "agreement")
	for row := range agreement.N {
		if agreement.TextAt(row, "variable") != "central_pp_mmhg" || agreement.TextAt(row, "comparison") != "replicates" || agreement.TextAt(row, "statistic") != "bias" {
			continue
		}
		data, err := os.ReadFile(filepath.Join(results, "tables", "figures", "replicates_central_pp_mmhg.svg"))
		if err != nil {
			t.Fatal(err)
		}
		if n := bytes.Count(data, []byte("<circle")); float64(n) != agreement.Number(row, "n") {
			t.Errorf("%d points of %g persons", n, agreement.Number(row, "n"))
		}
	}
}

// Figures of single persons are drawn again on request alone, into a folder of their
// own, as the run drew them.
func TestRestrictedFiguresStayApart(t *testing.T) {
	results, out := filepath.Join(demoDir(t), "results"), t.TempDir()
	draw := func(restricted bool) []string {
		names, err := pipeline.DrawFigures(t.Context(), results, out, pipeline.FigureOptions{Form: pipeline.FigureSVG, Restricted: restricted})
		if err != nil {
			t.Fatal(err)
		}
		return names
	}
	released, all := draw(false), draw(true)
	mine, err := filepath.Glob(filepath.Join(results, "tables", "figures", "*.svg"))
	if err != nil || len(mine) < 4 || len(all) != len(released)+len(mine) {
		t.Fatalf("%d figures, %d without those of single persons, %d of these (%v)", len(all), len(released), len(mine), err)
	}
	for _, name := range released {
		if strings.Contains(name, pipeline.RestrictedFigures) {
			t.Errorf("%s was not asked for", name)
		}
	}
	for _, file := range mine {
		want, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		got, err := os.ReadFile(filepath.Join(out, pipeline.RestrictedFigures, filepath.Base(file)))
		if err != nil || !bytes.Equal(got, want) {
			t.Errorf("%s is drawn otherwise than the run drew it (%v)", filepath.Base(file), err)
		}
	}
	_, err = pipeline.DrawFigures(t.Context(), results, out, pipeline.FigureOptions{Form: pipeline.FigureSVG, Names: []string{"age_central_pp_mmhg"}})
	var unknown *pipeline.UnknownNameError
	if !errors.As(err, &unknown) {
		t.Errorf("without the request: %v", err)
	}
}
