package pipeline_test

import (
	"bytes"
	"context"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"tonocohort/pipeline"
	"tonocohort/pipeline/parquet"
	"tonocohort/pipeline/simulate"
	"tonocohort/schema"
)

// demo is the cohort of the README's first command, simulated and run once for
// all tests of this package.
var demo = sync.OnceValues(func() (string, error) {
	demoWanted.Store(true)
	dir, err := os.MkdirTemp("", "tonocohort-demo")
	if err != nil {
		return "", err
	}
	err = simulate.Write(filepath.Join(dir, "study"), filepath.Join(dir, "truth.csv"), simulate.Options{Subjects: 600, Seed: "quay"})
	if err == nil {
		_, err = pipeline.Run(context.Background(), filepath.Join(dir, "study"), filepath.Join(dir, "results"), pipeline.Options{Jobs: 1})
	}
	return dir, err
})

var demoWanted atomic.Bool // so that a test of something else does not wait for it

func TestMain(m *testing.M) {
	status := m.Run()
	if demoWanted.Load() {
		if dir, err := demo(); err == nil {
			os.RemoveAll(dir)
		}
	}
	os.Exit(status)
}

func demoDir(t testing.TB) string {
	t.Helper()
	dir, err := demo()
	if err != nil {
		t.Fatal(err)
	}
	return dir
}

func table(t testing.TB, results, name string) *schema.Frame {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(results, "tables", name+".parquet"))
	if err != nil {
		t.Fatal(err)
	}
	f, err := parquet.ReadAny(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// A release is of use where the cells of its first set stand: of those of sex and
// decade with 20 people or more all but one for each sex, which keep the four
// people of unknown age from being counted and averaged as what the totals leave.
func TestDemoReleasesItsFirstSet(t *testing.T) {
	results := filepath.Join(demoDir(t), "results")
	data, err := os.ReadFile(filepath.Join(results, "release", "summary.parquet"))
	if err != nil {
		t.Fatal(err)
	}
	released, err := parquet.ReadAny(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	key := func(f *schema.Frame, row int) string {
		return strings.Join([]string{f.TextAt(row, "set"), f.TextAt(row, "variable"), f.TextAt(row, "sex"), f.TextAt(row, "age_band")}, "/")
	}
	stand := map[string]int{}
	for row := range released.N {
		if slices.Contains([]string{"n", "mean", "sd", "median"}, released.TextAt(row, "statistic")) && !released.Missing(row, "estimate") {
			stand[key(released, row)]++
		}
	}
	shown, hidden := map[string]int{}, map[string]int{}
	full := table(t, results, "summary")
	for row := range full.N {
		if full.TextAt(row, "statistic") != "n" || full.TextAt(row, "set") != "all" || full.TextAt(row, "sex") == "all" || full.TextAt(row, "age_band") == "all" || full.Number(row, "estimate") < 20 {
			continue
		}
		if variable := full.TextAt(row, "variable"); stand[key(full, row)] == 4 {
			shown[variable]++
		} else {
			hidden[variable]++
		}
	}
	if len(shown) < 5 {
		t.Errorf("cells of %d variables are shown", len(shown))
	}
	for variable, n := range hidden {
		if n > 2 {
			t.Errorf("%s: %d cells are hidden, %d shown", variable, n, shown[variable])
		}
	}
}

// Each stratum of the demo's healthy set against McEniery 2005 (J Am Coll
// Cardiol 46:1753-60, Table 1): central PP within 5 mmHg, amplification within
// 0.15. The cell that the transcription has as 56 is suspect and left out.
func TestDemoMatchesThePublishedTable(t *testing.T) {
	f := table(t, filepath.Join(demoDir(t), "results"), "comparison")
	limits := map[string]float64{"central_pp_mmhg": 5, "pp_amplification_ratio": 0.15}
	compared := 0
	for row := range f.N {
		limit, wanted := limits[f.TextAt(row, "variable")]
		if !wanted || f.TextAt(row, "statistic") != "difference_of_means" || f.TextAt(row, "set") != "healthy" {
			continue
		}
		if f.Number(row, "n") == 0 || strings.Contains(f.TextAt(row, "note"), "suspect") {
			continue
		}
		compared++
		if d := f.Number(row, "estimate"); !(math.Abs(d) <= limit) {
			t.Errorf("%s of %s %s: %.2f from the published mean", f.TextAt(row, "variable"), f.TextAt(row, "sex"), f.TextAt(row, "age_band"), d)
		}
	}
	if compared != 27 {
		t.Errorf("%d strata compared, expected 7 decades of two sexes for two variables less the suspect cell", compared)
	}
}

// Common practice, without a published source: a young man with brachial 110/69
// came out near 93/70 (amplification 41/23 = 1.78), a man of 71 with 135/77 at an
// aortic PP of 51 (58/51 = 1.14). Both lie inside the central 95 % of the demo's
// men of those ages.
func TestDemoCoversKnownCases(t *testing.T) {
	f := table(t, filepath.Join(demoDir(t), "results"), "subject_visits")
	for _, c := range []struct {
		name          string
		from, to      float64
		amplification float64
	}{{"young man", 20, 30, 41.0 / 23}, {"man of 71", 65, 77, 58.0 / 51}} {
		var ratios []float64
		for row := range f.N {
			age := f.Number(row, "age_years")
			if f.TextAt(row, "sex") == "male" && f.TextAt(row, "status") == "used" && age >= c.from && age <= c.to {
				ratios = append(ratios, f.Number(row, "pp_amplification_ratio"))
			}
		}
		if len(ratios) < 40 {
			t.Fatalf("%s: only %d men of that age", c.name, len(ratios))
		}
		slices.Sort(ratios)
		low, high := ratios[int(0.025*float64(len(ratios)))], ratios[int(0.975*float64(len(ratios)))]
		if c.amplification < low || c.amplification > high {
			t.Errorf("%s: amplification %.2f outside %.2f to %.2f", c.name, c.amplification, low, high)
		}
	}
}

// Everything found is used, excluded or failed, at every level and stage.
func TestNothingVanishes(t *testing.T) {
	results := filepath.Join(demoDir(t), "results")
	m, differences, err := pipeline.Verify(context.Background(), results)
	if err != nil || len(differences) > 0 {
		t.Fatal(err, differences)
	}
	recordings := table(t, results, "recordings")
	if recordings.N != m.Counts.Recordings.Found {
		t.Errorf("%d recordings in the table, %d in the manifest", recordings.N, m.Counts.Recordings.Found)
	}
	exclusions := table(t, results, "exclusions")
	reasons := map[string]string{}
	for row := range exclusions.N {
		if exclusions.TextAt(row, "level") == "recording" {
			reasons[exclusions.TextAt(row, "recording_id")] = exclusions.TextAt(row, "reason")
		}
	}
	for row := range recordings.N {
		id, status, reason := recordings.TextAt(row, "recording_id"), recordings.TextAt(row, "status"), recordings.TextAt(row, "reason")
		if (status == "used") != (reason == "") {
			t.Errorf("%s: status %s with reason %q", id, status, reason)
		}
		if status != "used" && reasons[id] != reason {
			t.Errorf("%s left out for %q, exclusions say %q", id, reason, reasons[id])
		}
	}
	flow := table(t, results, "flow")
	for start := 0; start < flow.N; {
		lost, end := 0.0, start
		for ; end < flow.N && flow.Number(end, "order") == flow.Number(start, "order"); end++ {
			lost += flow.Number(end, "n")
		}
		if in, out := flow.Number(start, "in"), flow.Number(start, "out"); in != out+lost {
			t.Errorf("flow %s: %v in, %v out, %v lost", flow.TextAt(start, "stage"), in, out, lost)
		}
		start = end
	}
}

// One build and one study give the same bytes, however many workers.
func TestSameBytesForAnyWorkerCount(t *testing.T) {
	dir := demoDir(t)
	again := filepath.Join(t.TempDir(), "results")
	if _, err := pipeline.Run(context.Background(), filepath.Join(dir, "study"), again, pipeline.Options{Jobs: 8}); err != nil {
		t.Fatal(err)
	}
	first, err := pipeline.ReadManifest(filepath.Join(dir, "results"))
	if err != nil {
		t.Fatal(err)
	}
	second, err := pipeline.ReadManifest(again)
	if err != nil {
		t.Fatal(err)
	}
	if first.Content != second.Content {
		t.Errorf("content %s with one worker, %s with eight", first.Content, second.Content)
		for i := range first.Outputs {
			if first.Outputs[i].SHA256 != second.Outputs[i].SHA256 {
				t.Errorf("%s differs", first.Outputs[i].Path)
			}
		}
	}
}

// A byte turned over in any file of the results is found and named.
func TestVerifyNamesWhatDiffers(t *testing.T) {
	results := filepath.Join(t.TempDir(), "results")
	if err := os.CopyFS(results, os.DirFS(filepath.Join(demoDir(t), "results"))); err != nil {
		t.Fatal(err)
	}
	m, err := pipeline.ReadManifest(results)
	if err != nil {
		t.Fatal(err)
	}
	// Every second file, then the others: those are named and no other is.
	for half := range 2 {
		var want, got []string
		for i, out := range m.Outputs {
			if i%2 == half {
				flipMiddle(t, filepath.Join(results, out.Path))
				want = append(want, out.Path)
			}
		}
		_, differences, err := pipeline.Verify(context.Background(), results)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range differences {
			if !slices.Contains(got, d.Path) {
				got = append(got, d.Path)
			}
		}
		slices.Sort(want)
		slices.Sort(got)
		if !slices.Equal(want, got) {
			t.Errorf("flipped bits in %v, named are %v", want, got)
		}
		for _, path := range want {
			flipMiddle(t, filepath.Join(results, path)) // and back
		}
	}
}

// flipMiddle turns over one bit in the middle of a file.
func flipMiddle(t *testing.T, path string) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	data[len(data)/2] ^= 1
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
}
