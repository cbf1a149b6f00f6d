package pipeline

import (
	"slices"

	"tonocohort/schema"
)

// Where the values stand that every recording fills, in its values: looked up by
// name once, and not for each recording.
var (
	atBrachialSBP, atBrachialDBP = columnAt("brachial_sbp_mmhg"), columnAt("brachial_dbp_mmhg")
	atBrachialMAP, atBrachialPP  = columnAt("brachial_map_mmhg"), columnAt("brachial_pp_mmhg")
	atPeripheralSBP              = columnAt("peripheral_sbp_mmhg")
	atPeripheralFormFactor       = columnAt("peripheral_form_factor")
	atHeartRate                  = columnAt("heart_rate_bpm")
	atBeatsFound, atBeatsUsed    = columnAt("beats_found"), columnAt("beats_used")

	atCentral       = pressuresAt("")
	atMovingAverage = columnAt("central_sbp_moving_average_mmhg")
	atCalibrated    = eachCalibration(pressuresAt) // in the order of schema.Calibrations

	atRatio, atSBPAmplification           = columnAt("pp_amplification_ratio"), columnAt("sbp_amplification_mmhg")
	atAugmentationPressure                = columnAt("augmentation_pressure_mmhg")
	atIndex, atIndexHR75                  = columnAt("augmentation_index_pct"), columnAt("augmentation_index_hr75_pct")
	atEarlySystolic, atLateSystolic       = columnAt("early_systolic_mmhg"), columnAt("late_systolic_mmhg")
	atShoulder, atPeak                    = columnAt("shoulder_ms"), columnAt("peak_ms")
	atMaximumSlope, atCentralFormFactor   = columnAt("maximum_slope_mmhg_s"), columnAt("central_form_factor")
	atEjection                            = columnAt("ejection_duration_ms")
	atSystolicIntegral                    = columnAt("systolic_integral_mmhg_s")
	atDiastolicIntegral                   = columnAt("diastolic_integral_mmhg_s")
	atSupplyDemand                        = columnAt("supply_demand_ratio_pct")
	atForward, atBackward                 = columnAt("forward_wave_mmhg"), columnAt("backward_wave_mmhg")
	atReflectionMagnitude                 = columnAt("reflection_magnitude")
	atReservoir, atExcess                 = columnAt("reservoir_mmhg"), columnAt("excess_mmhg")
	atReservoirIntegral, atExcessIntegral = columnAt("reservoir_integral_mmhg_s"), columnAt("excess_integral_mmhg_s")
	atDiastolicDecay                      = columnAt("diastolic_decay_per_s")
)

// columnAt finds a value column.
func columnAt(name string) int { return theLayout.at(name) }

// theLayout is that of schema.ValueColumns; it is only read.
var theLayout = newLayout()

// pressures are the places of the four central pressures of a calibration.
type pressures struct{ sbp, dbp, mean, pp int }

func pressuresAt(infix string) pressures { return findPressures(columnAt, infix) }

func findPressures(find func(name string) int, infix string) pressures {
	at := func(value string) int { return find("central_" + value + infix + "_mmhg") }
	return pressures{sbp: at("sbp"), dbp: at("dbp"), mean: at("map"), pp: at("pp")}
}

func eachCalibration(find func(infix string) pressures) []pressures {
	var all []pressures
	for _, c := range schema.Calibrations {
		all = append(all, find("_"+c))
	}
	return all
}

// Where the values with a standard error stand among those.
var (
	errorOfCentral    = errorsAt("")
	errorOfCalibrated = eachCalibration(errorsAt)

	errorOfAugmentationPressure           = errorPlace("augmentation_pressure_mmhg")
	errorOfIndex, errorOfIndexHR75        = errorPlace("augmentation_index_pct"), errorPlace("augmentation_index_hr75_pct")
	errorOfRatio, errorOfSBPAmplification = errorPlace("pp_amplification_ratio"), errorPlace("sbp_amplification_mmhg")
)

func errorsAt(infix string) pressures { return findPressures(errorPlace, infix) }

func errorPlace(name string) int {
	i := slices.IndexFunc(uncertainColumns, func(c uncertainColumn) bool { return c.name == name })
	if i < 0 {
		panic("pipeline: no standard error of " + name)
	}
	return i
}
