package simulate

import (
	"math"
	"slices"
	"testing"

	"tonocohort/schema/published"
)

// observed is one person of the cohort as the simple estimator sees them.
type observed struct {
	p *person
	v *visit
	t Truth
	e estimate
}

// observe takes one recording of everyone's first visit.
func observe(seed string, people int) []observed {
	targets, solver, pressures := publishedNorms(), newSteady(), newRenderer()
	out := make([]observed, 0, people)
	for i := range people {
		p := newPerson(seed, i, targets)
		v := visitsOf(seed, p, solver)[0]
		s := newStream(seed, p.id+"_v1_1", "samples")
		d := devicesOf(p.centre)[0]
		made := take(p, v, d, 13, newRestlessness(s), s, pressures, solver)
		sbp, dbp := cuffOf(v.readings(seed, p))
		if math.IsNaN(sbp) {
			continue
		}
		onsets := made.truth.OnsetsS
		period := (onsets[len(onsets)-1] - onsets[0]) / float64(len(onsets)-1)
		out = append(out, observed{p, v, made.truth, estimateOf(averageBeat(made.samples, d.hz, onsets), period, sbp, dbp)})
	}
	return out
}

// healthy applies the set that study.yaml declares.
func (o observed) healthy() bool {
	return !o.p.treated && o.p.diabetes == "no" && o.e.bSBP < 140 && o.e.bDBP < 90
}

func (o observed) in(sex string, low, high int) bool {
	return o.p.sex == sex && int(o.p.ageYears) >= low && int(o.p.ageYears) <= high
}

func column(all []observed, keep func(observed) bool, value func(observed) float64) []float64 {
	var x []float64
	for _, o := range all {
		if keep(o) {
			if v := value(o); !math.IsNaN(v) {
				x = append(x, v)
			}
		}
	}
	return x
}

// TestDemonstration judges the cohort of 600 under two seeds.
func TestDemonstration(t *testing.T) {
	for _, seed := range []string{"tern-quay", "quay"} {
		all := observe(seed, 600)
		t.Run(seed+" strata", func(t *testing.T) { strataNearPublished(t, all) })
		t.Run(seed+" examples", func(t *testing.T) { examplesOfPractice(t, all) })
	}
}

// The means of McEniery 2005, JACC 46:1753-60, Table 1 (second-hand, see the
// shipped table), within what the demonstration promises: 5 mmHg for central
// pulse pressure and 0.15 for amplification; and cuff pressures and the
// augmentation index near it. Values marked suspect are left out.
func strataNearPublished(t *testing.T, all []observed) {
	set, err := published.Open("mceniery2005")
	if err != nil {
		t.Fatal(err)
	}
	limits := map[string]struct {
		within float64
		value  func(estimate) float64
	}{
		"central_pp_mmhg":        {5, func(e estimate) float64 { return e.cPP }},
		"pp_amplification_ratio": {0.15, func(e estimate) float64 { return e.amplification }},
		"brachial_sbp_mmhg":      {5, func(e estimate) float64 { return e.bSBP }},
		"brachial_dbp_mmhg":      {5, func(e estimate) float64 { return e.bDBP }},
		"central_sbp_mmhg":       {6, func(e estimate) float64 { return e.cSBP }},
		"augmentation_index_pct": {14, func(e estimate) float64 { return e.augmentation }}, // from 40 years, see below
	}
	compared := 0
	for _, v := range set.Values {
		limit, ok := limits[v.Variable]
		if !ok || v.Suspect() || v.AgeHigh < 20 {
			continue
		}
		if v.Variable == "augmentation_index_pct" && v.AgeHigh < 40 {
			continue // the simple search for a shoulder often fails where the early peak is the higher one
		}
		x := column(all, func(o observed) bool { return o.healthy() && o.in(v.Sex, v.AgeLow, v.AgeHigh) },
			func(o observed) float64 { return limit.value(o.e) })
		if len(x) < 12 {
			t.Errorf("%s %s has %d healthy people", v.Sex, v.AgeBand, len(x))
		}
		if d := mean(x) - v.Mean; math.Abs(d) > limit.within {
			t.Errorf("%s of %s %s is %.2f (n %d), published %.2f", v.Variable, v.Sex, v.AgeBand, mean(x), len(x), v.Mean)
		}
		compared++
	}
	if want := 5*14 - 1 + 10; compared != want {
		t.Errorf("%d means compared, want %d", compared, want)
	}
}

// Common practice, without a published source: a young man with brachial
// 110/69 came out with an amplification of 1.78, a man of 71 with 135/77 with
// 1.14. Both lie in the central 95 % of the cohort at their ages.
func examplesOfPractice(t *testing.T, all []observed) {
	for _, example := range []struct {
		low, high     int
		amplification float64
	}{{20, 30, 1.78}, {65, 77, 1.14}} {
		x := column(all, func(o observed) bool { return o.in("male", example.low, example.high) },
			func(o observed) float64 { return o.e.amplification })
		slices.Sort(x)
		// Ranks that leave at most 2.5 % outside on each side.
		low, high := x[int(0.025*float64(len(x)))], x[len(x)-1-int(0.025*float64(len(x)))]
		if example.amplification < low || example.amplification > high {
			t.Errorf("men of %d to %d: amplification %.2f is outside %.2f to %.2f (n %d)",
				example.low, example.high, example.amplification, low, high, len(x))
		}
	}
}

// TestPopulation judges one larger cohort by published facts.
func TestPopulation(t *testing.T) {
	all := observe("population", 14*80)
	t.Run("physiology", func(t *testing.T) { physiology(t, all) })
	t.Run("forward wave", func(t *testing.T) { forwardWave(t, all) })
	t.Run("augmentation", func(t *testing.T) { augmentationBySexAndAge(t, all) })
}

func physiology(t *testing.T, all []observed) {
	everyone := func(observed) bool { return true }
	near := func(what string, got, want, within float64) {
		t.Helper()
		if math.Abs(got-want) > within {
			t.Errorf("%s is %.3f, published %.3f (± %.3f)", what, got, want, within)
		}
	}
	// Reference Values for Arterial Stiffness' Collaboration 2010, Eur Heart J
	// 31:2338-50, Table 5 (second-hand): median velocity, between the columns
	// of optimal and normal pressure with a margin of 0.6 m/s.
	for i, medians := range [][2]float64{{6.0, 6.4}, {6.5, 6.7}, {6.8, 7.4}, {7.5, 8.1}, {8.7, 9.3}} {
		x := column(all, func(o observed) bool {
			return o.e.bSBP < 130 && o.e.bDBP < 85 && int(o.p.ageYears)/10 == i+2
		}, func(o observed) float64 { return o.t.VelocityMPerS })
		slices.Sort(x)
		if m := x[len(x)/2]; m < medians[0]-0.6 || m > medians[1]+0.6 {
			t.Errorf("median pulse wave velocity at %d is %.2f m/s, published %v", 10*(i+2), m, medians)
		}
	}
	// Petersen 2017 (as used by Charlton 2019): 67 to 70 a minute, SD 10 to 12.
	rate := column(all, everyone, func(o observed) float64 { return o.t.HeartRateBPM })
	near("mean heart rate", mean(rate), 68.5, 2)
	near("spread of heart rate", spread(rate), 10, 2)
	// Mynard 2015, Gerstenblith 1977 (as used by Charlton 2019): ejection 282 ms, SD 23.
	ejection := column(all, everyone, func(o observed) float64 { return o.t.EjectionMS })
	near("mean ejection time", mean(ejection), 282, 12)
	near("spread of ejection time", spread(ejection), 23, 6)
	// Poppe 2015 (as used by Charlton 2019): nine in ten men lie between these limits.
	inside := column(all, func(o observed) bool { return o.p.sex == "male" }, func(o observed) float64 {
		low, high := strokeLimits(o.p.ageYears)
		if o.t.StrokeVolumeML >= low && o.t.StrokeVolumeML <= high {
			return 1
		}
		return 0
	})
	near("share of men within the limits of stroke volume", mean(inside), 0.90, 0.04)
	// Bos 2007, J Hypertens 25:751-5: the mean brachial pressure lies 39.5 ± 2.5 % up the pulse.
	form := column(all, everyone, func(o observed) float64 { return (o.t.Brachial.MAP - o.t.Brachial.DBP) / o.t.Brachial.PP() })
	near("brachial form factor", mean(form), 0.395, 0.025)
	near("spread of the brachial form factor", spread(form), 0.025, 0.010)
	// Chemla 2002, Clin Sci 103:7-13: the aortic one 45 %, from 35 to 53 %.
	form = column(all, everyone, func(o observed) float64 { return (o.t.Aortic.MAP - o.t.Aortic.DBP) / o.t.Aortic.PP() })
	near("aortic form factor", mean(form), 0.45, 0.02)
	// Picone 2015, J Hypertens: radial minus brachial systolic pressure 8 ± 7 mmHg in the young.
	step := column(all, func(o observed) bool { return o.p.ageYears < 40 }, func(o observed) float64 { return o.t.Radial.SBP - o.t.Brachial.SBP })
	near("radial less brachial systolic pressure", mean(step), 8, 2)
	// Picone 2017, JACC 70:572-86: cuff minus artery −5.7 (−8.0 to −3.5) and 5.5 (3.5 to 7.5) mmHg.
	near("cuff less artery, systolic", mean(column(all, everyone, func(o observed) float64 { return o.e.bSBP - o.t.Brachial.SBP })), -5.7, 2.2)
	near("cuff less artery, diastolic", mean(column(all, everyone, func(o observed) float64 { return o.e.bDBP - o.t.Brachial.DBP })), 5.5, 2)
	// Cheng 2013, Int J Cardiol 167:1867-76, calibrated to cuff pressure: central PP −12.2 ± 10.4 mmHg.
	near("estimated less true central pulse pressure", mean(column(all, everyone, func(o observed) float64 { return o.e.cPP - o.t.Aortic.PP() })), -12.2, 3)
	// Karamanoglu 1993, Eur Heart J 14:160-7: radial over aortic pressure peaks 2.8 fold at 4 Hz.
	// Chen 1997 (from memory): between people the height varies by 25 %, the frequency by 17 %.
	near("frequency of the arm's peak", mean(column(all, everyone, func(o observed) float64 { return o.t.ArmPeakHz })), 4, 0.17*4)
	near("height of the arm's peak", mean(column(all, everyone, func(o observed) float64 { return o.t.ArmPeakGain })), 2.8, 0.25*2.8)
	// McVeigh 1999 (as used by Charlton 2019): peripheral resistance 0.85 to 1.15 mmHg·s/mL.
	near("peripheral resistance", mean(column(all, everyone, func(o observed) float64 { return o.v.circulation.resistance })), 1.0, 0.3)
	// From memory: total arterial compliance 1.0 to 2.2 mL/mmHg, falling with age.
	near("compliance of the young", mean(column(all, func(o observed) bool { return o.p.ageYears < 40 }, func(o observed) float64 { return o.t.ComplianceMLPerMMHg })), 1.6, 0.6)
}

// Mitchell 2010, Circulation 122:1379-86: the amplitude of the forward wave
// explains 80 % of the variance of central pulse pressure below 50 years and
// 90 % from 50; the reflected share rises in the young and falls in the old
// while pulse pressure keeps rising.
func forwardWave(t *testing.T, all []observed) {
	between := func(low, high float64) func(observed) bool {
		return func(o observed) bool { return o.p.ageYears >= low && o.p.ageYears < high }
	}
	forward := func(o observed) float64 { return o.t.ForwardMMHg }
	central := func(o observed) float64 { return o.t.Aortic.PP() }
	for _, c := range []struct{ low, high, explained float64 }{{20, 50, 0.80}, {50, 90, 0.90}} {
		x, y := column(all, between(c.low, c.high), forward), column(all, between(c.low, c.high), central)
		if r := correlation(x, y); math.Abs(r*r-c.explained) > 0.12 {
			t.Errorf("ages %g to %g: the forward wave explains %.2f, published %.2f", c.low, c.high, r*r, c.explained)
		}
	}
	share := func(o observed) float64 { return o.t.BackwardMMHg / o.t.ForwardMMHg }
	young, middle, old := mean(column(all, between(20, 30), share)), mean(column(all, between(50, 60), share)), mean(column(all, between(80, 90), share))
	if !(young < middle && old < middle) {
		t.Errorf("reflected share %.3f in the twenties, %.3f in the fifties, %.3f from 80: it should rise and fall", young, middle, old)
	}
	previous := 0.0
	for age := 20.0; age < 90; age += 10 {
		pp := mean(column(all, between(age, age+10), central))
		if pp < previous {
			t.Errorf("true central pulse pressure falls to %.1f mmHg at %g years", pp, age)
		}
		previous = pp
	}
}

func correlation(x, y []float64) float64 {
	mx, my, xy := mean(x), mean(y), 0.0
	for i := range x {
		xy += (x[i] - mx) * (y[i] - my)
	}
	return xy / float64(len(x)-1) / spread(x) / spread(y)
}

// The augmentation index is lower in men (Janner 2010, Am J Hypertens 23:180-5:
// 22 against 30 % overall) and rises with age mainly before 50 (McEniery 2005).
func augmentationBySexAndAge(t *testing.T, all []observed) {
	index := func(sex string, low, high int) float64 {
		return mean(column(all, func(o observed) bool { return o.healthy() && o.in(sex, low, high) }, func(o observed) float64 { return o.e.augmentation }))
	}
	for age := 40; age < 90; age += 10 {
		if men, women := index("male", age, age+9), index("female", age, age+9); men >= women {
			t.Errorf("at %d the index is %.1f %% in men and %.1f %% in women", age, men, women)
		}
	}
	for _, sex := range []string{"male", "female"} {
		before, after := index(sex, 50, 59)-index(sex, 20, 29), index(sex, 80, 89)-index(sex, 50, 59)
		if before <= after {
			t.Errorf("%s: rise of the index %.1f points before the fifties, %.1f after", sex, before, after)
		}
	}
}
