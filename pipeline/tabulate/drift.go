package tabulate

import (
	"cmp"
	"fmt"
	"iter"
	"math"
	"slices"
	"time"

	"tonocohort/schema"
	"tonocohort/stats"
)

// Rules of the control charts, by name.
const (
	ruleXBar   = "xbar"            // the mean of a period lies beyond the limits
	ruleEWMA   = "ewma_0.2"        // the exponentially weighted moving average does; weight of the newest 0.2
	ruleShare  = "binomial"        // the share of a period is too unlikely
	ruleTrend  = "trend"           // the least-squares line over the dates is not level
	ruleDigits = "terminal_digits" // the last digits are not equally frequent
)

// Limits of the charts; own choices where no source stands.
const (
	ewmaWeight     = 0.2
	leastWidth     = 3.0   // standard errors (Shewhart 1931; from memory)
	leastVisits    = 10    // in a period; quarters are joined until it has them
	falseAlarm     = 0.005 // chance of any flag of the points of all charts, and as much for all trends, where nothing drifts
	digitAlarm     = 0.001 // of one test of digits
	daysPerYear    = 365.25
	wholeChart     = "all"
	driftIssueCode = "drift"
)

// chart is one quantity of one device or centre over its visits.
type chart struct {
	by, name, variable, unit string
	share                    bool      // values are shares of 0 and 1
	days                     []float64 // by visit, ascending once sorted
	values                   []float64
	missing                  int // visits without a date or a value
	periods                  []period
}

// period is a calendar quarter, or several joined: visits from ≤ i < to.
type period struct {
	label    string
	from, to int
}

// Drift charts zero, amplitude, form and quality by device, form and quality by
// centre, over the quarters of the calendar, and the last digits of the cuff by
// centre. Recordings of one visit count once, by their mean. The flags of all
// charts are false together with a chance of one in a hundred at most where
// nothing drifts and values are normal: limits are three standard errors, or
// more where more points are judged. A flag is also an issue.
//
// Zero and amplitude are in the unit of the samples, which is a device's own, so
// that a centre has no chart of them.
//
// Where the study shifts dates, each person by a number of days of their own, the
// dates are no calendar and nothing is charted over them.
func Drift(m Measured, privacy schema.PrivacySettings) (*schema.Frame, []schema.Issue) {
	shifted := privacy.DateShift != "" && privacy.DateShift != "none"
	charts := m.charts(shifted)
	points, trends := 0, 0
	for _, c := range charts {
		if len(c.periods) < 2 {
			continue
		}
		trends++
		points += len(c.periods)
		if !c.share {
			points += len(c.periods) // both rules
		}
	}
	d := drift{
		frame: schema.NewFrame(schema.DriftTable(), 0),
		width: max(leastWidth, stats.NormalQuantile(1-falseAlarm/(2*float64(max(points, 1))))),
		tail:  falseAlarm / (2 * float64(max(points, 1))),
		trend: falseAlarm / float64(max(trends, 1)),
	}
	for _, c := range charts {
		d.add(c)
	}
	d.digits(m)
	return d.frame, d.issues
}

// charts gathers the values by visit.
func (m Measured) charts(shifted bool) []*chart {
	f := m.Recordings
	dates, centres := m.textOfVisit("visit_date"), m.textOfVisit("centre")
	devices, durations, recorded := f.Labels("device_id"), f.Numbers("duration_s"), f.Labels("recorded_at")
	visitOf := m.visitsOf(f)
	names := map[string]map[string]*unitRows{"device": {}, "centre": {}}
	for row, visit := range visitOf {
		if math.IsNaN(durations[row]) {
			continue // never read: it says nothing about the device
		}
		for by, name := range map[string]string{"device": devices.At(row), "centre": centres(int(visit))} {
			if name == "" {
				continue
			}
			if names[by][name] == nil {
				names[by][name] = &unitRows{}
			}
			names[by][name].add(int32(row), visit)
		}
	}
	var charts []*chart
	for _, by := range []string{"device", "centre"} {
		for _, name := range sortedKeys(names[by]) {
			for _, q := range m.charted(by) {
				c := &chart{by: by, name: name, variable: q.name, unit: q.unit, share: q.share}
				for rows := range names[by][name].visits(visitOf) {
					day := dayOf(recorded.At(int(rows[0])), dates(int(visitOf[rows[0]])))
					if shifted {
						day = math.NaN()
					}
					c.put(day, meanOf(rows, q.of))
				}
				c.sort()
				c.divide()
				charts = append(charts, c)
			}
		}
	}
	return charts
}

// textOfVisit returns a text column of the table of visits by row; "" for −1, and
// where there is no such column.
func (m Measured) textOfVisit(name string) func(row int) string {
	if !m.Visits.Has(name) {
		return func(int) string { return "" }
	}
	texts := m.Visits.Labels(name)
	return func(row int) string {
		if row < 0 {
			return ""
		}
		return texts.At(row)
	}
}

// unitRows are the recordings of a device or a centre, those of a visit one behind
// the other.
type unitRows struct {
	rows  []int32
	mixed bool // those of some visit may stand apart
	last  int32
}

func (u *unitRows) add(row, visit int32) {
	u.mixed = u.mixed || visit < u.last
	u.rows, u.last = append(u.rows, row), visit
}

// visits hands out the recordings of each visit.
func (u *unitRows) visits(visitOf []int32) iter.Seq[[]int32] {
	if u.mixed {
		slices.SortStableFunc(u.rows, func(a, b int32) int { return cmp.Compare(visitOf[a], visitOf[b]) })
		u.mixed = false
	}
	return func(yield func([]int32) bool) {
		for from := 0; from < len(u.rows); {
			to := from + 1
			for to < len(u.rows) && visitOf[u.rows[to]] == visitOf[u.rows[from]] {
				to++
			}
			if !yield(u.rows[from:to]) {
				return
			}
			from = to
		}
	}
}

// charted is a quantity of recordings.
type charted struct {
	name, unit string
	share      bool
	of         func(row int) float64
}

func (m Measured) charted(by string) []charted {
	f := m.Recordings
	column := func(name string) charted {
		cells := f.Numbers(name)
		return charted{name: name, unit: f.Column(name).Unit, of: func(row int) float64 { return cells[row] }}
	}
	found, used, grades := f.Numbers("beats_found"), f.Numbers("beats_used"), f.Labels("quality")
	list := []charted{
		column("peripheral_form_factor"),
		{name: "accepted_beats_share", unit: "1", of: func(row int) float64 {
			if !(found[row] > 0) {
				return math.NaN()
			}
			return used[row] / found[row]
		}},
		{name: "usable_share", unit: "1", share: true, of: func(row int) float64 {
			if grades.At(row) == "usable" {
				return 1
			}
			return 0
		}},
	}
	if by == "device" {
		list = append([]charted{column("wave_minimum"), column("wave_amplitude")}, list...)
	}
	return list
}

// dayOf counts days from the date of a recording or else of its visit.
func dayOf(recordedAt, visitDate string) float64 {
	for _, text := range []string{recordedAt, visitDate} {
		if len(text) < len(time.DateOnly) {
			continue
		}
		if day, err := time.Parse(time.DateOnly, text[:len(time.DateOnly)]); err == nil {
			return math.Floor(float64(day.Unix()) / (24 * 3600))
		}
	}
	return math.NaN()
}

func meanOf(rows []int32, of func(row int) float64) float64 {
	var values []float64
	for _, row := range rows {
		if v := of(int(row)); !math.IsNaN(v) {
			values = append(values, v)
		}
	}
	return stats.Mean(values)
}

// put adds a visit; of a share it counts whether all its recordings have it.
func (c *chart) put(day, value float64) {
	if math.IsNaN(day) || math.IsNaN(value) {
		c.missing++
		return
	}
	if c.share {
		value = math.Floor(value)
	}
	c.days, c.values = append(c.days, day), append(c.values, value)
}

// sort brings the visits into the order of time; those of a day stay as they
// stand in the table.
func (c *chart) sort() {
	order := make([]int, len(c.days))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(c.days[a], c.days[b]) })
	days, values := make([]float64, len(order)), make([]float64, len(order))
	for i, at := range order {
		days[i], values[i] = c.days[at], c.values[at]
	}
	c.days, c.values = days, values
}

// divide cuts the visits into quarters and joins those with too few.
func (c *chart) divide() {
	quarter := func(i int) string {
		day := time.Unix(int64(c.days[i])*24*3600, 0).UTC()
		return fmt.Sprintf("%04d-Q%d", day.Year(), (int(day.Month())+2)/3)
	}
	for from := 0; from < len(c.days); {
		to := from
		for to < len(c.days) && (to-from < leastVisits || quarter(to) == quarter(to-1)) {
			to++
		}
		if short := to-from < leastVisits && len(c.periods) > 0; short {
			from = c.periods[len(c.periods)-1].from
			c.periods = c.periods[:len(c.periods)-1]
		}
		label := quarter(from)
		if last := quarter(to - 1); last != label {
			label += " to " + last
		}
		c.periods = append(c.periods, period{label, from, to})
		from = to
	}
}
