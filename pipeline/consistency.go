package pipeline

import (
	"math"
	"slices"
	"strconv"
	"strings"
)

// Rules that the numbers of a table of statistics obey, whatever the study. A
// number that was hidden obeys none.

// near forgives what rounding does to a released number: its digits may have
// been cut to three.
func near(a, b float64) bool { return math.Abs(a-b) <= 5e-3*max(math.Abs(a), math.Abs(b), 1e-12) }

// atMost is a ≤ b but for rounding.
func atMost(a, b float64) bool { return a <= b || near(a, b) }

func (c *consistency) number(row int, name string) float64 {
	if !c.frame.Has(name) {
		return math.NaN()
	}
	return c.frame.Number(row, name)
}

// rows looks at each row by itself.
func (c *consistency) rows() {
	for row := range c.frame.N {
		estimate, low, high := c.number(row, "estimate"), c.number(row, "low"), c.number(row, "high")
		c.looked++
		if !(math.IsNaN(low) || math.IsNaN(high) || atMost(low, high)) {
			c.find(row, "interval", "from %v to %v", low, high)
		}
		if !math.IsNaN(estimate) && (!(math.IsNaN(low) || atMost(low, estimate)) || !(math.IsNaN(high) || atMost(estimate, high))) {
			c.find(row, "interval_holds_estimate", "%v outside %v to %v", estimate, low, high)
		}
		if level := c.number(row, "level"); !math.IsNaN(level) && !(level > 0 && level < 1) {
			c.find(row, "level", "a confidence level of %v", level)
		}
		for _, name := range []string{"n", "n_missing"} {
			if n := c.number(row, name); !math.IsNaN(n) && (n < 0 || n != math.Trunc(n)) {
				c.find(row, "count", "%s is %v", name, n)
			}
		}
		if isShare(c.frame.TextAt(row, "statistic")) && !math.IsNaN(estimate) && !(estimate >= 0 && estimate <= 1) {
			c.find(row, "share", "a share of %v", estimate)
		}
	}
}

func isShare(statistic string) bool {
	return strings.HasPrefix(statistic, "prevalence_") || strings.HasPrefix(statistic, "share_") || strings.HasPrefix(statistic, "proportion_")
}

// byGroup lists the rows that share every key column but the statistic.
func (c *consistency) byGroup() (order []string, rows map[string][]int) {
	without := slices.DeleteFunc(slices.Clone(c.keys), func(i int) bool { return c.frame.Table.Columns[i].Name == "statistic" })
	rows = map[string][]int{}
	for row := range c.frame.N {
		k := keyOf(c.frame, without, row)
		if rows[k] == nil {
			order = append(order, k)
		}
		rows[k] = append(rows[k], row)
	}
	return order, rows
}

// groups looks at the statistics of one variable in one stratum together.
func (c *consistency) groups() {
	order, rows := c.byGroup()
	for _, k := range order {
		c.centilesAscend(rows[k])
		c.countsAgree(rows[k])
	}
}

// centilesAscend: a higher percentile is no smaller number.
func (c *consistency) centilesAscend(rows []int) {
	type centile struct {
		percent, value float64
		row            int
	}
	var centiles []centile
	for _, row := range rows {
		name := c.frame.TextAt(row, "statistic")
		percent, err := strconv.ParseFloat(strings.TrimPrefix(name, "p"), 64)
		if name == "median" {
			percent, err = 50, nil
		} else if !strings.HasPrefix(name, "p") {
			continue
		}
		if v := c.number(row, "estimate"); err == nil && !math.IsNaN(v) {
			centiles = append(centiles, centile{percent, v, row})
		}
	}
	slices.SortStableFunc(centiles, func(a, b centile) int { return int(math.Copysign(1, a.percent-b.percent)) })
	for i := 1; i < len(centiles); i++ {
		c.looked++
		if a, b := centiles[i-1], centiles[i]; b.percent > a.percent && !atMost(a.value, b.value) {
			c.find(b.row, "percentiles_ascend", "%v, and %v of a lower percentile", b.value, a.value)
		}
	}
}

// countsAgree: the statistics n and n_missing are what stands beside the others.
func (c *consistency) countsAgree(rows []int) {
	for _, row := range rows {
		name := c.frame.TextAt(row, "statistic")
		if name != "n" && name != "n_missing" {
			continue
		}
		estimate, beside := c.number(row, "estimate"), c.number(row, name)
		if math.IsNaN(estimate) || math.IsNaN(beside) {
			continue
		}
		c.looked++
		if estimate != beside {
			c.find(row, "count_beside_estimate", "%s is %v as an estimate and %v beside it", name, estimate, beside)
		}
	}
}

// margins: a stratum column's level all counts the people of its levels. Where
// one of them is hidden, or the table leaves levels out, it counts no fewer.
func (c *consistency) margins() {
	for _, k := range c.keys {
		column := c.frame.Table.Columns[k]
		if !column.Textual() || !slices.Contains(c.frame.Cols[k].Text, "all") || slices.Contains([]string{"set", "variable", "statistic"}, column.Name) {
			continue
		}
		c.margin(k)
	}
}

func (c *consistency) margin(column int) {
	others := slices.DeleteFunc(slices.Clone(c.keys), func(i int) bool { return i == column })
	type counted struct {
		all, sum float64
		levels   float64
		row      int
	}
	groups := map[string]*counted{}
	var order []string
	for row := range c.frame.N {
		if c.frame.TextAt(row, "statistic") != "n" {
			continue
		}
		k := keyOf(c.frame, others, row)
		g := groups[k]
		if g == nil {
			g = &counted{all: math.NaN(), row: row}
			groups[k], order = g, append(order, k)
		}
		n := c.number(row, "estimate")
		switch {
		case c.frame.Cols[column].Text[row] == "all":
			g.all, g.row = n, row
		case !math.IsNaN(n):
			g.sum += n
			g.levels++
		}
	}
	levels := map[string]bool{}
	for _, level := range c.frame.Cols[column].Text {
		levels[level] = true
	}
	for _, k := range order {
		g := groups[k]
		if math.IsNaN(g.all) {
			continue
		}
		c.looked++
		if complete := g.levels == float64(len(levels)-1); complete && g.sum < g.all-(g.levels+1)*c.rounding/2 {
			c.find(g.row, "margin", "the levels of %s hold %v together, all of them %v", c.frame.Table.Columns[column].Name, g.sum, g.all)
		}
		if g.sum > g.all+(g.levels+1)*c.rounding/2 {
			c.find(g.row, "margin", "the levels of %s hold %v, all of them %v", c.frame.Table.Columns[column].Name, g.sum, g.all)
		}
	}
}

// flow: at every stage in = out + what left, and what went on comes into the
// next. What was hidden or rounded obeys nothing.
func (c *consistency) flow() {
	if c.rounding > 0 {
		return
	}
	f := c.frame
	last := map[string]float64{}
	for start := 0; start < f.N; {
		left, end := 0.0, start
		for ; end < f.N && f.Number(end, "order") == f.Number(start, "order") && f.TextAt(end, "unit") == f.TextAt(start, "unit"); end++ {
			left += f.Number(end, "n")
		}
		in, out, unit := f.Number(start, "in"), f.Number(start, "out"), f.TextAt(start, "unit")
		c.looked++
		if !math.IsNaN(in) && !math.IsNaN(out) && !math.IsNaN(left) && in != out+left {
			c.find(start, "flow_adds_up", "%v in, %v out, %v left", in, out, left)
		}
		if before, ok := last[unit]; ok && !strings.HasPrefix(f.TextAt(start, "stage"), "set:") && !math.IsNaN(before) && !math.IsNaN(in) && before != in {
			c.find(start, "flow_goes_on", "%v went on, %v came in", before, in)
		}
		last[unit] = out
		start = end
	}
}
