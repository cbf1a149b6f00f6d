package sheets

import (
	"strings"
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
	other, by := "map_dbp", "cuff mean and DBP"
	if primary == "map_dbp" {
		other, by = "sbp_dbp", "cuff SBP and DBP"
	}
	return []Quantity{
		{"heart_rate_bpm", "Heart rate", "1/min", 0},
		{"brachial_sbp_mmhg", "Cuff SBP", "mmHg", 0},
		{"brachial_dbp_mmhg", "Cuff DBP", "mmHg", 0},
		{"brachial_map_mmhg", "Cuff mean pressure", "mmHg", 0},
		{"brachial_pp_mmhg", "Cuff PP", "mmHg", 0},
		{"central_sbp_mmhg", "Central SBP", "mmHg", 1},
		{"central_dbp_mmhg", "Central DBP", "mmHg", 1},
		{"central_pp_mmhg", "Central PP", "mmHg", 1},
		{"central_sbp_" + other + "_mmhg", "Central SBP, scaled by " + by, "mmHg", 1},
		{"central_pp_" + other + "_mmhg", "Central PP, scaled by " + by, "mmHg", 1},
		{"central_sbp_moving_average_mmhg", "Central SBP by moving average", "mmHg", 1},
		{"pp_amplification_ratio", "PP, cuff over aorta", "ratio", 2},
		{"augmentation_pressure_mmhg", "Augmentation pressure", "mmHg", 1},
		{"augmentation_index_pct", "Augmentation index", "%", 0},
		{"augmentation_index_hr75_pct", "Augmentation index at 75/min", "%", 0},
		{"shoulder_ms", "Foot to first shoulder", "ms", 0},
		{"ejection_duration_ms", "Foot to end of ejection", "ms", 0},
		{"peripheral_form_factor", "Form factor of the wave that was recorded", "ratio", 2},
		{"beats_found", "Beats found", "beats", 0},
		{"beats_used", "Beats in the average", "beats", 0},
	}
}

// ArteryWords names the wave that was recorded.
func ArteryWords(artery string) string {
	if artery == "" {
		return "peripheral"
	}
	return artery
}
