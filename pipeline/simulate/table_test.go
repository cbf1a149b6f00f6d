package simulate

import (
	"fmt"
	"testing"
)

// TestStrataTable prints the strata for whoever changes the model: go test -run StrataTable -v.
func TestStrataTable(t *testing.T) {
	if !testing.Verbose() {
		t.Skip("prints a table under -v")
	}
	all := observe("tern-quay", 600)
	for _, sex := range []string{"male", "female"} {
		for age := 20; age < 90; age += 10 {
			keep := func(o observed) bool { return o.healthy() && o.in(sex, age, age+9) }
			line := fmt.Sprintf("%-6s %d n %d", sex, age, len(column(all, keep, func(observed) float64 { return 0 })))
			for _, c := range []struct {
				name  string
				value func(observed) float64
			}{
				{"cuff SBP", func(o observed) float64 { return o.e.bSBP }}, {"DBP", func(o observed) float64 { return o.e.bDBP }},
				{"est. SBP", func(o observed) float64 { return o.e.cSBP }}, {"PP", func(o observed) float64 { return o.e.cPP }},
				{"amplification", func(o observed) float64 { return o.e.amplification }}, {"AIx", func(o observed) float64 { return o.e.augmentation }},
				{"true SBP", func(o observed) float64 { return o.t.Aortic.SBP }}, {"PP", func(o observed) float64 { return o.t.Aortic.PP() }},
				{"amplification", func(o observed) float64 { return o.t.Brachial.PP() / o.t.Aortic.PP() }},
				{"rate", func(o observed) float64 { return o.t.HeartRateBPM }}, {"PWV", func(o observed) float64 { return o.t.VelocityMPerS }},
			} {
				x := column(all, keep, c.value)
				line += fmt.Sprintf(" | %s %.4g (%.2g)", c.name, mean(x), spread(x))
			}
			t.Log(line)
		}
	}
}
