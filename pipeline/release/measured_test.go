package release_test

import (
	"fmt"
	"math/rand/v2"

	"tonocohort/pipeline/tabulate"
	"tonocohort/schema"
)

// repeatedly is how a person was measured.
type repeatedly struct {
	first, second int  // recordings of the first visit and of the second
	indices       int  // of the first visit, that have an augmentation index
	operators     int  // of the first two recordings; 0: not noted
	methods       bool // the first recording has an estimate by a second method
	readings      int  // of the cuff
	readers       int  // of the first recording: none, the first alone, both
	differ        bool // they do
	grade         string
}

func measuredTwice(n int, edit func(i int, p *repeatedly)) []repeatedly {
	people := make([]repeatedly, n)
	for i := range people {
		people[i] = repeatedly{first: 2, indices: 2, operators: 1 + i%2, methods: true, readings: 3, readers: 2, differ: i%8 == 0, grade: "usable"}
		edit(i, &people[i])
	}
	return people
}

// measuredTables are the tables behind the agreement.
func measuredTables(visits *schema.Frame, people []repeatedly) tabulate.Measured {
	random := rand.New(rand.NewPCG(1, 2))
	m := tabulate.Measured{Visits: visits}
	for _, need := range m.Needs() {
		*need.Into = schema.NewFrame(need.Table, 0)
	}
	add := func(f *schema.Frame, cells ...string) int {
		row := f.AddRow()
		for i := 0; i < len(cells); i += 2 {
			f.SetText(row, cells[i], cells[i+1])
		}
		return row
	}
	for i, p := range people {
		who := visits.TextAt(i, "subject_id")
		for k := range p.first + p.second {
			visit := map[bool]string{true: "v1", false: "v2"}[k < p.first]
			id := fmt.Sprintf("%s-%d", who, k)
			row := add(m.Recordings, "subject_id", who, "visit_id", visit, "recording_id", id, "status", "used", "recorded_at", fmt.Sprint(k))
			m.Recordings.SetNumber(row, "central_pp_mmhg", 40+5*random.NormFloat64())
			if k < p.indices || k >= p.first {
				m.Recordings.SetNumber(row, "augmentation_index_pct", 20+5*random.NormFloat64())
			}
			if p.operators > 0 {
				m.Recordings.SetText(row, "operator_id", map[bool]string{true: "B", false: "A"}[p.operators == 2 && k == 1])
			}
		}
		for k, method := range []string{"tube_constant", "moving_average"} {
			if k == 0 || p.methods {
				row := add(m.Estimates, "recording_id", who+"-0", "method", method, "calibration", "sbp_dbp")
				m.Estimates.SetNumber(row, "primary", float64(1-k))
				m.Estimates.SetNumber(row, "central_sbp_mmhg", 110+9*random.NormFloat64())
			}
		}
		for k := range p.readings {
			row := add(m.Readings, "subject_id", who, "visit_id", "v1")
			m.Readings.SetNumber(row, "reading", float64(k+1))
			m.Readings.SetNumber(row, "sbp_mmhg", 120+9*random.NormFloat64())
		}
		for k := range p.readers {
			decision := map[bool]string{true: "reject", false: "accept"}[p.differ && k == 1 || i%7 == 0 && !p.differ]
			add(m.Reviews, "subject_id", who, "recording_id", who+"-0", "reader", fmt.Sprint("R", k), "decision", decision, "quality", p.grade, "program_decision", map[bool]string{true: "reject", false: "accept"}[i%6 == 0])
		}
	}
	return m
}
