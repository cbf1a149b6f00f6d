package pipeline

import (
	"tonocohort/pipeline/store"
	"tonocohort/pipeline/tabulate"
	"tonocohort/schema"
)

// measuredMemory is what the columns of one of these tables may take that are kept
// for whoever asks again: most are asked for once.
const measuredMemory = 8 << 20

// lendMeasured opens what a results folder holds, beside its visits, of how good the
// measurements are. done closes the tables.
func lendMeasured(results *store.Root, visits *schema.Frame) (m tabulate.Measured, done func(), err error) {
	m = tabulate.Measured{Visits: visits}
	var opened []func()
	done = func() {
		for _, done := range opened {
			done()
		}
	}
	for _, need := range m.Needs() {
		f, doneOne, err := lendTable(results, tablePath(need.Table.Name), &need.Table, measuredMemory)
		if err != nil {
			done()
			return m, nil, err
		}
		*need.Into = f
		opened = append(opened, doneOne)
	}
	return m, done, nil
}
