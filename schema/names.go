package schema

// names are the names of the trade for the columns that every study has, so that
// a quantity has one name wherever a person reads it.
var names = map[string]string{
	"age_years": "Age", "sex": "Sex", "age_band": "Age band", "height_cm": "Height", "weight_kg": "Weight",
	"bmi_kg_m2": "Body mass index", "bsa_m2": "Body surface area", "egfr_ckdepi2021": "Estimated GFR (CKD-EPI 2021)",
	"treated": "Blood-pressure-lowering treatment", "bp_class": "Blood pressure class", "posture": "Posture", "centre": "Centre",
	"heart_rate_bpm": "Heart rate", "brachial_sbp_mmhg": "Brachial SBP", "brachial_dbp_mmhg": "Brachial DBP",
	"brachial_map_mmhg": "Brachial mean pressure", "brachial_pp_mmhg": "Brachial PP",
	"central_sbp_mmhg": "Central SBP", "central_dbp_mmhg": "Central DBP", "central_map_mmhg": "Central mean pressure", "central_pp_mmhg": "Central PP",
	"central_sbp_sbp_dbp_mmhg": "Central SBP, calibrated to brachial SBP/DBP", "central_pp_sbp_dbp_mmhg": "Central PP, calibrated to brachial SBP/DBP",
	"central_sbp_map_dbp_mmhg": "Central SBP, calibrated to brachial mean/DBP", "central_pp_map_dbp_mmhg": "Central PP, calibrated to brachial mean/DBP",
	"central_sbp_moving_average_mmhg": "Central SBP by moving average",
	"pp_amplification_ratio":          "PP amplification (brachial/central)", "sbp_amplification_mmhg": "SBP amplification (brachial − central)",
	"augmentation_pressure_mmhg": "Augmentation pressure", "augmentation_index_pct": "Augmentation index", "augmentation_index_hr75_pct": "Augmentation index at 75/min",
	"shoulder_ms": "Foot to first shoulder", "ejection_duration_ms": "Ejection duration", "peripheral_form_factor": "Form factor of the peripheral wave",
	"beats_found": "Beats found", "beats_used": "Beats in the average", "intercept": "Intercept",
}

// QuantityName is the name of the trade for a column that every study has; false for any
// other, which is called as the study calls it.
func QuantityName(column string) (string, bool) {
	name, known := names[column]
	return name, known
}
