package report

import (
	"math"
	"testing"
)

func style(t *testing.T, name string) Style {
	t.Helper()
	s, ok := StyleByName(name)
	if !ok {
		t.Fatalf("no style %s", name)
	}
	return s
}

// P exact to two significant digits with a floor of 0.001: Lang and Altman 2013,
// SAMPL guidelines (the two rules from memory).
func TestP(t *testing.T) {
	standard, bare, dot := style(t, "standard"), style(t, "no_leading_zero"), style(t, "middle_dot")
	for _, c := range []struct {
		p                   float64
		standard, bare, dot string
	}{
		{0.0342, "0.034", ".034", "0·034"},
		{0.000999, "<0.001", "<.001", "<0·001"},
		{0.001, "0.0010", ".0010", "0·0010"},
		{0.0996, "0.10", ".10", "0·10"},
		{0.2, "0.20", ".20", "0·20"},
		{0.9931, ">0.99", ">.99", ">0·99"},
		{1, ">0.99", ">.99", ">0·99"},
		{math.NaN(), NoValue, NoValue, NoValue},
		{1.2, NoValue, NoValue, NoValue},
	} {
		if a, b, d := standard.P(c.p), bare.P(c.p), dot.P(c.p); a != c.standard || b != c.bare || d != c.dot {
			t.Errorf("P %g: %s, %s, %s; expected %s, %s, %s", c.p, a, b, d, c.standard, c.bare, c.dot)
		}
	}
}

// A tie of the exact value goes away from zero; what only looks like a tie in
// decimal goes where the exact value lies (1.005 is stored as 1.00499…).
func TestDecimalRoundsTheExactValue(t *testing.T) {
	s := style(t, "standard")
	for _, c := range []struct {
		v        float64
		decimals int
		want     string
	}{{0.125, 2, "0.13"}, {2.5, 0, "3"}, {-2.5, 0, "−3"}, {1.005, 2, "1.00"}, {0.375, 2, "0.38"}, {-0.04, 1, "0.0"}, {1e21, 0, "1000000000000000000000"}, {math.Inf(1), 1, NoValue}} {
		if got := s.Decimal(c.v, c.decimals); got != c.want {
			t.Errorf("%g to %d decimals is %s, expected %s", c.v, c.decimals, got, c.want)
		}
	}
	if got := s.Percent(0.0625, 0); got != "6" {
		t.Errorf("0.0625 is %s %%", got)
	}
	if got := s.Percent(0.125, 0); got != "13" {
		t.Errorf("0.125 is %s %%", got)
	}
	if got := s.Interval(-1.25, 3.04, 1); got != "−1.3 to 3.0" {
		t.Errorf("interval %s", got)
	}
}

func TestDecimalsBySpread(t *testing.T) {
	for _, c := range []struct {
		sd   float64
		want int
	}{{150, 0}, {13.4, 1}, {1, 1}, {0.15, 2}, {0.02, 3}, {0, 1}, {math.NaN(), 1}} {
		if got := Decimals(c.sd); got != c.want {
			t.Errorf("SD %g: %d decimals, expected %d", c.sd, got, c.want)
		}
	}
}

func TestLabels(t *testing.T) {
	for _, c := range []struct{ column, unit, want string }{
		{"central_pp_mmhg", "mmHg", "Central PP, mmHg"},
		{"glucose_mmol_l", "mmol/L", "Glucose, mmol/L"},
		{"smoker", "", "Smoker"},
		{"pp_amplification_ratio", "1", "PP amplification (brachial/central)"},
	} {
		if got := Label(c.column, c.unit); got != c.want {
			t.Errorf("%s is called %q, expected %q", c.column, got, c.want)
		}
	}
}

func TestReasonsOfTheFlowInWords(t *testing.T) {
	for reason, want := range map[string]string{
		"brachial_sbp_mmhg not below 140":        "Brachial SBP (mmHg) not below 140",
		"diabetes not no":                        "Diabetes: not “no”",
		"bp_class not normal or prehypertension": "Blood pressure class: not “normal” or “prehypertension”",
		"treated missing":                        "Blood-pressure-lowering treatment missing",
		"not_first_visit":                        "not first visit",
	} {
		if got := reasonWords(reason); got != want {
			t.Errorf("%s: %q, want %q", reason, got, want)
		}
	}
}
