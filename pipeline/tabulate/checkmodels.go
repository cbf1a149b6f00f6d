package tabulate

import (
	"fmt"
	"slices"
	"strings"

	"tonocohort/schema"
)

// Errors that a model may declare.
const (
	classicalErrors = "classical"
	hc3Errors       = "hc3"
)

// errorsOf returns the declared errors of a model; silence means hc3.
func errorsOf(m schema.Model) string {
	if m.Errors == "" {
		return hc3Errors
	}
	return m.Errors
}

// setOf returns the declared set of a model; silence means everyone.
func setOf(m schema.Model) string {
	if m.Set == "" {
		return everyone
	}
	return m.Set
}

func (c *checker) checkModel(m schema.Model, path string) {
	if m.Name == "" {
		c.fault(path+".name", "", "missing_setting", "required for a model", "")
	}
	if m.Outcome == "" {
		c.fault(path+".outcome", "", "missing_setting", "required for a model", "")
	} else {
		c.numeric(path+".outcome", m.Outcome)
	}
	c.once(path+".terms", m.Terms, "duplicate_item", "named twice")
	for i, term := range m.Terms {
		c.checkTerm(m, term, fmt.Sprintf("%s.terms[%d]", path, i))
	}
	if names := setNames(c.plan); !slices.Contains(names, setOf(m)) {
		hint := didYouMean(m.Set, names)
		if hint == "" {
			hint = "declare it under sets, or name the model's set"
		}
		c.fault(path+".set", m.Set, "unknown_set", "no such set; declared: "+strings.Join(names, ", "), hint)
	}
	if known := []string{classicalErrors, hc3Errors}; !slices.Contains(known, errorsOf(m)) {
		c.fault(path+".errors", m.Errors, "unknown_value", "known values: "+strings.Join(known, ", "), didYouMean(m.Errors, known))
	}
	if adjustsTwice(m) {
		c.fault(path+".terms", "heart_rate_bpm", "adjusted_twice", "augmentation_index_hr75_pct is already brought to a heart rate of 75: with heart_rate_bpm in the model it is adjusted twice", "use augmentation_index_pct, or leave heart_rate_bpm out")
	}
	for _, text := range arithmetic(m) {
		c.note(path+".terms", m.Outcome, "outcome_by_arithmetic", text, "leave one of them out")
	}
}

func (c *checker) checkTerm(m schema.Model, term, path string) {
	column, ok := c.levelled(path, term)
	switch {
	case !ok:
	case term == m.Outcome:
		c.fault(path, term, "outcome_as_term", "the outcome is among its own terms", "")
	case term == "subject_id":
		c.fault(path, term, "term_of_persons", "every person would be a level", "")
	case column.Kind == schema.Date || column.Kind == schema.Wave:
		c.fault(path, term, "term_not_usable", "a term is a number or a column with levels; this one holds "+string(column.Kind), "")
	}
}

const hr75 = "augmentation_index_hr75_pct"

// adjustsTwice reports the index brought to a heart rate of 75 in one model
// with heart rate (Wilkinson 2000, J Physiol 525:263-70 gives the slope).
func adjustsTwice(m schema.Model) bool {
	all := append([]string{m.Outcome}, m.Terms...)
	return slices.Contains(all, hr75) && slices.Contains(all, "heart_rate_bpm")
}

// arithmetic says which terms make the outcome by arithmetic, or nearly. A
// radial wave calibrated by cuff values has the cuff's diastolic and a mean that
// the cuff's values fix, so that aortic pressure follows from brachial pulse
// pressure with mean and diastolic pressure but for the shape of the wave.
func arithmetic(m schema.Model) []string {
	in := func(names ...string) bool {
		for _, name := range names {
			if !slices.Contains(m.Terms, name) {
				return false
			}
		}
		return true
	}
	var out []string
	if _, central := brachialTwin(m.Outcome); central {
		for _, name := range []string{"brachial_pp_mmhg", "brachial_sbp_mmhg"} {
			if in(name, "brachial_map_mmhg", "brachial_dbp_mmhg") {
				out = append(out, name+" with brachial_map_mmhg and brachial_dbp_mmhg makes the central outcome nearly by arithmetic: its coefficient tells nothing about people")
			}
		}
		if len(out) == 0 && in("brachial_map_mmhg", "brachial_dbp_mmhg") {
			out = append(out, "brachial_map_mmhg with brachial_dbp_mmhg fixes brachial pulse pressure where mean pressure is DBP + form factor × PP, and with it nearly the central outcome")
		}
	}
	for _, triple := range identities() {
		for i, name := range triple {
			others := slices.Delete(slices.Clone(triple), i, i+1)
			if name == m.Outcome && in(others...) {
				out = append(out, m.Outcome+" is computed from "+strings.Join(others, " and ")+": the model fits arithmetic")
			}
		}
	}
	return out
}

// identities lists columns of which each follows from the others.
func identities() [][]string {
	return [][]string{
		{"brachial_pp_mmhg", "brachial_sbp_mmhg", "brachial_dbp_mmhg"},
		{"central_pp_mmhg", "central_sbp_mmhg", "central_dbp_mmhg"},
		{"pp_amplification_ratio", "brachial_pp_mmhg", "central_pp_mmhg"},
		{"sbp_amplification_mmhg", "brachial_sbp_mmhg", "central_sbp_mmhg"},
		{"augmentation_index_pct", "augmentation_pressure_mmhg", "central_pp_mmhg"},
	}
}
