package pulse

import "math"

// Kinds of calibration.
const (
	BySBPDBP   = "sbp_dbp"     // lowest point → DBP, highest point → SBP
	ByMAPDBP   = "map_dbp"     // lowest point → DBP, mean → MAP
	AsRecorded = "as_recorded" // the samples are in mmHg already
)

// Calibrate returns the straight line p = offset + scale·x that turns an
// average beat x without a scale into mmHg. sbp, dbp and mean are cuff
// pressures in mmHg; the ones that the kind does not use are not looked at.
// The error is a *Failure: a wave that does not vary, pressures that are
// missing or in the wrong order, or a kind that is none of the three.
func Calibrate(average []float64, kind string, sbp, dbp, mean float64) (scale, offset float64, err error) {
	if kind == AsRecorded {
		return 1, 0, nil
	}
	low, high, sum := math.Inf(1), math.Inf(-1), 0.0
	for _, v := range average {
		low, high = min(low, v), max(high, v)
		sum += v
	}
	var rise, pressure float64
	var name string
	switch kind {
	case BySBPDBP:
		rise, pressure, name = high-low, sbp, "SBP"
	case ByMAPDBP:
		rise, pressure, name = sum/float64(len(average))-low, mean, "MAP"
	default:
		return math.NaN(), math.NaN(), fail(CodeCalibration, "calibration %q is none of %s, %s, %s", kind, BySBPDBP, ByMAPDBP, AsRecorded)
	}
	switch {
	case !(rise > 0) || math.IsInf(rise, 0):
		return math.NaN(), math.NaN(), fail(CodeCalibration, "the average beat does not vary: it cannot be given a scale")
	case !(pressure-dbp > 0) || math.IsInf(pressure-dbp, 0) || !(dbp > 0):
		return math.NaN(), math.NaN(), fail(CodeCalibration, "cuff %s %g must lie above DBP %g, and both above 0", name, pressure, dbp)
	}
	scale = (pressure - dbp) / rise
	return scale, dbp - float64(scale*low), nil
}
