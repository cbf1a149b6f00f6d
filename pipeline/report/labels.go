package report

import (
	"strings"

	"tonocohort/schema"
)

// labels are names of the trade for the columns that every study has.
func labels() map[string]string {
	return map[string]string{
		"age_years": "Age", "sex": "Sex", "age_band": "Age band", "height_cm": "Height", "weight_kg": "Weight",
		"bmi_kg_m2": "Body mass index", "bsa_m2": "Body surface area", "egfr_ckdepi2021": "Estimated GFR (CKD-EPI 2021)",
		"heart_rate_bpm": "Heart rate", "treated": "Blood-pressure-lowering treatment", "posture": "Posture", "centre": "Centre",
		"brachial_sbp_mmhg": "Brachial SBP", "brachial_dbp_mmhg": "Brachial DBP", "brachial_map_mmhg": "Brachial mean pressure", "brachial_pp_mmhg": "Brachial PP",
		"central_sbp_mmhg": "Central SBP", "central_dbp_mmhg": "Central DBP", "central_map_mmhg": "Central mean pressure", "central_pp_mmhg": "Central PP",
		"pp_amplification_ratio": "PP amplification (brachial/central)", "sbp_amplification_mmhg": "SBP amplification (brachial − central)",
		"augmentation_pressure_mmhg": "Augmentation pressure", "augmentation_index_pct": "Augmentation index", "augmentation_index_hr75_pct": "Augmentation index at 75/min",
		"ejection_duration_ms": "Ejection duration", "intercept": "Intercept",
	}
}

// Label is the name of a column in a publication table: its own where we have
// none for it, without what the unit says again.
func Label(column, unit string) string {
	if column == "" {
		return ""
	}
	name, known := labels()[column]
	if !known {
		name = column
		suffix := strings.NewReplacer("/", "_", "·", "_", "%", "pct").Replace(strings.ToLower(unit))
		if trimmed := strings.TrimSuffix(name, "_"+suffix); suffix != "" && trimmed != "" {
			name = trimmed
		}
		name = strings.ReplaceAll(name, "_", " ")
		name = strings.ToUpper(name[:1]) + name[1:]
	}
	if unit == "" || unit == "1" {
		return name
	}
	return name + ", " + unit
}

// reasonWords writes a reason of the flow as a person does: brachial_sbp_mmhg not
// below 140 as Brachial SBP (mmHg) not below 140.
func reasonWords(reason string) string {
	column, rest, _ := strings.Cut(reason, " ")
	if _, known := labels()[column]; !known {
		return plainWords(reason)
	}
	return axisLabel(column, unitOfName(column)) + " " + plainWords(rest)
}

// unitOfName is the unit of a column that every study has, "" for none.
func unitOfName(column string) string {
	t := schema.SubjectVisitsTable(nil)
	if at := t.Index(column); at >= 0 {
		return t.Columns[at].Unit
	}
	return ""
}

// spreads finds the standard deviation of every variable over everybody, by which
// it is written in all tables with the same decimals.
func spreads(s Source) map[string]float64 {
	sd := map[string]float64{}
	for _, name := range []string{"summary", "characteristics", "comparison"} {
		f := s.frame(name)
		if f == nil {
			continue
		}
		for row := range f.N {
			variable := f.TextAt(row, "variable")
			if _, known := sd[variable]; !known && f.TextAt(row, "statistic") == "sd" && !f.Missing(row, "estimate") {
				sd[variable] = f.Number(row, "estimate")
			}
		}
	}
	return sd
}

// unitsOf finds the unit of every variable.
func unitsOf(f *schema.Frame) map[string]string {
	units := map[string]string{}
	for row := range f.N {
		if s := f.TextAt(row, "statistic"); s == "mean" || s == "median" {
			units[f.TextAt(row, "variable")] = f.TextAt(row, "unit")
		}
	}
	return units
}

// unitWords writes a unit as a person does: per one year, not per years.
func unitWords(unit string) string {
	return strings.ReplaceAll(strings.TrimSpace(unit), "per years", "per year")
}
