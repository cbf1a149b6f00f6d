package pulse

// Rules that call calibrated pressures implausible, in the order in which they
// are tried.
const (
	ImplausibleDBPLow  = "dbp_low"
	ImplausibleSBPHigh = "sbp_high"
	ImplausibleMAPLow  = "map_low"
	ImplausibleMAPHigh = "map_high"
	ImplausiblePPLow   = "pp_low"
	ImplausibleAdult   = "not_adult"
)

// Limits in mmHg. The first five: Sun, Reisner, Mark 2006, Comput Cardiol
// 33:13-6 (the smallest pulse pressure is the more permissive of two published
// variants: healthy people at 22 to 24 exist). The adult ones are own choices,
// the lowest cuff readings that the contract takes for plausible.
const (
	leastDBP = 20
	mostSBP  = 300
	leastMAP = 30
	mostMAP  = 200
	leastPP  = 20
	adultSBP = 60
	adultDBP = 30
	adultMAP = 40
)

// Implausible returns the first rule that a calibrated beat (mmHg, one whole
// period) breaks, and "" where its lowest, highest and mean pressure are
// plausible in an adult. An empty wave breaks none.
func Implausible(wave []float64) string {
	if len(wave) == 0 {
		return ""
	}
	low, high := wave[0], wave[0]
	for _, p := range wave {
		low, high = min(low, p), max(high, p)
	}
	average := mean(wave)
	switch {
	case low < leastDBP:
		return ImplausibleDBPLow
	case high > mostSBP:
		return ImplausibleSBPHigh
	case average < leastMAP:
		return ImplausibleMAPLow
	case average > mostMAP:
		return ImplausibleMAPHigh
	case high-low < leastPP:
		return ImplausiblePPLow
	case low < adultDBP || average < adultMAP || high < adultSBP:
		return ImplausibleAdult
	}
	return ""
}
