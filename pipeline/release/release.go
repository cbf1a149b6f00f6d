// Package release decides what may leave the study. It takes the tables of
// statistics, whatever they are, with the people behind them, and returns the
// tables as they may be published, with a report of which rule hid what.
//
// It works in layers, each over the same strata and the same sets that lie in
// one another:
//
//   - people: how many stand in a stratum of a set. A stratum of too few is
//     hidden in every table; others lose what adds up (counts, means, SDs,
//     shares) so that the hidden one cannot be worked out, and keep their
//     percentiles, which do not add up.
//   - values of a variable: as the layer of people, for those who have a value,
//     and with the rules on contributions. Where fewer than the smallest cell
//     have none, both counts are hidden and what would give them away is made
//     coarse.
//   - shares above a threshold, and levels of a characteristic: both sides count. A
//     share beside published values is hidden where few lie between its limit and
//     another.
//   - overlaps: sets and levels of different characteristics are of the same
//     people. A level, or a reason of the flow, with which the number of a group of
//     few would follow from the sizes of sets is hidden like a level of few.
//   - models: their complete cases, events and those who lack a term are of the
//     same people as all other numbers of the set. One after another is told, the
//     first model first, unless with it the number of a group of few would follow.
//     Of a model whose number is hidden the coefficients stay, made coarse.
//   - agreement: people who were measured twice, and recordings seen by readers, lie
//     in one another. A number a few away from one that is told is hidden, with the
//     digits that would tell it; a kappa on whose few disagreements its interval
//     would tell has none.
//
// What stands beside published values is a stratum and a variable like any other: of
// the ages that the published set has, with all that its equation or model needs. A
// reference, a standardised estimate or a change counts some of a stratum: a number a
// few away from another of it is hidden. In the flow and of the used visits people are
// counted, not visits or recordings. A column of whose strata nearly all are of few is
// hidden whole.
//
// What is hidden for another is chosen by what it is worth to a reader: the cells
// of the set that the plan names first are the last to go, and a difference of few
// people between two sets costs the later one a cell.
//
// The number of a hidden group cannot be placed in an interval narrower than the
// smallest cell; package disclose has the method and its attacker. What a rule
// hides is never in the report.
package release

import (
	"fmt"
	"slices"

	"tonocohort/schema"
	"tonocohort/schema/published"
	"tonocohort/stats/disclose"
)

// People says who stands behind the statistics, as package tabulate gives it.
// Slices "by person" run over Rows.
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

// Input is what a release is made from.
type Input struct {
	Tables     []*schema.Frame // tables of statistics and the flow
	Apart      []*schema.Frame // tables with rules of their own: sensitivity, departures and quality of the used visits
	Visits     *schema.Frame   // the person-level table behind them
	Recordings *schema.Frame   // the table of recordings; nil where there is none
	People     People
	Settings   schema.Settings
	Own        []published.Set // published sets of the study's own, by the name of their file
}

// Output is what may leave the study.
type Output struct {
	Tables []*schema.Frame // as the input's, in its order, those apart last, with the column suppressed
	Report *schema.Frame   // released: how much was hidden by which rule
	Detail *schema.Frame   // restricted: which rule hid what in which row
	Hidden int             // rows in which something is hidden
}

// times is how many people a row stands for.
func (p People) times(i int) int {
	if p.Times == nil {
		return 1
	}
	return p.Times[i]
}

// Labels beside the levels of a column, as package tabulate writes them.
const (
	everyLevel   = "all"
	missingLevel = "(missing)"
)

// Tables by name that need more than the common rules.
const (
	flowTable       = "flow"
	summaryTable    = "summary"
	characteristics = "characteristics"
	comparisonTable = "comparison"
	regressionTable = "regression"
	centilesTable   = "centiles"

	sensitivityTable = "sensitivity"
)

// checker carries what the layers hand on.
type checker struct {
	Input
	rules       disclose.Rules
	layout      *layout
	groups      *groups             // strata that some table publishes
	state       map[string]state    // by key of variable and group
	shares      map[string]bool     // hidden shares, by key of statistic and group
	levels      map[string]bool     // hidden levels, by key of variable, level and group
	overlap     map[string]bool     // those of them that would tell how few a set and levels have in common
	models      map[string]*sampled // by key of set, outcome and model
	named       *crowds             // groups of whole sets that tables name
	other       map[string]state    // by block and stratum of a table with people of its own
	cache       map[string]variable
	ages        map[string]ageRange
	person      []int32                     // by row of the visits, once it was asked for: number of the person
	persons     int                         // how many there are
	pooled      map[string]bool             // reasons of the flow that are not shown by themselves
	heads       map[string]map[string]heads // by unit of the flow and reason
	near        map[string]bool             // rows of tables with people of their own whose number tells few
	references  map[string]bool             // references of which the number of people is hidden
	needs       map[string]need             // by the name of a variable that is no column
	sources     map[string]published.Set
	crowded     []string          // columns of whose strata nearly all hold few
	comparisons map[string]group  // by what a row of the comparison is about
	quoted      []string          // notes of published sets: their numbers are of no one here
	notes       map[string]string // as they were masked
	tier        tier              // of the layer of people
	tiers       map[string]tier   // by variable, where its own layer went further
	least       []int             // by atom: who lacks a value that most have
	rank        []int             // by set: its place in the plan, the most important first
	last        lately
	log         reporter

	agreement  []concealed                    // by row of the table of agreement
	blocksDone map[string]disclose.Protection // of tables that no layer knows
}

// Check applies the rules of the settings to every table.
func Check(in Input) (Output, error) {
	c := newChecker(in)
	for _, layer := range []struct {
		name string
		do   func() error
	}{
		{"people", c.people}, {"values", c.values}, {"shares", c.thresholds}, {"levels", c.categories}, {"overlaps", c.overlaps}, {"models", c.sampleModels},
		{"other tables", c.otherTables},
	} {
		if err := layer.do(); err != nil {
			return Output{}, fmt.Errorf("disclosure control of %s: %w", layer.name, err)
		}
	}
	var out Output
	for _, f := range in.Tables {
		if f.Table.Restricted {
			return Output{}, fmt.Errorf("the table %s holds single persons and cannot be released", f.Table.Name)
		}
		released := c.release(f)
		out.Tables = append(out.Tables, released)
		c.log.rowsInTable(released)
	}
	for _, f := range in.Apart {
		if f.N > 0 {
			released := c.apartTable(f)
			out.Tables = append(out.Tables, released)
			c.log.rowsInTable(released)
		}
	}
	out.Report, out.Detail, out.Hidden = c.log.frames(in.Settings.Disclosure)
	return out, nil
}

func newChecker(in Input) *checker {
	d := in.Settings.Disclosure
	c := &checker{Input: in, state: map[string]state{}, shares: map[string]bool{}, levels: map[string]bool{}, overlap: map[string]bool{},
		models: map[string]*sampled{}, other: map[string]state{}, cache: map[string]variable{}, tiers: map[string]tier{}, ages: map[string]ageRange{},
		pooled: map[string]bool{}, near: map[string]bool{}, references: map[string]bool{}, needs: map[string]need{}, comparisons: map[string]group{}, sources: map[string]published.Set{},
		blocksDone: map[string]disclose.Protection{}, quoted: publishedNotes(in), notes: map[string]string{}}
	c.rules = disclose.Rules{MinCell: d.MinCell, ZeroIsSmall: d.ZeroIsSmall, MinDegrees: d.MinDegrees,
		DominanceN: d.Dominance.N, DominanceK: d.Dominance.K / 100, PPercent: d.PPercent}
	c.rank = ranks(in)
	c.layout = newLayout(in)
	c.groups = c.publishedGroups()
	if c.crowded = c.tooFine(); c.crowded != nil {
		c.layout = newLayout(c.without(c.crowded))
		c.comparisons, c.last = map[string]group{}, lately{}
		c.groups = c.publishedGroups()
	}
	return c
}

// ranks gives every set its place in the plan, 0 for the most important.
func ranks(in Input) []int {
	var order []string
	for _, name := range append(slices.Clone(in.Settings.Analysis.SetOrder), in.People.Sets...) {
		if slices.Contains(in.People.Sets, name) && !slices.Contains(order, name) {
			order = append(order, name)
		}
	}
	rank := make([]int, len(in.People.Sets))
	for i, name := range in.People.Sets {
		rank[i] = slices.Index(order, name)
	}
	return rank
}

// few reports a count of people without a value that is too small to be told.
func (c *checker) few(count int) bool {
	return c.Settings.Disclosure.MissingIsSmall && c.rules.Few(count)
}

// release returns one table as it may leave the study.
func (c *checker) release(f *schema.Frame) *schema.Frame {
	if f.Table.Name == flowTable {
		return c.releaseFlow(f)
	}
	f = c.whole(f)
	out := schema.NewFrame(schema.Released(f.Table), f.N)
	out.AppendRows(f, 0, f.N)
	return c.releaseRows(f, out)
}

// releaseOf returns the rows about some groups of a table as they may leave the study.
func (c *checker) releaseOf(f *schema.Frame, asked func(g group) bool) *schema.Frame {
	f = c.whole(f)
	some := schema.NewFrame(f.Table, 0)
	for row := range f.N {
		if g, ok := c.group(f, row); ok && asked(g) {
			some.CopyRow(some.AddRow(), f, row)
		}
	}
	out := schema.NewFrame(schema.Released(f.Table), some.N)
	out.AppendRows(some, 0, some.N)
	return c.releaseRows(some, out)
}

// whole is a table with the rows that it needs so that none tells by its absence.
func (c *checker) whole(f *schema.Frame) *schema.Frame {
	switch {
	case f.Table.Name == summaryTable && c.rules.ZeroIsSmall:
		return c.completed(f)
	case f.Table.Name == parametersTable:
		return c.narrowed(f)
	}
	return f
}

// releaseRows applies the rules to the rows of a table, of which out is a copy.
func (c *checker) releaseRows(f, out *schema.Frame) *schema.Frame {
	given := readModels(out)
	c.agreement = c.concealAgreement(f)
	for row := range out.N {
		c.releaseRow(out, row, given)
	}
	return out
}

// modelFacts is what a table of models says of each as a whole, by model.
type modelFacts struct {
	degrees map[string]float64 // residual degrees of freedom: given, or people less coefficients
	events  map[string]float64
}

func readModels(f *schema.Frame) modelFacts {
	m := modelFacts{map[string]float64{}, map[string]float64{}}
	if f.Table.Name != regressionTable {
		return m
	}
	coefficients := map[string]float64{}
	given := map[string]bool{}
	for row := range f.N {
		key := modelKey(f, row)
		switch statistic := f.TextAt(row, "statistic"); {
		case statistic == "residual_df":
			m.degrees[key], given[key] = f.Number(row, "estimate"), true
		case statistic == "events":
			m.events[key] = f.Number(row, "estimate")
		case statistic == "estimate" && !given[key]:
			coefficients[key]++
			m.degrees[key] = f.Number(row, "n") - coefficients[key]
		}
	}
	return m
}
