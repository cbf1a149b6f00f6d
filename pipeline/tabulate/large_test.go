package tabulate

import (
	"fmt"
	"math/rand/v2"
	"os"
	"runtime"
	"strconv"
	"testing"
	"time"

	"tonocohort/schema"
)

// largeCohort has so many invented people in 14 strata of sex and age with 12
// variables.
func largeCohort(n int) (table, schema.Settings) {
	columns := make([]schema.Column, 12)
	for i := range columns {
		columns[i] = schema.Column{Name: fmt.Sprintf("variable_%02d", i+1), Kind: schema.Number, Unit: "1"}
	}
	f := schema.NewFrame(schema.Table{Name: "subject_visits", Columns: append([]schema.Column{
		{Name: "subject_id", Kind: schema.Text}, {Name: "visit_id", Kind: schema.Text}, {Name: "status", Kind: schema.Text}, {Name: "reason", Kind: schema.Text},
		{Name: "sex", Kind: schema.Category, Levels: []string{"female", "male"}}, {Name: "age_years", Kind: schema.Number}}, columns...)}, n)
	random := rand.New(rand.NewPCG(14, 12))
	for i := range n {
		row := f.AddRow()
		f.SetText(row, "subject_id", fmt.Sprintf("s%07d", i))
		f.SetText(row, "visit_id", "v1")
		f.SetText(row, "status", "used")
		f.SetText(row, "sex", []string{"female", "male"}[random.IntN(2)])
		f.SetNumber(row, "age_years", 18+72*random.Float64())
		for _, c := range columns {
			f.SetNumber(row, c.Name, 40+10*random.NormFloat64())
		}
	}
	settings := plan(func(a *schema.Analysis) {
		a.Variables, a.Models, a.CompareWith, a.Threshold, a.Centiles = nil, nil, nil, nil, nil
		for _, c := range columns {
			a.Variables = append(a.Variables, c.Name)
		}
	})
	return table{f}, settings
}

// The people of the benchmark: 1,000,000 where TONOCOHORT_PEOPLE says so.
func people(b *testing.B) int {
	n, err := strconv.Atoi(os.Getenv("TONOCOHORT_PEOPLE"))
	if err != nil {
		n = 50_000
	}
	return n
}

// BenchmarkSummaryOfMany measures n, mean, SD and all percentiles with intervals
// of 12 variables in 14 strata and their margins, and the memory beside the
// data.
func BenchmarkSummaryOfMany(b *testing.B) {
	f, settings := largeCohort(people(b))
	runtime.GC()
	var before runtime.MemStats
	runtime.ReadMemStats(&before)
	peak, stop := watchHeap()
	b.ResetTimer()
	for b.Loop() {
		if r := Tables(f.Frame, settings, "study.yaml", "analysis"); r.Summary.N == 0 {
			b.Fatal(r.Issues)
		}
	}
	b.StopTimer()
	close(stop)
	b.ReportMetric(float64(<-peak)/float64(before.HeapAlloc), "×data")
}

// watchHeap samples the heap until it is stopped, then tells its peak.
func watchHeap() (peak chan uint64, stop chan struct{}) {
	peak, stop = make(chan uint64, 1), make(chan struct{})
	go func() {
		highest := uint64(0)
		for {
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			highest = max(highest, m.HeapAlloc)
			select {
			case <-stop:
				peak <- highest
				return
			case <-time.After(5 * time.Millisecond):
			}
		}
	}()
	return peak, stop
}
