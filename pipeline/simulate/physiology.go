package simulate

import "math"

// Published population values, and beside them the choices of our own that
// join them. Those marked "fitted" were found by bringing the cohort near the
// published table of McEniery 2005 and to the published form factors of the
// brachial (0.395, Bos 2007) and of the aortic wave (0.45, Chemla 2002).

// pulseWaveVelocity is the aortic (carotid–femoral) pulse wave velocity in m/s
// by age and brachial pressure: the equations of the Reference Values for
// Arterial Stiffness' Collaboration 2010, Eur Heart J 31:2338-50, Table 6.
func pulseWaveVelocity(age, sbp, dbp float64) float64 {
	coefficients := [][3]float64{{0, 0.83e-3, 5.55}, {0, 0.99e-3, 5.69}, {0, 1.05e-3, 5.91}, {0, 1.18e-3, 6.17}, {0.044, 0.85e-3, 5.73}}
	class := 0
	for i, limit := range [][2]float64{{120, 80}, {130, 85}, {140, 90}, {160, 100}} {
		if sbp >= limit[0] || dbp >= limit[1] { // the higher class holds
			class = i + 1
		}
	}
	c := coefficients[class]
	return c[0]*age + c[1]*age*age + c[2]
}

// velocitySpread is the standard deviation of the logarithm of that velocity,
// from the 10th and 90th centiles of Table 5 of the same paper (optimal
// pressure).
func velocitySpread(age float64) float64 {
	const z90 = 1.2816
	limits := []struct{ below, p10, p90 float64 }{
		{30, 5.2, 7.0}, {40, 5.4, 7.9}, {50, 5.8, 8.5}, {60, 6.2, 9.2}, {70, 7.0, 11.4}, {math.Inf(1), 7.6, 13.8},
	}
	for _, l := range limits {
		if age < l.below {
			return math.Log(l.p90/l.p10) / (2 * z90)
		}
	}
	return 0
}

// armTravel is the anatomical time in s from the aortic root to the left wrist:
// 0.119 m at aortic and 0.691 m at arm velocity (path lengths of Mynard and
// Smolich 2015, velocities of Avolio 1983, Circulation 68:50, both as used by
// Charlton 2019), for a height of 1.75 m and in proportion to height.
func armTravel(age, heightM float64) float64 {
	return (0.119/(6.15+0.092*age) + 0.691/(9.98+0.048*age)) * heightM / 1.75
}

// strokeLimits are the 5th and 95th centiles of the stroke volume of men in mL
// (Poppe 2015, as used by Charlton 2019). Women are given nine tenths of it:
// own assumption.
func strokeLimits(age float64) (low, high float64) {
	return 42.94 - 0.1193*age, 102.35 - 0.3856*age
}

// ejectionTime is the usual duration of ejection in s: 282 ms (Mynard 2015, as
// used by Charlton 2019) at 70 beats a minute with a slope of −1.8 ms per beat
// a minute (Lance: 379 − 1.8 heart rate), 6 ms more in women (Weissler 1968,
// from memory), and longer with age (fitted).
func ejectionTime(age, rateBPM float64, female bool) float64 {
	t := 0.282 - 0.0018*(rateBPM-70) + 0.015*quarter(age)
	if female {
		t += 0.006
	}
	return t
}

// quarter is age on the scale of the fits: quarters of a century from 50.
func quarter(age float64) float64 { return (age - 50) / 25 }

// heartRate: 67 to 70 a minute with a standard deviation of 10 to 12 (Petersen
// 2017, as used by Charlton 2019).
const (
	heartRateMen    = 66.0
	heartRateWomen  = 70.0
	heartRateSpread = 8.5
)

// Mean shape of the circulation by sex and age, all fitted.

// terminalReflection is the reflection at the end of the aorta at high
// frequency. It rises with age in the young and falls in the old, while pulse
// pressure keeps rising with the forward wave (Mitchell 2010, Circulation
// 122:1379-86).
func terminalReflection(age float64, female bool) float64 {
	u := quarter(age)
	if female {
		return 0.206 + 0.058*u - 0.042*u*u
	}
	return 0.148 + 0.070*u - 0.054*u*u
}

// stretchTime is the compliance of the peripheral windkessel × impedance, in s.
func stretchTime(age float64) float64 { return 0.146 + 0.020*quarter(age) }

// diffuseTime in s spreads the reflection over the many places where it arises.
func diffuseTime(age float64) float64 { return max(0.002+0.0097*quarter(age), 0) }

const (
	// reflectionSite is the distance in m to the effective site of reflection
	// of a person 1.70 m tall; with published velocities it gives 87 ms at 25
	// years and 48 ms at 82, one way.
	reflectionSite = 0.52
	// peakTime of aortic flow in s; published 79 ± 11 (Kamimura 2016) and
	// 104 ± 22 ms (Bensalah 2014), both as used by Charlton 2019.
	peakTime       = 0.111
	peakTimeSpread = 0.007
	// flowExponent blunts the half sine of the ejected flow.
	flowExponent = 0.90
)

// The arm. With its mean values the pulse is raised most near 4 Hz, 2.8 fold or
// a little less (Karamanoglu 1993, Eur Heart J 14:160-7); one of a family of
// values that do so. The effective travel time is shorter than the anatomical
// one because the pulse is reflected before the wrist too.
const (
	armTravelShare = 0.70 // effective over anatomical travel time
	armLoadA       = 0.074
	armLoadB       = 0.30
	cuffWay        = 0.60 // share of the way to the wrist at which the cuff sits
)
