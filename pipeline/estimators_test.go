package pipeline

import (
	"testing"

	"tonocohort/pipeline/central"
)

// The text of the parameters follows them, also where those before were kept.
func TestTextOfParameters(t *testing.T) {
	var told toldParameters
	slow := []central.Parameter{{Name: "travel_ms", Value: 62.5}, {Name: "reflection", Value: 9.0 / 19}}
	fast := []central.Parameter{{Name: "travel_ms", Value: 50}, {Name: "reflection", Value: 9.0 / 19}}
	for i, c := range []struct {
		parameters []central.Parameter
		want       string
	}{
		{slow, "travel_ms=62.5 reflection=0.473684"}, {slow, "travel_ms=62.5 reflection=0.473684"},
		{fast, "travel_ms=50 reflection=0.473684"}, {nil, ""}, {fast[:1], "travel_ms=50"}, {slow, "travel_ms=62.5 reflection=0.473684"},
	} {
		if got := told.text(c.parameters); got != c.want {
			t.Errorf("%d: %q, want %q", i, got, c.want)
		}
	}
}
