package schema

import "slices"

// The sources that more than one column rests on.
const (
	sourceWilkinson = "Wilkinson 2000, J Physiol 525:263-70: about 4 points less per 10 bpm more"
	sourceMurgo     = "Murgo 1980, Circulation 62:105-16; Kelly 1989, Circulation 80:1652 (from memory)"
	sourceBuckberg  = "Buckberg 1972, Circ Res 30:67 (from memory)"
	sourceWesterhof = "Westerhof BE 2006, Hypertension 48:595-601; limits: Artery Res 2007, doi 10.1016/j.artres.2007.07.052"
	sourceReservoir = "Aguado-Sierra 2008, Proc Inst Mech Eng H 222:403-16; Davies 2010 (from memory)"
	sourceWilliams  = "Williams 2011, JACC 57:951-61 (radial, window of a quarter second); Shih 2014, Hypertension 63:865 (brachial, a sixth of a second)"
)

// Calibrations lists the two ways of giving a wave its scale that are always computed.
var Calibrations = []string{"sbp_dbp", "map_dbp"}

// ValueColumns declares what is measured per recording and, combined over
// replicates, per subject and visit.
func ValueColumns() []Column {
	columns := []Column{
		number("heart_rate_bpm", "1/min", "60 over the mean period of the accepted beats"),
		number("brachial_sbp_mmhg", "mmHg", "cuff systolic pressure by the study's cuff rule"),
		number("brachial_dbp_mmhg", "mmHg", "cuff diastolic pressure by the study's cuff rule"),
		number("brachial_map_mmhg", "mmHg", "the cuff's own mean pressure, else DBP + form factor × PP; brachial_map_source says which"),
		number("brachial_pp_mmhg", "mmHg", "brachial SBP − DBP"),
		number("central_sbp_mmhg", "mmHg", "peak of the estimated aortic wave, primary calibration"),
		number("central_dbp_mmhg", "mmHg", "lowest point of the estimated aortic wave, primary calibration"),
		number("central_map_mmhg", "mmHg", "mean of the estimated aortic wave, equal to the mean of the calibrated peripheral wave"),
		number("central_pp_mmhg", "mmHg", "central SBP − central DBP, primary calibration"),
	}
	for _, c := range Calibrations {
		by := "brachial SBP and DBP"
		if c == "map_dbp" {
			by = "brachial mean pressure and DBP"
		}
		columns = append(columns,
			number("central_sbp_"+c+"_mmhg", "mmHg", "central SBP with the wave calibrated to "+by),
			number("central_dbp_"+c+"_mmhg", "mmHg", "central DBP with the wave calibrated to "+by),
			number("central_map_"+c+"_mmhg", "mmHg", "central mean pressure with the wave calibrated to "+by),
			number("central_pp_"+c+"_mmhg", "mmHg", "central PP with the wave calibrated to "+by),
		)
	}
	columns = append(columns,
		number("central_sbp_moving_average_mmhg", "mmHg", "largest moving average of the calibrated peripheral wave: a peak without a wave; null unless the artery is radial or brachial").From(sourceWilliams),
		number("peripheral_sbp_mmhg", "mmHg", "peak of the calibrated peripheral wave, primary calibration"),
		number("peripheral_form_factor", "1", "(mean − minimum) / (maximum − minimum) of the peripheral wave"),
		number("pp_amplification_ratio", "1", "brachial PP / central PP"),
		number("sbp_amplification_mmhg", "mmHg", "brachial SBP − central SBP"),
		number("augmentation_pressure_mmhg", "mmHg", "late minus early systolic pressure of the aortic wave; negative where the early one is higher").From(sourceMurgo),
		number("augmentation_index_pct", "%", "100 · augmentation pressure / central PP; may be negative").From(sourceMurgo),
		number("augmentation_index_hr75_pct", "%", "augmentation index + 0.4 · (heart rate − 75); never together with heart rate in one model").From(sourceWilkinson),
		number("early_systolic_mmhg", "mmHg", "early systolic pressure of the aortic wave, first shoulder or peak"),
		number("late_systolic_mmhg", "mmHg", "late systolic pressure of the aortic wave"),
		number("shoulder_ms", "ms", "time of the first shoulder or of the early peak after the foot of the aortic wave"),
		number("peak_ms", "ms", "foot to the highest point of the aortic wave"),
		number("maximum_slope_mmhg_s", "mmHg/s", "steepest rise of the aortic wave below 12 Hz"),
		number("central_form_factor", "1", "(mean − minimum) / (maximum − minimum) of the aortic wave; 0.45, 0.35 to 0.53 in 73 people").From("Chemla 2002, Clin Sci 103:7-13"),
		number("ejection_duration_ms", "ms", "foot to end of ejection"),
		number("systolic_integral_mmhg_s", "mmHg·s", "aortic pressure integrated over ejection").From(sourceBuckberg),
		number("diastolic_integral_mmhg_s", "mmHg·s", "aortic pressure integrated from the end of ejection to the next foot").From(sourceBuckberg),
		number("supply_demand_ratio_pct", "%", "100 · diastolic / systolic integral").From(sourceBuckberg),
		number("forward_wave_mmhg", "mmHg", "amplitude of the forward wave, triangular flow with its apex at 30 % of ejection").From(sourceWesterhof),
		number("backward_wave_mmhg", "mmHg", "amplitude of the backward wave").From(sourceWesterhof),
		number("reflection_magnitude", "1", "backward / forward amplitude; R² against measured flow was 0.21 to 0.25 in the general population").From(sourceWesterhof),
		number("reservoir_mmhg", "mmHg", "amplitude of the reservoir pressure, from the wave alone").From(sourceReservoir),
		number("excess_mmhg", "mmHg", "amplitude of the excess pressure").From(sourceReservoir),
		number("reservoir_integral_mmhg_s", "mmHg·s", "reservoir pressure above DBP integrated over the beat").From(sourceReservoir),
		number("excess_integral_mmhg_s", "mmHg·s", "excess pressure integrated over the beat").From(sourceReservoir),
		number("diastolic_decay_per_s", "1/s", "rate of the exponential fall in diastole").From(sourceReservoir),
		integer("beats_found", "beats found"),
		integer("beats_used", "beats that entered the average"),
	)
	for _, name := range UncertainColumns() {
		c := columns[slices.IndexFunc(columns, func(c Column) bool { return c.Name == name })]
		columns = append(columns, number(name+"_se", c.Unit, "standard error of "+name+": the components in the table uncertainty, combined; no systematic error of the cuff is in it"))
	}
	return columns
}

// UncertainColumns lists the values that stand with a standard error.
func UncertainColumns() []string {
	names := []string{"central_sbp_mmhg", "central_dbp_mmhg", "central_map_mmhg", "central_pp_mmhg"}
	for _, c := range Calibrations {
		names = append(names, "central_sbp_"+c+"_mmhg", "central_dbp_"+c+"_mmhg", "central_map_"+c+"_mmhg", "central_pp_"+c+"_mmhg")
	}
	return append(names, "augmentation_pressure_mmhg", "augmentation_index_pct", "augmentation_index_hr75_pct",
		"pp_amplification_ratio", "sbp_amplification_mmhg")
}
