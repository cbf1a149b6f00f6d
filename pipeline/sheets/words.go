package sheets

import (
	"strings"

	"tonocohort/schema"
)

// meanings says in a few words what the named rules stand for. A name that is not
// here is shown as it is.
var meanings = map[string]string{
	// of a beat
	"incomplete":     "no next foot before the end of the signal or a gap",
	"saturated":      "rests at the highest or lowest value of the recording",
	"flat_line":      "holds one value for too long",
	"period_range":   "period outside 40 to 180 per minute",
	"noise":          "what the low-pass took away is large",
	"steep_fall":     "falls faster than a pulse does",
	"period_jump":    "period unlike those around it or the usual one",
	"amplitude":      "pulse height unlike the usual one",
	"amplitude_jump": "highest point unlike those around it",
	"baseline_jump":  "foot unlike those around it, or far from the next one",
	"template":       "shape unlike the average beat",
	"isolated":       "a good beat between two rejected ones",
	// of a recording
	"accepted_share":       "few of the complete beats were accepted",
	"few_beats":            "few beats entered the average",
	"amplitude_variation":  "accepted beats differ in height",
	"baseline_variation":   "feet of the accepted beats differ in level",
	"rhythm":               "periods vary",
	"shape":                "beats are unlike their average",
	"saturation":           "beats rest at the end of the range",
	"dropouts":             "samples are missing",
	"too_short":            "too short to find beats in",
	"flat":                 "no pulse in the signal",
	"too_few_beats":        "fewer accepted beats than the study asks for",
	"too_few_seconds":      "accepted beats last less than the study asks for",
	"no_samples":           "no samples",
	"sampling_rate":        "a sampling rate that cannot be worked with",
	"lowpass_not_applied":  "the low-pass was left out: its cut-off is too near half the sampling rate",
	"rejected_by_reader":   "a reader rejected it",
	"quality_unusable":     "the grade is below what the study analyses",
	"quality_doubtful":     "the grade is below what the study analyses",
	"protocol_departure":   "the visit departed from the protocol",
	"no_cuff_reading":      "no usable cuff reading",
	"implausible_pressure": "a pressure that no person has",
	"file_missing":         "there is no such file",
}

// words is a stable name as a reader meets it.
func words(name string) string { return strings.ReplaceAll(name, "_", " ") }

// meant is a name with its meaning where there is one.
func meant(name string) string {
	if m, ok := meanings[name]; ok {
		return words(name) + ": " + m
	}
	return words(name)
}

// Quantities lists the values of a sheet, in order.
func Quantities(primary string) []Quantity {
	other := "map_dbp"
	if primary == other {
		other = "sbp_dbp"
	}
	list := []Quantity{
		{Column: "heart_rate_bpm", Unit: "1/min"},
		{Column: "brachial_sbp_mmhg", Unit: "mmHg"},
		{Column: "brachial_dbp_mmhg", Unit: "mmHg"},
		{Column: "brachial_map_mmhg", Unit: "mmHg"},
		{Column: "brachial_pp_mmhg", Unit: "mmHg"},
		{Column: "central_sbp_mmhg", Unit: "mmHg", Digits: 1},
		{Column: "central_dbp_mmhg", Unit: "mmHg", Digits: 1},
		{Column: "central_pp_mmhg", Unit: "mmHg", Digits: 1},
		{Column: "central_sbp_" + other + "_mmhg", Unit: "mmHg", Digits: 1},
		{Column: "central_pp_" + other + "_mmhg", Unit: "mmHg", Digits: 1},
		{Column: "central_sbp_moving_average_mmhg", Unit: "mmHg", Digits: 1},
		{Column: "pp_amplification_ratio", Unit: "ratio", Digits: 2},
		{Column: "augmentation_pressure_mmhg", Unit: "mmHg", Digits: 1},
		{Column: "augmentation_index_pct", Unit: "%"},
		{Column: "augmentation_index_hr75_pct", Unit: "%"},
		{Column: "shoulder_ms", Unit: "ms"},
		{Column: "ejection_duration_ms", Unit: "ms"},
		{Column: "peripheral_form_factor", Unit: "ratio", Digits: 2},
		{Column: "beats_found", Unit: "beats"},
		{Column: "beats_used", Unit: "beats"},
	}
	for i := range list {
		list[i].Label, _ = schema.QuantityName(list[i].Column)
	}
	return list
}

// ArteryWords names the wave that was recorded.
func ArteryWords(artery string) string {
	if artery == "" {
		return "peripheral"
	}
	return artery
}
