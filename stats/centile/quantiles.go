package centile

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"tonocohort/stats"
)

// Quantiles is a reference by one curve over age for each of some centiles.
// Where curves cross, the values that they have at an age are sorted, so that a
// higher centile is never below a lower one.
type Quantiles struct {
	Levels []float64 // shares below, ascending
	Curves []Curve   // by level
	Ages   Ages
}

// Range returns the fitted ages.
func (r Quantiles) Range() Ages { return r.Ages }

// At returns the values of all levels at an age, sorted; NaN outside the fitted
// ages.
func (r Quantiles) At(age float64) []float64 {
	x := r.Ages.Position(age)
	values := make([]float64, len(r.Curves))
	for k, c := range r.Curves {
		values[k] = c.At(x)
	}
	slices.Sort(values)
	return values
}

// Crossed reports whether curves cross at an age, so that At had to sort them.
func (r Quantiles) Crossed(age float64) bool {
	x := r.Ages.Position(age)
	for k := 1; k < len(r.Curves); k++ {
		if r.Curves[k].At(x) < r.Curves[k-1].At(x) {
			return true
		}
	}
	return false
}

// Centile returns the value below which the share p lies at an age. Between two
// fitted levels it lies on the line over their normal deviates; beyond the
// outermost it is NaN.
func (r Quantiles) Centile(age, p float64) float64 {
	values, z := r.At(age), stats.NormalQuantile(p)
	for k, level := range r.Levels {
		if math.Abs(level-p) < 1e-12 { // a share that was a percentage
			return values[k]
		}
		if k > 0 && p > r.Levels[k-1] && p < level {
			low, high := stats.NormalQuantile(r.Levels[k-1]), stats.NormalQuantile(level)
			return values[k-1] + float64((values[k]-values[k-1])*(z-low))/(high-low)
		}
	}
	return math.NaN()
}

// Score returns where a value lies at an age: between two curves on the line of
// their normal deviates over their values, on several equal ones in the middle
// of their levels. Beyond the outermost curves there is no number, and the note
// says on which side.
func (r Quantiles) Score(age, value float64) Score {
	switch {
	case math.IsNaN(value):
		return noScore(NoteNoValue)
	case !r.Ages.Contains(age):
		return noScore(NoteOutsideAges)
	}
	values := r.At(age)
	last := len(values) - 1
	switch {
	case last < 0 || math.IsNaN(values[0]) || math.IsNaN(values[last]):
		return noScore(NoteNotDefined)
	case value < values[0]:
		return noScore(NoteBelowLowest)
	case value > values[last]:
		return noScore(NoteAboveHighest)
	}
	above, equal := slices.BinarySearch(values, value)
	if equal {
		end := above
		for end < last && values[end+1] == value {
			end++
		}
		return scoreOf((stats.NormalQuantile(r.Levels[above]) + stats.NormalQuantile(r.Levels[end])) / 2)
	}
	low, high := stats.NormalQuantile(r.Levels[above-1]), stats.NormalQuantile(r.Levels[above])
	share := (value - values[above-1]) / (values[above] - values[above-1])
	return scoreOf(low + float64(share*(high-low)))
}

// LevelName is how a level is called beside a number: p5, p97.5.
func LevelName(level float64) string {
	return "p" + strconv.FormatFloat(math.Round(level*1e6)/1e4, 'f', -1, 64)
}

// checkLevels judges a list of levels.
func checkLevels(levels []float64) error {
	if len(levels) == 0 {
		return fmt.Errorf("centile: no centile is asked for")
	}
	for i, p := range levels {
		if !(p > 0 && p < 1) || i > 0 && !(p > levels[i-1]) {
			return fmt.Errorf("centile: the levels %v do not ascend between 0 and 1", levels)
		}
	}
	return nil
}
