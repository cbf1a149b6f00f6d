package report

import (
	"strings"
	"testing"

	"tonocohort/schema"
)

// A panel of centiles names the people it was fitted to; where that number is hidden,
// those it was fitted to some of, if they may be told.
func TestCentilesNameTheirPeople(t *testing.T) {
	curve := map[string]any{"set": "all", "variable": "central_pp_mmhg", "sex": "female", "unit": "mmHg", "method": "lms", "statistic": "p50", "age_years": 40.0, "estimate": 35.0, "low": 33.0, "high": 37.0}
	count := map[string]any{"set": "all", "variable": "central_pp_mmhg", "statistic": "n", "sex": "female", "age_band": "all", "estimate": 218.0, "n": 218}
	fitted := with(curve, "statistic", "n", "estimate", 216.0, "age_years", nil)
	for _, c := range []struct {
		name           string
		fit            map[string]any
		summary        map[string]any
		title, caption string
	}{
		{"told", fitted, count, "Female, n = 216", ""},
		{"hidden", with(fitted, "estimate", nil, "suppressed", "all"), count, "Female, from n = 218", "how many of them are outside the fitted ages is confidential"},
		{"both hidden", with(fitted, "estimate", nil, "suppressed", "all"), with(count, "estimate", nil, "n", nil, "suppressed", "all"), "Female, n confidential", ""},
		{"another sex", with(fitted, "estimate", nil, "suppressed", "all"), with(count, "sex", "male"), "Female, n confidential", ""},
		{"one age band", with(fitted, "estimate", nil, "suppressed", "all"), with(count, "age_band", "30-39"), "Female, n confidential", ""},
	} {
		s := Source{Settings: schema.DefaultSettings(), Frames: []*schema.Frame{
			released(schema.SummaryTable([]string{"sex", "age_band"}), c.summary),
			released(schema.CentilesTable(), c.fit, curve, with(curve, "age_years", 50.0)),
		}}
		drawn := centileFigures(s, styleOf(s))
		if len(drawn) != 1 {
			t.Fatalf("%s: %d figures", c.name, len(drawn))
		}
		if svg := drawn[0].SVG(""); !strings.Contains(svg, ">"+c.title+"<") {
			t.Errorf("%s: no panel is called %q", c.name, c.title)
		}
		if told := strings.Contains(drawn[0].Caption, "From n:"); told != (c.caption != "") || !strings.Contains(drawn[0].Caption, c.caption) {
			t.Errorf("%s: the caption is %q", c.name, drawn[0].Caption)
		}
	}
}
