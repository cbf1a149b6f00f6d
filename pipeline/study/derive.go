package study

import (
	"math"
	"slices"
	"strings"

	"tonocohort/schema"
)

// derived is a variable computed from carried ones by a published formula.
type derived struct {
	column schema.Column
	// needs lists the inputs; one of the names separated by | must be there.
	needs   []string
	compute func(get func(name string) Cell) float64 // NaN where an input is missing
}

// deriveds lists the formulas that derive may name.
func deriveds() []derived {
	return []derived{
		{
			column: schema.Column{Name: "bmi_kg_m2", Kind: schema.Number, Unit: "kg/m2", Meaning: "body mass index: weight / height²",
				Source: "Quetelet 1832 (from memory)"},
			needs: []string{"height_cm", "weight_kg"},
			compute: func(get func(string) Cell) float64 {
				return bodyMassIndex(get("height_cm").Number, get("weight_kg").Number)
			},
		},
		{
			column: schema.Column{Name: "bsa_m2", Kind: schema.Number, Unit: "m2", Meaning: "body surface area: 0.007184 · weight^0.425 · height^0.725",
				Source: "Du Bois and Du Bois 1916, Arch Intern Med 17:863-71 (from memory)"},
			needs: []string{"height_cm", "weight_kg"},
			compute: func(get func(string) Cell) float64 {
				return bodySurfaceDuBois(get("height_cm").Number, get("weight_kg").Number)
			},
		},
		{
			column: schema.Column{Name: "bsa_mosteller_m2", Kind: schema.Number, Unit: "m2", Meaning: "body surface area: square root of (height · weight / 3600)",
				Source: "Mosteller 1987, N Engl J Med 317:1098 (from memory)"},
			needs: []string{"height_cm", "weight_kg"},
			compute: func(get func(string) Cell) float64 {
				return math.Sqrt(get("height_cm").Number * get("weight_kg").Number / 3600)
			},
		},
		{
			column: schema.Column{Name: "egfr_ckdepi2021", Kind: schema.Number, Unit: "mL/min/1.73m2",
				Meaning: "estimated glomerular filtration rate from creatinine, age and sex, without race; null below 18 years and where sex is other, unknown or missing",
				Source:  "CKD-EPI 2021: Inker 2021, N Engl J Med 385:1737-49 (from memory)"},
			needs: []string{"creatinine_mg_dl|creatinine_umol_l"},
			compute: func(get func(string) Cell) float64 {
				creatinine := get("creatinine_mg_dl").Number
				if math.IsNaN(creatinine) {
					creatinine = get("creatinine_umol_l").Number / 88.4 // 113.12 g/mol: common practice rounds so
				}
				return filtrationRate(creatinine, get("age_years").Number, get("sex").Text)
			},
		},
	}
}

func derivedNames() []string {
	var names []string
	for _, d := range deriveds() {
		names = append(names, d.column.Name)
	}
	return names
}

func derivedByName(name string) *derived {
	all := deriveds()
	i := slices.IndexFunc(all, func(d derived) bool { return d.column.Name == name })
	if i < 0 {
		return nil
	}
	return &all[i]
}

// missingNeeds lists the inputs that are not among the names.
func (d derived) missingNeeds(names []string) []string {
	var missing []string
	for _, need := range d.needs {
		if !slices.ContainsFunc(strings.Split(need, "|"), func(n string) bool { return slices.Contains(names, n) }) {
			missing = append(missing, strings.ReplaceAll(need, "|", " or "))
		}
	}
	return missing
}

// bodyMassIndex takes cm and kg.
func bodyMassIndex(height, weight float64) float64 {
	return weight / (height / 100 * (height / 100))
}

// bodySurfaceDuBois takes cm and kg and returns m².
func bodySurfaceDuBois(height, weight float64) float64 {
	return 0.007184 * math.Pow(weight, 0.425) * math.Pow(height, 0.725)
}

// filtrationRate is the CKD-EPI equation of 2021: creatinine in mg/dL, age in
// years, result in mL/min per 1.73 m². NaN where sex is neither female nor
// male and below 18 years, for which it was not made.
func filtrationRate(creatinine, age float64, sex string) float64 {
	var kappa, alpha, factor float64
	switch sex {
	case "female":
		kappa, alpha, factor = 0.7, -0.241, 1.012
	case "male":
		kappa, alpha, factor = 0.9, -0.302, 1
	default:
		return math.NaN()
	}
	if !(age >= 18) || !(creatinine > 0) {
		return math.NaN()
	}
	ratio := creatinine / kappa
	return 142 * math.Pow(min(ratio, 1), alpha) * math.Pow(max(ratio, 1), -1.200) * math.Pow(0.9938, age) * factor
}
