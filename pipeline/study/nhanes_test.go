package study

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"tonocohort/schema"
	"tonocohort/testdata"
)

const nhanesSettings = `format: 1
study: {id: nhanes-2021}
tables: {subjects: subjects.csv, visits: visits.csv, cuff: cuff.csv, recordings: recordings.csv}
covariates:
  - {name: published_bmi, in: subjects, type: number, unit: kg/m2}
  - {name: drinks, in: visits, type: number}
recode:
  sex: {Male: male, Female: female}
  height_cm: {NA: ""}
  weight_kg: {NA: ""}
  published_bmi: {NA: ""}
  drinks: {NA: ""}
  sbp_mmhg: {NA: ""}
  dbp_mmhg: {NA: ""}
  pulse_bpm: {NA: ""}
derive: [bmi_kg_m2]
analysis: {variables: [brachial_sbp_mmhg], models: []}
`

// readTable returns the rows of a text table with a header as maps.
func readTable(t testing.TB, path string, delimiter rune) []map[string]string {
	t.Helper()
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comma = delimiter
	rows, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var table []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, cell := range row {
			m[rows[0][i]] = cell
		}
		table = append(table, m)
	}
	return table
}

// nhanesStudy writes the survey as a study folder.
func nhanesStudy(rows []map[string]string) folder {
	var subjects, visits, cuff strings.Builder
	subjects.WriteString("subject_id,sex,height_cm,weight_kg,published_bmi,sampling_weight\n")
	visits.WriteString("subject_id,visit_id,age_years,drinks\n")
	cuff.WriteString("subject_id,visit_id,reading,sbp_mmhg,dbp_mmhg,pulse_bpm\n")
	for _, r := range rows {
		fmt.Fprintf(&subjects, "%s,%s,%s,%s,%s,%s\n", r["SEQN"], r["Sex"], r["HeightCm"], r["WeightKg"], r["BMI"], r["SamplingWeight"])
		fmt.Fprintf(&visits, "%s,2021,%s,%s\n", r["SEQN"], r["Age"], r["DrinksPerDay"])
		for k := 1; k <= 3; k++ {
			fmt.Fprintf(&cuff, "%s,2021,%d,%s,%s,%s\n", r["SEQN"], k, r[fmt.Sprintf("SysBP%d", k)], r[fmt.Sprintf("DiaBP%d", k)], r[fmt.Sprintf("Pulse%d", k)])
		}
	}
	return folder{"study.yaml": nhanesSettings, "subjects.csv": subjects.String(), "visits.csv": visits.String(), "cuff.csv": cuff.String(),
		"recordings.csv": "recording_id,subject_id,visit_id,file,format\n"}
}

// A real survey (NHANES 2021-2023, public domain): body mass index as the
// survey published it, and the means of three readings as R 4.2.2 has them.
func TestNHANES(t *testing.T) {
	survey := testdata.External(t, "data/cohort_tables/nhanes_2021_2023.tsv")
	means := readTable(t, testdata.External(t, "data/cohort_tables/ref/nhanes_2021_2023_adults.csv"), ',')
	rows := readTable(t, survey, '\t')
	s := Load(nhanesStudy(rows), Options{})
	if schema.AnyStructural(s.Issues) || len(s.Subjects) != len(rows) {
		t.Fatalf("%d persons of %d\n%s", len(s.Subjects), len(rows), allIssues(s.Issues[:min(len(s.Issues), 10)]))
	}
	checkCounts(t, s)
	for _, g := range Group(s.Issues) {
		t.Log(g)
	}
	bmi := slices.IndexFunc(s.Carried, func(c schema.Column) bool { return c.Name == "bmi_kg_m2" })
	published := slices.IndexFunc(s.Carried, func(c schema.Column) bool { return c.Name == "published_bmi" })
	compared := 0
	for _, p := range s.Subjects {
		cells := p.Visits[0].Cells
		if v := cells[bmi].Number; !math.IsNaN(v) && !math.IsNaN(cells[published].Number) {
			near(t, p.ID+" body mass index", v, cells[published].Number, 0.0501) // printed to one digit
			compared++
		}
	}
	if compared < 6000 {
		t.Errorf("only %d body mass indices compared", compared)
	}
	compareMeans(t, s, means)
}

func compareMeans(t *testing.T, s *Study, means []map[string]string) {
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	compared := 0
	for _, m := range means {
		i, ok := slices.BinarySearchFunc(s.Subjects, m["SEQN"], func(p Subject, id string) int { return strings.Compare(p.ID, id) })
		if !ok {
			t.Fatalf("%s is absent", m["SEQN"])
		}
		readings := s.Subjects[i].Visits[0].Cuff
		if len(readings) < 3 {
			continue // a reading out of our range; counted below
		}
		got, err := CombineCuff(readings, "all")
		if err != nil {
			t.Fatal(err)
		}
		near(t, m["SEQN"]+" systolic", got.SBP, number(m["sbp"]), 1e-9)
		near(t, m["SEQN"]+" diastolic", got.DBP, number(m["dbp"]), 1e-9)
		compared++
	}
	if compared < len(means)*99/100 {
		t.Errorf("%d of %d means compared", compared, len(means))
	}
}
