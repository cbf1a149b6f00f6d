package tabulate

import (
	"math"
	"slices"

	"tonocohort/schema/published"
)

// limitKinds says what a published limit is.
func limitKinds() map[string]string {
	return map[string]string{
		"outcome_threshold":    "outcome threshold, not a reference limit",
		"reference_percentile": "percentile of a published sample",
		"proposed_limit":       "limit that its authors propose",
	}
}

// compareLimits tells which share of the cohort lies beyond published limits.
func (p *comparer) compareLimits() {
	var absent []string
	for _, l := range p.source.Limits {
		if !p.numberColumn(l.Variable) {
			if !slices.Contains(absent, l.Variable) {
				absent = append(absent, l.Variable)
				p.unused(l.Variable, l.Variable)
			}
			continue
		}
		p.compareLimit(l)
	}
}

func (p *comparer) compareLimit(l published.Limit) {
	hits, n, missing := 0, 0, 0
	cells := p.c.frame.Numbers(l.Variable)
	for _, row := range p.set.rows {
		switch v := cells[row]; {
		case !p.inStratum(row, l.Sex, l.AgeLow, l.AgeHigh):
		case math.IsNaN(v):
			missing++
		case l.Side == "at_least" && v >= l.Value, l.Side == "below" && v < l.Value:
			hits++
			n++
		default:
			n++
		}
	}
	at := comparisonRow{variable: l.Variable, sex: l.Sex, band: l.AgeBand, n: n, missing: missing, published: l.Value, publishedN: p.source.People}
	note := join(limitKinds()[l.Kind], l.Effect, l.Source, l.Note, p.traps.general(l.Variable))
	p.beyond(at, "share_"+l.Side+"_"+plain(l.Value), hits, "share of unrounded values", note)
}
