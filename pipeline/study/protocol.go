package study

import "tonocohort/schema"

// departures lists the columns in which a visit departs from the protocol:
// fewer minutes or hours than the limit, or the level that departs. A missing
// answer is no departure. The cells are found by name.
func departures(p schema.ProtocolSettings, cell func(name string) (Cell, bool)) []string {
	var names []string
	for _, name := range protocolNumbers() {
		limit, judged := p.Limits[name]
		// A missing number is NaN, which is below nothing.
		if c, ok := cell(name); ok && judged && c.Number < limit {
			names = append(names, name)
		}
	}
	for _, name := range protocolLevels() {
		level, judged := p.Forbidden[name]
		if c, ok := cell(name); ok && judged && c.Text != "" && c.Text == level {
			names = append(names, name)
		}
	}
	return names
}
