package pipeline

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"tonocohort/schema"
)

// TestWriteManyPeople writes a sealed results folder with a table of as many
// invented people as TONOCOHORT_PEOPLE says into TONOCOHORT_FOLDER, through the
// writer of a run and no row held longer than its group: testdata/bench/many.sh makes
// statistics of it. It asserts nothing of its own.
func TestWriteManyPeople(t *testing.T) {
	n, err := strconv.Atoi(os.Getenv("TONOCOHORT_PEOPLE"))
	dir := os.Getenv("TONOCOHORT_FOLDER")
	if err != nil || dir == "" {
		t.Skip("TONOCOHORT_PEOPLE and TONOCOHORT_FOLDER say how many people, and where")
	}
	out := &output{dir: dir}
	defer out.close()
	if err := out.open(true); err != nil {
		t.Fatal(err)
	}
	settings := schema.DefaultSettings()
	settings.Study.ID = "invented"
	out.begin(settings, CurrentBuild("bench"), nil)
	carried := []schema.Column{
		{Name: "sex", Kind: schema.Category, Levels: []string{"female", "male"}},
		{Name: "age_years", Kind: schema.Number, Unit: "years"},
		{Name: "height_cm", Kind: schema.Number, Unit: "cm"},
		{Name: "smoker", Kind: schema.Category, Levels: []string{"never", "former", "current"}},
	}
	table, err := createTable(out.results, tablePath("subject_visits"), schema.SubjectVisitsTable(carried), out.tableMeta)
	if err != nil {
		t.Fatal(err)
	}
	defer table.abandon()
	random := rand.New(rand.NewPCG(20, 12))
	const portion = 1 << 14
	for from := 0; from < n; from += portion {
		if err := table.append(inventedPeople(table.table, random, from, min(n, from+portion))); err != nil {
			t.Fatal(err)
		}
	}
	sealed, err := table.seal()
	if err != nil {
		t.Fatal(err)
	}
	out.manifest.Outputs = append(out.manifest.Outputs, sealed)
	if err := out.write(schema.NewFrame(schema.FlowTable(), 0)); err != nil {
		t.Fatal(err)
	}
	now := time.Now()
	if err := out.seal(now, now, 1); err != nil {
		t.Fatal(err)
	}
}

// inventedPeople are the persons of some numbers; one in 50 has no central values.
func inventedPeople(table schema.Table, random *rand.Rand, from, to int) *schema.Frame {
	f := schema.NewFrame(table, to-from)
	pick := func(levels ...string) string { return levels[random.IntN(len(levels))] }
	round := func(v float64) float64 { return math.Round(v*100) / 100 }
	for i := from; i < to; i++ {
		row := f.AddRow()
		age := 18 + 70*random.Float64()
		for name, text := range map[string]string{
			"subject_id": fmt.Sprintf("p%09d", i), "visit_id": "v1", "status": "used", "quality": "usable", "calibration": "sbp_dbp", "central_method": "tube_constant",
			"sex": pick("female", "male"), "smoker": pick("never", "former", "current"),
		} {
			f.SetText(row, name, text)
		}
		dbp := round(72 + 9*random.NormFloat64())
		sbp := round(dbp + 35 + 0.4*(age-18) + 9*math.Abs(random.NormFloat64()))
		central := round(sbp - 6 - 8*random.Float64())
		numbers := map[string]float64{"age_years": round(age), "height_cm": round(170 + 9*random.NormFloat64()), "heart_rate_bpm": round(68 + 9*random.NormFloat64()),
			"brachial_sbp_mmhg": sbp, "brachial_dbp_mmhg": dbp, "brachial_map_mmhg": round(dbp + (sbp-dbp)/3), "brachial_pp_mmhg": sbp - dbp}
		if i%50 != 49 {
			for name, v := range map[string]float64{"central_sbp_mmhg": central, "central_dbp_mmhg": dbp, "central_pp_mmhg": central - dbp,
				"pp_amplification_ratio": (sbp - dbp) / (central - dbp), "augmentation_index_pct": round(10 + 0.3*age + 9*random.NormFloat64())} {
				numbers[name] = v
			}
		}
		for name, v := range numbers {
			f.SetNumber(row, name, v)
		}
	}
	return f
}
