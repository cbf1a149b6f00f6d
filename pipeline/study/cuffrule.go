package study

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"tonocohort/schema"
)

// firstTwoLimitMmHg is the difference between the first two systolic readings
// above which more readings are asked for (ESC/ESH 2018, from memory).
const firstTwoLimitMmHg = 10

// Cuff is what several readings come to.
type Cuff struct {
	SBP, DBP       float64 // mmHg; NaN where there is no reading
	MAP            float64 // mmHg; NaN unless every reading used has one, lest it stand for other readings than SBP and DBP
	Pulse          float64 // 1/min, of the readings used that have one; NaN where none has
	Used           int     // readings that entered SBP and DBP
	SpreadSBP      float64 // mmHg, largest minus smallest of all readings; NaN below two
	FirstTwoApart  float64 // mmHg, between the first two systolic readings, unsigned; NaN below two
	FirstTwoDiffer bool    // FirstTwoApart is above 10 mmHg
	Note           string  // no_reading, single_reading or ""
}

// CombineCuff combines readings, in any order, by a rule of schema.CuffRules.
// First and last go by Number among the readings given. One reading is used as
// it is, whatever the rule.
//
//   - drop_first_of_three: two are averaged; of three or more the first is
//     dropped and the rest averaged (own choice between the rules below).
//   - all: the mean of all (ASH/ISH 2014, ESH/ESC 2013: readings averaged).
//   - drop_first: without the first (CHEP 2016; NHANES, from memory).
//   - last_two: the mean of the last two (ESC/ESH 2018, ESH 2021, both from memory).
//   - first_two: the mean of the first two (common practice).
//   - median: of systolic and diastolic readings apart; the mean of the middle
//     two where their number is even (common practice).
func CombineCuff(readings []Reading, rule string) (Cuff, error) {
	if !slices.Contains(schema.CuffRules, rule) {
		return Cuff{}, fmt.Errorf("study: no cuff rule %q", rule)
	}
	result := Cuff{SBP: math.NaN(), DBP: math.NaN(), MAP: math.NaN(), Pulse: math.NaN(), SpreadSBP: math.NaN(), FirstTwoApart: math.NaN()}
	sorted := slices.Clone(readings)
	slices.SortStableFunc(sorted, func(a, b Reading) int { return cmp.Compare(a.Number, b.Number) })
	n := len(sorted)
	switch {
	case n == 0:
		result.Note = "no_reading"
		return result, nil
	case n == 1:
		result.Note = "single_reading"
	default:
		lowest, highest := sorted[0].SBP, sorted[0].SBP
		for _, r := range sorted {
			lowest, highest = min(lowest, r.SBP), max(highest, r.SBP)
		}
		result.SpreadSBP = highest - lowest
		result.FirstTwoApart = math.Abs(sorted[0].SBP - sorted[1].SBP)
		result.FirstTwoDiffer = result.FirstTwoApart > firstTwoLimitMmHg
	}
	used := usedReadings(sorted, rule)
	average := mean
	if rule == "median" {
		average = median
	}
	result.Used = len(used)
	result.SBP = average(used, func(r Reading) float64 { return r.SBP })
	result.DBP = average(used, func(r Reading) float64 { return r.DBP })
	result.MAP = average(used, func(r Reading) float64 { return r.MAP })
	withPulse := slices.DeleteFunc(slices.Clone(used), func(r Reading) bool { return math.IsNaN(r.Pulse) })
	result.Pulse = average(withPulse, func(r Reading) float64 { return r.Pulse })
	return result, nil
}

// usedReadings picks from readings sorted by number, of which there is at least one.
func usedReadings(sorted []Reading, rule string) []Reading {
	n := len(sorted)
	switch {
	case n == 1:
		return sorted
	case rule == "drop_first", rule == "drop_first_of_three" && n >= 3:
		return sorted[1:]
	case rule == "last_two":
		return sorted[n-2:]
	case rule == "first_two":
		return sorted[:2]
	default:
		return sorted
	}
}

func mean(readings []Reading, value func(Reading) float64) float64 {
	sum := 0.0
	for _, r := range readings {
		sum += value(r)
	}
	return sum / float64(len(readings)) // NaN of none, and where a value is
}

func median(readings []Reading, value func(Reading) float64) float64 {
	values := make([]float64, len(readings))
	for i, r := range readings {
		values[i] = value(r)
		if math.IsNaN(values[i]) {
			return math.NaN()
		}
	}
	if len(values) == 0 {
		return math.NaN()
	}
	slices.Sort(values)
	middle := len(values) / 2
	if len(values)%2 == 1 {
		return values[middle]
	}
	return (values[middle-1] + values[middle]) / 2
}
