package study

import (
	"math"
	"testing"
	"time"
)

func near(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %v, want %v ± %v", what, got, want, tolerance)
	}
}

func day(t testing.TB, s string) time.Time {
	t.Helper()
	d, f := scanDate(s, time.DateOnly, 0)
	if f != nil {
		t.Fatal(f)
	}
	return d
}

// The calendar says what a completed year is.
func TestAgeAt(t *testing.T) {
	for _, c := range []struct {
		birth, day string
		want       float64
	}{
		{"2000-03-01", "2018-03-01", 18}, // 6574 days: fewer than 18 × 365.25
		{"2000-03-01", "2018-02-28", 17 + 364.0/365},
		{"1960-01-01", "1960-01-01", 0},
		{"1960-02-29", "1961-03-01", 1}, // born on a leap day: birthday on 1 March
		{"1960-02-29", "1961-02-28", 365.0 / 366},
		{"1960-02-29", "1964-02-29", 4},
		{"1961-01-01", "1961-07-02", 182.0 / 365},
	} {
		near(t, c.birth+" to "+c.day, ageAt(day(t, c.birth), day(t, c.day)), c.want, 1e-12)
	}
	if !math.IsNaN(ageAt(day(t, "2000-01-02"), day(t, "2000-01-01"))) {
		t.Error("an age before birth")
	}
}

func TestBodyFormulas(t *testing.T) {
	// World Health Organization: 70 kg and 1.75 m make 22.9 kg/m2 (arithmetic).
	near(t, "body mass index", bodyMassIndex(175, 70), 70/3.0625, 1e-12)
	// Mosteller 1987 (from memory): 160 cm and 60 kg make 1.63 m2.
	near(t, "Mosteller", math.Sqrt(160.0*60/3600), 1.63, 0.005)
	// Du Bois 1916: the surface of 170 cm and 70 kg is 1.81 m2 in the published
	// nomogram (from memory).
	near(t, "Du Bois", bodySurfaceDuBois(170, 70), 1.81, 0.005)
}

// CKD-EPI 2021 has no worked example at hand; these are its properties as
// Inker 2021 states the equation (from memory): 142 at the knot before the
// factor of age, 1.2 % more in women, 0.62 % less a year of age, and a slope
// of −1.2 in the logarithm above the knot.
func TestFiltrationRate(t *testing.T) {
	near(t, "man at the knot", filtrationRate(0.9, 50, "male"), 142*math.Pow(0.9938, 50), 1e-9)
	near(t, "woman at the knot", filtrationRate(0.7, 50, "female"), 142*math.Pow(0.9938, 50)*1.012, 1e-9)
	near(t, "a year of age", filtrationRate(1, 51, "male")/filtrationRate(1, 50, "male"), 0.9938, 1e-12)
	near(t, "above the knot", math.Log(filtrationRate(1.8, 50, "male")/filtrationRate(0.9, 50, "male"))/math.Log(2), -1.2, 1e-12)
	near(t, "below the knot, woman", math.Log(filtrationRate(0.35, 50, "female")/filtrationRate(0.7, 50, "female"))/math.Log(2), 0.241, 1e-12)
	near(t, "below the knot, man", math.Log(filtrationRate(0.45, 50, "male")/filtrationRate(0.9, 50, "male"))/math.Log(2), 0.302, 1e-12)
	for _, sex := range []string{"other", "unknown", ""} {
		if !math.IsNaN(filtrationRate(1, 50, sex)) {
			t.Errorf("a value for sex %q", sex)
		}
	}
	for _, v := range []float64{filtrationRate(1, 17, "male"), filtrationRate(0, 50, "male"), filtrationRate(math.NaN(), 50, "male"), filtrationRate(1, math.NaN(), "male")} {
		if !math.IsNaN(v) {
			t.Errorf("%v where the equation does not hold", v)
		}
	}
}

// Conversions: exact by definition, or within the rounding of the printed figure.
func TestConversions(t *testing.T) {
	for _, c := range []struct {
		column, unit, from string
		value, want, tol   float64
	}{
		{"height_cm", "cm", "in", 1, 2.54, 0},
		{"weight_kg", "kg", "st", 1, 14 * 0.45359237, 1e-12}, // a stone is 14 pounds
		{"height_cm", "cm", "ft", 1, 12 * 2.54, 1e-12},
		{"sbp_mmhg", "mmHg", "kPa", 16, 120.01, 0.005},   // 16 kPa is 120 mmHg in every clinical table
		{"sbp_mmhg", "mmHg", "cmH2O", 13.595, 10, 0.001}, // density of mercury 13.5951 g/cm3
		{"age_years", "years", "months", 18, 1.5, 0},
		{"caffeine_h", "h", "min", 90, 1.5, 1e-12},
		{"glucose_mmol_l", "mmol/L", "mg/dL", 126, 7.0, 0.01},    // ADA and WHO: 126 mg/dL (7.0 mmol/L)
		{"cholesterol_mg_dl", "mg/dL", "mmol/L", 5.17, 200, 0.2}, // NCEP ATP III: 200 mg/dL (5.17 mmol/L)
		{"triglycerides", "mmol/L", "mg/dL", 150, 1.69, 0.01},    // NCEP ATP III: 150 mg/dL (1.69 mmol/L)
		{"creatinine_umol_l", "µmol/L", "mg/dL", 1, 88.4, 0.01},  // common practice
		{"creatinine_umol_l", "μmol/L", "µmol/L", 1, 1, 0},
	} {
		conversion, ok := conversionFor(c.column, c.unit, c.from)
		if !ok {
			t.Errorf("%s: no conversion from %s to %s", c.column, c.from, c.unit)
			continue
		}
		near(t, c.column+" from "+c.from, c.value*conversion.Scale, c.want, c.tol)
	}
	for _, c := range [][3]string{{"height_cm", "cm", "kg"}, {"sodium", "mmol/L", "mg/dL"}, {"x", "", ""}, {"x", "", "m"}} {
		if _, ok := conversionFor(c[0], c[1], c[2]); ok {
			t.Errorf("a conversion for %v", c)
		}
	}
}

func TestCompareNatural(t *testing.T) {
	order := []string{"V", "V1", "V2", "V10", "V10a", "V11", "W1"}
	for i := 1; i < len(order); i++ {
		if compareNatural(order[i-1], order[i]) >= 0 || compareNatural(order[i], order[i-1]) <= 0 {
			t.Errorf("%s does not come before %s", order[i-1], order[i])
		}
	}
}
