package central

import "math"

// Ejection is what a published regression expects of the ejection time.
type Ejection struct {
	MS     float64 // expected
	SDMS   float64 // of a person around it
	Source string
}

// ExpectedEjection returns the expected left ventricular ejection time at a
// heart rate by sex (male, female; any other: the mean of both).
//
// Weissler 1968 (from memory): men 413 − 1.7·rate, women 418 − 1.6·rate, SD 10.
// It was measured from the carotid upstroke to its notch; what Measure finds on
// a wave without an incisura comes some 30 ms later.
func ExpectedEjection(heartRateBPM float64, sex string) Ejection {
	men, women := 413-float64(1.7*heartRateBPM), 418-float64(1.6*heartRateBPM)
	e := Ejection{MS: (men + women) / 2, SDMS: 10, Source: "Weissler 1968 (from memory)"}
	switch sex {
	case "male":
		e.MS = men
	case "female":
		e.MS = women
	}
	return e
}

// ExpectedEjectionSeated returns the regression of seated men of 22 to 37 years
// at rest: 379 − 1.8·rate ± 11 ms (Lance, 18 men).
func ExpectedEjectionSeated(heartRateBPM float64) Ejection {
	return Ejection{MS: 379 - float64(1.8*heartRateBPM), SDMS: 11, Source: "Lance et al., 18 men of 22-37 years, seated"}
}

// The limits of plausibility.
const (
	// ejectionLimitMS is six standard deviations of Weissler and what a wave
	// without an incisura adds: our own limit.
	ejectionLimitMS = 90.0
	// Form factor of the aortic wave in 73 people: 0.35 to 0.53 (Chemla 2002,
	// Clin Sci 103:7-13); half its width is added on either side.
	formFactorFrom = 0.26
	formFactorTo   = 0.62
	// Supply/demand ratio of healthy people: 119 to 254 % (Siebenhofer 1999, J
	// Hum Hypertens 13:625-9); half its width is added on either side.
	ratioFrom = 51.5
	ratioTo   = 321.5
	// Aortic flow itself peaks 79 ± 11 ms after its start (Kamimura 2016): three
	// standard deviations and a little below, our own limit.
	earliestPeakMS = 40.0
)

// Implausible returns a note for each index of an aortic wave that lies far
// outside what people have, in a fixed order; what is absent is not judged.
func Implausible(m *Indices, heartRateBPM float64, sex string) []string {
	var notes []string
	add := func(outside bool, note string) {
		if outside {
			notes = append(notes, note)
		}
	}
	add(math.Abs(m.EjectionMS-ExpectedEjection(heartRateBPM, sex).MS) > ejectionLimitMS, "ejection_duration:implausible_for_heart_rate")
	add(m.FormFactor < formFactorFrom || m.FormFactor > formFactorTo, "form_factor:implausible")
	add(m.SupplyDemandPct < ratioFrom || m.SupplyDemandPct > ratioTo, "supply_demand_ratio:implausible")
	add(m.PeakMS < earliestPeakMS, "peak:too_early")
	return notes
}
