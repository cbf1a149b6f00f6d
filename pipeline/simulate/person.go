package simulate

import (
	"fmt"
	"math"

	"tonocohort/schema/published"
)

// The cuff reads brachial systolic pressure too low and diastolic too high:
// Picone 2017, JACC 70:572-86 (3 073 people, cuff minus artery).
const (
	cuffSystolicBias  = -5.7
	cuffDiastolicBias = 5.5
)

// ageBands of the scenario's quotas, in completed years. The last ends at 85.
var ageBands = [...][2]float64{{20, 30}, {30, 40}, {40, 50}, {50, 60}, {60, 70}, {70, 80}, {80, 86}}

// usualIrregularity is the standard deviation of the period of a regular pulse
// beside its swing with breathing, relative; own choice.
const usualIrregularity = 0.012

// person is one invented participant.
type person struct {
	id, centre, sex, smoker, diabetes string
	ageYears                          float64 // at the first visit
	heightCM, weightKG                float64
	hypertensive, treated             bool

	// What the cuff reads of the person's usual pressure, before the person's
	// own cuff error, and that error.
	usualSBP, usualDBP float64
	errorSBP, errorDBP float64

	// Standing of the person among others, in standard deviations or as a factor.
	velocity, armTravel, armA, armB, stretch float64
	reflection, peak, ejection, stroke, rate float64
	irregular                                float64
}

func (p *person) female() bool { return p.sex == "female" }

// healthy is the phenotype that the person was invented with; the analysis
// judges by what was measured.
func (p *person) healthy() bool { return !p.hypertensive && !p.treated && p.diabetes == "no" }

// newPerson invents participant number of the study, counted from 0. Sex and
// age band follow the quotas of the scenario: the 14 strata in turn.
func newPerson(seed string, number int, targets norms) *person {
	p := &person{id: fmt.Sprintf("TQ%05d", number+1)}
	s := newStream(seed, p.id, "person")
	cell := number % (2 * len(ageBands))
	p.sex = []string{"female", "male"}[cell%2]
	band := ageBands[cell/2]
	p.ageYears = math.Floor(10*s.uniform(band[0], band[1])) / 10
	p.centre = "quayside"
	if s.chance(0.42) {
		p.centre = "hilltop"
	}
	p.build(s)
	p.habits(s)
	p.pressure(s, targets)
	p.arteries(s)
	return p
}

func (p *person) build(s stream) {
	mean, sd := 176.0, 6.8
	if p.female() {
		mean, sd = 163, 6.3
	}
	p.heightCM = s.normal(mean-0.08*(p.ageYears-45), sd) // older generations are shorter; own choice
	m := p.heightCM / 100
	p.weightKG = s.lognormal(24.8+0.03*(p.ageYears-45), 0.14) * m * m
}

func (p *person) habits(s stream) {
	p.smoker = "never"
	if u := s.Float64(); u < 0.16 {
		p.smoker = "current"
	} else if u < 0.42 {
		p.smoker = "former"
	}
	p.diabetes = "no"
	if s.chance(0.015 + 0.0018*max(p.ageYears-35, 0)) {
		p.diabetes = "yes"
	}
	p.hypertensive = s.chance(0.07 + 0.0038*(p.ageYears-20))
	p.treated = p.hypertensive && s.chance(0.55)
}

// pressure draws the usual cuff pressure of the person.
func (p *person) pressure(s stream, targets norms) {
	p.errorSBP, p.errorDBP = s.normal(0, 4), s.normal(0, 3.5)
	n := targets.at(p.female(), p.ageYears)
	// The published people are those below 140 and 90 mmHg; who is invented
	// comes before that cut. Departures from the protocol raise the mean a
	// little. The term with age is fitted.
	upSBP, upDBP := cutFrom(n.dbp+n.pp, 9.5, 140)+0.07*max(p.ageYears-58, 0)-0.7, cutFrom(n.dbp, 8, 90)-0.4
	n.dbp, n.pp = n.dbp+upDBP, n.pp+upSBP-upDBP
	for {
		z := s.normal(0, 1)
		// Diastolic and pulse pressure go against each other a little: the
		// published spreads of SBP, DBP and PP ask for it.
		p.usualDBP = n.dbp + 6.8*z
		p.usualSBP = p.usualDBP + n.pp + 6.8*(-0.3*z+0.95*s.normal(0, 1))
		if p.usualSBP < 142 && p.usualDBP < 91 {
			break
		}
	}
	if p.hypertensive {
		up := s.uniform(14, 36)
		if p.treated {
			up = s.uniform(-4, 24)
		}
		p.usualSBP += up
		p.usualDBP += 0.45 * up
	}
}

// arteries draws how the person's vessels and heart differ from the usual ones.
func (p *person) arteries(s stream) {
	p.velocity = s.normal(0, 1)
	p.armTravel = s.lognormal(1, 0.06)
	p.armA = s.lognormal(1, 0.18)
	p.armB = s.lognormal(1, 0.20)
	p.stretch = s.lognormal(1, 0.10)
	p.reflection = s.normal(0, 0.03+0.0010*(p.ageYears-20))
	// Smoking and diabetes lower amplification (McEniery 2008, Herbert 2014);
	// the size is an own choice.
	if p.smoker == "current" {
		p.reflection += 0.02
	}
	if p.diabetes == "yes" {
		p.reflection += 0.02
	}
	p.peak = s.normal(0, 1)
	p.ejection = s.normal(0, 0.011)
	p.stroke = s.normal(0, 1)
	p.rate = s.normal(0, heartRateSpread)
	p.irregular = usualIrregularity
	if p.ageYears >= 60 && s.chance(0.03) {
		p.irregular = 0.12
	}
}

// circulation returns the person's arterial tree at an age and a pressure,
// without its impedance, which follows from the pulse pressure.
func (p *person) circulation(age, rateBPM, cuffSBP, cuffDBP float64) *circulation {
	heightM := p.heightCM / 100
	velocity := pulseWaveVelocity(age, cuffSBP, cuffDBP) * math.Exp(velocitySpread(age)*p.velocity)
	low, high := strokeLimits(age)
	stroke := (low+high)/2 + p.stroke*(high-low)/(2*1.645)
	if p.female() {
		stroke *= 0.9
	}
	ejection := ejectionTime(age, rateBPM, p.female()) + p.ejection
	reflection := terminalReflection(age, p.female())
	return &circulation{
		heartRateBPM: rateBPM,
		strokeML:     stroke,
		flow:         newFlow(stroke, ejection, peakTime+peakTimeSpread*p.peak, flowExponent),
		travelS:      reflectionSite * heightM / 1.70 / velocity,
		// Negative reflection at the end of the aorta is not seen.
		terminal:       math.Tanh(softplus(reflection + p.reflection)),
		diffuseS:       diffuseTime(age),
		stretchS:       stretchTime(age) * p.stretch,
		outflowMMHg:    outflow,
		stiffnessMPerS: velocity,
		armTravelS:     armTravelShare * armTravel(age, heightM) * p.armTravel,
		armA:           armLoadA * p.armA,
		armB:           armLoadB * p.armB,
		cuffPosition:   cuffWay,
	}
}

// softplus bends x to 0 where it is negative, within a few hundredths.
func softplus(x float64) float64 {
	const sharpness = 80
	return math.Log1p(math.Exp(sharpness*x)) / sharpness
}

// norm is the mean cuff pressure of healthy people of one sex and age.
type norm struct{ dbp, pp float64 }

// norms holds the published means by sex and middle of the age band.
type norms struct{ ages, menDBP, menPP, womenDBP, womenPP []float64 }

// publishedNorms reads the means of McEniery 2005 from the table that ships.
func publishedNorms() norms {
	set, err := published.Open("mceniery2005")
	if err != nil {
		panic(err) // the table is part of the program
	}
	var n norms
	columns := map[[2]string]*[]float64{
		{"brachial_dbp_mmhg", "male"}: &n.menDBP, {"brachial_pp_mmhg", "male"}: &n.menPP,
		{"brachial_dbp_mmhg", "female"}: &n.womenDBP, {"brachial_pp_mmhg", "female"}: &n.womenPP,
	}
	for _, v := range set.Values {
		column := columns[[2]string{v.Variable, v.Sex}]
		if column == nil {
			continue
		}
		*column = append(*column, v.Mean)
		if column == &n.menDBP {
			n.ages = append(n.ages, float64(v.AgeLow+v.AgeHigh+1)/2)
		}
	}
	return n
}

// at interpolates between the middles of the age bands.
func (n norms) at(female bool, age float64) norm {
	dbp, pp := n.menDBP, n.menPP
	if female {
		dbp, pp = n.womenDBP, n.womenPP
	}
	last := len(n.ages) - 1
	if age >= n.ages[last] {
		return norm{dbp[last], pp[last]}
	}
	i := 0
	for age > n.ages[i+1] {
		i++
	}
	share := (age - n.ages[i]) / (n.ages[i+1] - n.ages[i])
	return norm{dbp[i] + share*(dbp[i+1]-dbp[i]), pp[i] + share*(pp[i+1]-pp[i])}
}

// cutFrom is by how much the mean of a normal distribution falls when everyone
// from a limit up is left out.
func cutFrom(mean, sd, limit float64) float64 {
	z := (limit - mean) / sd
	return sd * math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) / (0.5 * math.Erfc(-z/math.Sqrt2))
}
