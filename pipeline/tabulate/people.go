package tabulate

import (
	"slices"

	"tonocohort/schema"
)

// People says who stands behind the statistics: which rows were analysed, which
// sets they are in and which levels they have. Slices "by person" run over Rows.
// It holds single persons and is no table.
type People struct {
	Rows     []int32    // rows of the person-level table that are analysed, ascending
	Person   []int32    // by person: number of the person; nil: each stands once
	Repeated bool       // a person may stand in several rows
	Times    []int      // by person: how many people the row stands for; nil: one each
	Sets     []string   // everyone first
	In       [][]bool   // by set, by person
	Columns  []string   // columns with levels
	Levels   [][]string // by column: the levels that occur, in their order; (missing) last
	Codes    [][]int32  // by column, by person: position of the level
}

// people gathers the rows by set and by the columns that tables are split by.
func (c *cohort) people(plan schema.Analysis, sets []set) People {
	p := People{Rows: c.rows, Repeated: c.repeated}
	if c.repeated {
		p.Person = pick(c.subject, c.rows)
	}
	if c.kind == frequencyWeights {
		p.Times = make([]int, len(c.rows))
		for i, row := range c.rows {
			p.Times[i] = int(c.weight[row])
		}
	}
	for _, s := range sets {
		in := make([]bool, len(c.rows))
		at := 0
		for _, row := range s.rows { // both ascend
			for c.rows[at] != row {
				at++
			}
			in[at] = true
		}
		p.Sets = append(p.Sets, s.name)
		p.In = append(p.In, in)
	}
	for _, name := range c.splitBy(plan) {
		levels, codes := c.levelsOf(name)
		p.Columns = append(p.Columns, name)
		p.Levels = append(p.Levels, levels)
		p.Codes = append(p.Codes, codes)
	}
	return p
}

// splitBy lists the columns by which a table of statistics tells people apart.
func (c *cohort) splitBy(plan schema.Analysis) []string {
	columns := slices.Clone(plan.Strata)
	if by := tableBy(plan); by != "" && !slices.Contains(columns, by) {
		columns = append(columns, by)
	}
	if c.frame.Has("sex") && !slices.Contains(columns, "sex") {
		columns = append(columns, "sex") // published values and centiles stand by sex
	}
	return columns
}

// levelsOf returns the levels of a column that occur among the analysed rows,
// and the level of each.
func (c *cohort) levelsOf(name string) (levels []string, codes []int32) {
	f := c.factor(name)
	codeOf := func(row int32) int {
		if f.code[row] < 0 {
			return len(f.levels) // the missing level
		}
		return int(f.code[row])
	}
	there := make([]bool, len(f.levels)+1)
	for _, row := range c.rows {
		there[codeOf(row)] = true
	}
	position := make([]int, len(there))
	for i, label := range append(slices.Clone(f.levels), missingLevel) {
		if there[i] {
			position[i] = len(levels)
			levels = append(levels, label)
		}
	}
	codes = make([]int32, len(c.rows))
	for i, row := range c.rows {
		codes[i] = int32(position[codeOf(row)])
	}
	return levels, codes
}
