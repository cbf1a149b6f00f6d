package study

import (
	"fmt"
	"math"

	"tonocohort/schema"
)

// departures lists the columns in which a visit departs from the protocol:
// fewer minutes or hours than the limit, or the level that departs. A missing
// answer is no departure. The cells are found by name.
func departures(p schema.ProtocolSettings, cell func(name string) (Cell, bool)) []string {
	var names []string
	for _, name := range protocolNames() {
		if c, ok := cell(name); ok && departed(p, name, c) == 1 {
			names = append(names, name)
		}
	}
	return names
}

// departed is 1 where the answer departs, 0 where it does not, and NaN where it
// is missing or unknown, or where the protocol does not judge the column.
func departed(p schema.ProtocolSettings, name string, c Cell) float64 {
	if limit, judged := p.Limits[name]; judged {
		switch {
		case math.IsNaN(c.Number):
			return math.NaN()
		case c.Number < limit:
			return 1
		}
		return 0
	}
	level, judged := p.Forbidden[name]
	switch {
	case !judged || c.Text == "":
		return math.NaN()
	case c.Text == level:
		return 1
	case c.Text == "unknown":
		return math.NaN()
	}
	return 0
}

// departureColumn declares the column that carries departed of a judged column.
func departureColumn(p schema.ProtocolSettings, c schema.Column) (schema.Column, bool) {
	meaning := ""
	if limit, judged := p.Limits[c.Name]; judged {
		meaning = fmt.Sprintf("departed from the protocol: %s below %s %s", c.Name, plainNumber(limit), c.Unit)
	} else if level, judged := p.Forbidden[c.Name]; judged {
		meaning = fmt.Sprintf("departed from the protocol: %s is %s", c.Name, level)
	}
	return schema.Column{Name: schema.DepartedPrefix + c.Name, Kind: schema.Boolean, Meaning: meaning}, meaning != ""
}
