package pipeline

import (
	"fmt"

	"tonocohort/pipeline/store"
	"tonocohort/pipeline/tabulate"
	"tonocohort/schema"
)

// readMeasured reads what a results folder holds, beside its visits, of how good
// the measurements are.
func readMeasured(results *store.Root, visits *schema.Frame) (tabulate.Measured, error) {
	m := tabulate.Measured{Visits: visits}
	for _, need := range m.Needs() {
		var err error
		if *need.Into, err = readNeeded(results, need); err != nil {
			return m, err
		}
	}
	return m, nil
}

// readNeeded reads some rows of some columns of a table, a row group at a time.
func readNeeded(results *store.Root, need tabulate.Need) (*schema.Frame, error) {
	path := tablePath(need.Table.Name)
	kept := schema.NewFrame(need.Table, 0)
	err := readGroups(results, path, need.Table, func(group *schema.Frame) error {
		if need.Keep == nil {
			kept.Append(group)
			return nil
		}
		for row := range group.N {
			if need.Keep(group, row) {
				kept.CopyRow(kept.AddRow(), group, row)
			}
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return kept, nil
}
