package disclose_test

import (
	"testing"

	"tonocohort/stats/disclose"
)

// Two rows by two columns, worked by hand: margins leave one cell open, and with
// one cell told the others follow.
func TestSums(t *testing.T) {
	group := func(at ...int) []float64 {
		v := make([]float64, 4)
		for _, k := range at {
			v[k] = 1
		}
		return v
	}
	var s disclose.Sums
	for _, margin := range [][]float64{group(0, 1), group(2, 3), group(0, 2), group(1, 3), group(0, 1, 2, 3)} {
		s.Publish(margin)
	}
	for k := range 4 {
		if s.Follow(group(k)) {
			t.Errorf("cell %d follows from the margins", k)
		}
	}
	if !s.Follow([]float64{1, 0, 0, -1}) { // first row less second column
		t.Error("a difference of margins does not follow")
	}
	more := s.Clone()
	more.Publish(group(2))
	for k := range 4 {
		if !more.Follow(group(k)) {
			t.Errorf("cell %d does not follow from the margins and another cell", k)
		}
		if s.Follow(group(k)) {
			t.Errorf("the copy has changed its original: cell %d", k)
		}
	}
}
