package simulate

import (
	"fmt"
	"strconv"
	"time"
)

// visit is one examination of one person.
type visit struct {
	id                 string
	ageYears           float64
	day                time.Time
	preparation        preparation
	trueSBP, trueDBP   float64 // brachial, as an artery line would show them
	rateBPM, breathing float64
	circulation        *circulation
}

// preparation is what a person did before the visit.
type preparation struct {
	rest, caffeine, exercise, tobacco, meal, alcohol float64 // minutes; hours since
	smokes                                           bool
	vasoactive, crossed, posture                     string
}

func newPreparation(s stream, p *person) preparation {
	q := preparation{
		rest: float64(s.IntN(11) + 10), caffeine: s.uniform(3.5, 16), exercise: s.uniform(2, 60),
		tobacco: s.uniform(3.2, 14), meal: s.uniform(3.1, 12), alcohol: s.uniform(11, 160),
		smokes: p.smoker == "current", vasoactive: "no", crossed: "no", posture: "supine",
	}
	// Each departure from the protocol in a few of a hundred visits.
	departures := []struct {
		chance float64
		depart func()
	}{
		{0.05, func() { q.rest = float64(s.IntN(7) + 2) }},
		{0.05, func() { q.caffeine = s.uniform(0.3, 2.5) }},
		{0.02, func() { q.exercise = s.uniform(0.1, 0.4) }},
		{0.15, func() { q.tobacco = s.uniform(0.2, 2.5) }}, // among smokers
		{0.04, func() { q.meal = s.uniform(0.3, 2.5) }},
		{0.03, func() { q.alcohol = s.uniform(3, 9) }},
		{0.02, func() { q.vasoactive = "yes" }}, // a decongestant, for one
		{0.03, func() { q.crossed = "yes" }},
		{0.03, func() { q.posture = "seated" }},
	}
	for _, d := range departures {
		if s.chance(d.chance) {
			d.depart()
		}
	}
	return q
}

// effect is how much the departures raise pressure and heart rate. Crossed
// legs: 2 to 8 mmHg (from memory); the others own choice.
func (q preparation) effect() (sbp, dbp, rate float64) {
	add := func(is bool, s, d, r float64) {
		if is {
			sbp, dbp, rate = sbp+s, dbp+d, rate+r
		}
	}
	add(q.rest < 10, 3, 2, 3)
	add(q.caffeine < 3, 4, 3, 1)
	add(q.exercise < 0.5, 4, -2, 9)
	add(q.smokes && q.tobacco < 3, 4, 3, 5)
	add(q.vasoactive == "yes", 5, 3, 3)
	add(q.crossed == "yes", 5, 3, 0)
	return sbp, dbp, rate
}

// firstDay of the scenario; an invented calendar.
func firstDay() time.Time { return time.Date(2021, time.March, 1, 0, 0, 0, 0, time.UTC) }

// visitsOf invents the visits of a person. One in seven comes back after two
// to four years.
func visitsOf(seed string, p *person, solver *steady) []*visit {
	s := newStream(seed, p.id, "visits")
	day := firstDay().AddDate(0, 0, s.IntN(560))
	visits := []*visit{newVisit(seed, p, "v1", p.ageYears, day, solver)}
	if s.chance(1.0 / 7) {
		days := 730 + s.IntN(730)
		age := p.ageYears + float64(int(10*float64(days)/365.25))/10
		visits = append(visits, newVisit(seed, p, "v2", age, day.AddDate(0, 0, days), solver))
	}
	return visits
}

func newVisit(seed string, p *person, id string, age float64, day time.Time, solver *steady) *visit {
	s := newStream(seed, p.id, id)
	v := &visit{id: id, ageYears: age, day: day, breathing: s.uniform(0.18, 0.32)}
	v.preparation = newPreparation(s, p)
	upSBP, upDBP, upRate := v.preparation.effect()
	usual := heartRateMen
	if p.female() {
		usual = heartRateWomen
	}
	v.rateBPM = min(max(usual+p.rate+s.normal(0, 3)+upRate, 49), 104)
	later := age - p.ageYears
	cuffSBP := p.usualSBP + s.normal(0, 2.5) + 0.4*later + upSBP
	cuffDBP := p.usualDBP + s.normal(0, 1.8) + upDBP
	v.circulation = p.circulation(age, v.rateBPM, cuffSBP, cuffDBP)
	v.trueSBP, v.trueDBP = cuffSBP-cuffSystolicBias, cuffDBP-cuffDiastolicBias
	solver.fit(v.circulation, v.trueSBP, v.trueDBP)
	return v
}

// row is the line of a visit in the visits table, some of it missing.
func (v *visit) row(seed string, p *person) []string {
	s := newStream(seed, p.id, v.id, "row")
	gap := func(chance float64, text string) string {
		if s.chance(chance) {
			return ""
		}
		return text
	}
	number := func(chance, value float64, digits int) string { return gap(chance, decimal(value, digits)) }
	q := v.preparation
	age := number(0.002, v.ageYears, 1)
	if s.chance(0.002) {
		age = "430" // a slip of the pen
	}
	treated := gap(0.006, map[bool]string{true: "yes", false: "no"}[p.treated])
	if s.chance(0.008) {
		treated = "unknown"
	}
	tobacco := ""
	if q.smokes {
		tobacco = number(0.05, q.tobacco, 1)
	}
	return append([]string{p.id, v.id, age, v.day.Format(time.DateOnly), treated, gap(0.01, q.posture),
		number(0.02, q.rest, 0), number(0.04, q.caffeine, 1), number(0.05, q.exercise, 1), tobacco,
		number(0.03, q.meal, 1), number(0.06, q.alcohol, 0), gap(0.02, q.vasoactive), gap(0.02, q.crossed)},
		bloods(s, p, v.ageYears)...)
}

// bloods returns glucose and creatinine; own choice of healthy adult values.
func bloods(s stream, p *person, age float64) []string {
	glucose := s.lognormal(5.0+0.006*(age-45), 0.09)
	if p.diabetes == "yes" {
		glucose = s.lognormal(8.2, 0.2)
	}
	creatinine := s.lognormal(0.92+0.002*(age-45), 0.13)
	if p.female() {
		creatinine = s.lognormal(0.73+0.002*(age-45), 0.13)
	}
	texts := []string{decimal(glucose, 1), decimal(creatinine, 2)}
	for i := range texts {
		if s.chance(0.05) {
			texts[i] = ""
		}
	}
	if s.chance(0.004) {
		texts[0] = "clotted"
	}
	return texts
}

func visitsHeader() []string {
	return []string{"subject_id", "visit_id", "age_years", "visit_date", "treated", "posture", "rest_min", "caffeine_h",
		"exercise_h", "tobacco_h", "meal_h", "alcohol_h", "vasoactive", "legs_crossed", "glucose_mmol_l", "creatinine_mg_dl"}
}

// row is the line of a person in the subjects table, in the codes of the
// person's centre and with some of it missing or mistyped.
func (p *person) row(seed string) []string {
	s := newStream(seed, p.id, "row")
	sex := map[string]string{"female": "F", "male": "M"}[p.sex]
	if p.centre == "hilltop" {
		sex = map[string]string{"female": "2", "male": "1"}[p.sex]
	}
	height, weight := decimal(p.heightCM/100, 2), decimal(p.weightKG, 1)
	smoker, diabetes := p.smoker, p.diabetes
	slip := func(chance float64, field *string, text string) {
		if s.chance(chance) {
			*field = text
		}
	}
	slip(0.012, &height, "")
	slip(0.015, &weight, "")
	slip(0.02, &smoker, "")
	slip(0.008, &diabetes, "unknown")
	slip(0.003, &height, "17.2") // a point in the wrong place
	slip(0.003, &weight, "7.15")
	slip(0.003, &smoker, "sometimes") // no level of the study
	return []string{p.id, sex, p.centre, height, weight, smoker, diabetes}
}

func subjectsHeader() []string {
	return []string{"subject_id", "sex", "centre", "height_cm", "weight_kg", "smoker", "diabetes"}
}

// readings invents the cuff readings of a visit.
func (v *visit) readings(seed string, p *person) [][]string {
	s := newStream(seed, p.id, v.id, "cuff")
	count := 3
	if u := s.Float64(); u < 0.05 {
		count = 1
	} else if u < 0.13 {
		count = 2
	}
	var rows [][]string
	for i := range count {
		sbp := v.trueSBP + cuffSystolicBias + p.errorSBP + s.normal(0, 2.8)
		dbp := v.trueDBP + cuffDiastolicBias + p.errorDBP + s.normal(0, 2.2)
		if i == 0 { // alarm at the first squeeze; own choice
			sbp, dbp = sbp+s.uniform(1, 8), dbp+s.uniform(0, 4)
		}
		rows = append(rows, p.readingRow(v, i+1, sbp, dbp, s))
	}
	return rows
}

// readingRow writes a reading as the person's centre does: quayside listens
// and writes even numbers, with a liking for 0; hilltop's cuff writes whole
// numbers, its own mean pressure and the pulse rate.
func (p *person) readingRow(v *visit, number int, sbp, dbp float64, s stream) []string {
	arm := s.pick("left", "left", "right")
	var sys, dia, mean, pulse, mode string
	if p.centre == "quayside" {
		mode = "auscultatory"
		step := 2.0
		if s.chance(0.15) {
			step = 10
		}
		sys, dia = nearest(sbp, step), nearest(dbp, 2)
	} else {
		mode = "oscillometric"
		// The mean lies as far between the readings as it does in the artery.
		share := (v.meanBrachial() - v.trueDBP) / (v.trueSBP - v.trueDBP)
		sys, dia = nearest(sbp, 1), nearest(dbp, 1)
		mean, pulse = nearest(dbp+share*(sbp-dbp)+s.normal(0, 2), 1), nearest(v.rateBPM+s.normal(0, 2), 1)
	}
	switch u := s.Float64(); {
	case u < 0.0015:
		sys, dia = dia, sys // written into each other's column
	case u < 0.0025:
		sys += "0" // one key too many
	case u < 0.004:
		dia = ""
	}
	return []string{p.id, v.id, strconv.Itoa(number), sys, dia, mean, pulse, arm, mode}
}

func cuffHeader() []string {
	return []string{"subject_id", "visit_id", "reading", "sbp_mmhg", "dbp_mmhg", "map_mmhg", "pulse_bpm", "arm", "cuff_mode"}
}

// meanBrachial is the mean pressure that the circulation was fitted to.
func (v *visit) meanBrachial() float64 {
	c := v.circulation
	flow := c.strokeML * c.heartRateBPM / 60
	proximal := c.impedance * (1 + c.terminal) / (1 - c.terminal)
	return c.outflowMMHg + flow*(c.resistance+proximal)
}

func nearest(v, step float64) string {
	return fmt.Sprintf("%.0f", step*float64(int(v/step+0.5)))
}
