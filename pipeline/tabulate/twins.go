package tabulate

import (
	"slices"
	"strings"

	"tonocohort/schema"
)

// brachialTwin names the cuff value of which a central variable is the aortic
// counterpart, in whatever calibration.
func brachialTwin(name string) (string, bool) {
	for _, pressure := range []string{"sbp", "dbp", "map", "pp"} {
		if strings.HasPrefix(name, "central_"+pressure+"_") && strings.HasSuffix(name, "_mmhg") {
			return "brachial_" + pressure + "_mmhg", true
		}
	}
	return "", false
}

// described is a variable with what is to be said about it.
type described struct {
	name   string
	full   bool // the whole summary, not the share beyond a bound alone
	bounds []bound
	note   string
}

// bound is a threshold with the note that belongs to it.
type bound struct {
	value float64
	note  string
}

// outcomeThreshold says what 50 mmHg of central pulse pressure is.
const outcomeThreshold = "outcome threshold (Roman 2009, J Am Coll Cardiol 54:1730-4), not a reference limit"

// describedVariables lists what the summary describes: the declared variables,
// each followed by its brachial twin, then those that have a threshold alone.
func describedVariables(plan schema.Analysis, has func(string) bool) []described {
	var list []described
	find := func(name string) *described {
		for i := range list {
			if list[i].name == name {
				return &list[i]
			}
		}
		return nil
	}
	add := func(name string, full bool) {
		if find(name) == nil {
			list = append(list, described{name: name, full: full})
		}
		twin, ok := brachialTwin(name)
		if !ok || !has(twin) || find(twin) != nil || slices.Contains(plan.Variables, twin) {
			return
		}
		list = append(list, described{name: twin, full: full, note: "brachial twin of " + name})
	}
	for _, name := range plan.Variables {
		add(name, true)
	}
	names := sortedKeys(plan.Threshold)
	for _, name := range names {
		add(name, false)
	}
	for _, name := range names {
		value := plan.Threshold[name]
		note := ""
		if twin, ok := brachialTwin(name); ok {
			if twin == "brachial_pp_mmhg" && value == 50 {
				note = outcomeThreshold
			}
			if d := find(twin); d != nil {
				d.addBound(bound{value, "the bound of " + name + ", for comparison"})
			}
		}
		find(name).addBound(bound{value, note})
	}
	return list
}

func (d *described) addBound(b bound) {
	for _, other := range d.bounds {
		if other.value == b.value {
			return
		}
	}
	d.bounds = append(d.bounds, b)
}
