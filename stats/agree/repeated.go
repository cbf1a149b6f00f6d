package agree

import (
	"errors"
	"fmt"
	"math"

	"tonocohort/stats"
)

// Components are the mean squares of a one-way analysis of variance by person
// and what follows from them.
type Components struct {
	Persons, Values int
	Mean            float64 // of all values
	BetweenMS       float64
	WithinMS        float64
	PerPerson       float64 // values per person, n₀ of unequal numbers
	Between         float64 // variance between persons; zero where it would be negative
	Within          float64 // variance within persons
}

// OneWay analyses values by person: each inner slice holds the values of one. At
// least two persons, and one with two values, are needed.
func OneWay(persons [][]float64) (Components, error) {
	var c Components
	var total float64
	var squares float64 // of the numbers per person
	for i, x := range persons {
		if err := needAtLeast(1, fmt.Sprintf("values of person %d", i+1), x); err != nil {
			return c, err
		}
		c.Values += len(x)
		squares += float64(len(x) * len(x))
		total += stats.Sum(x)
	}
	c.Persons = len(persons)
	if c.Persons < 2 || c.Values == c.Persons {
		return c, errors.New("agree: two persons, and one with two values, are needed")
	}
	c.Mean = total / float64(c.Values)
	for _, x := range persons {
		mean := stats.Mean(x)
		c.BetweenMS += float64(float64(len(x)) * float64((mean-c.Mean)*(mean-c.Mean)))
		for _, v := range x {
			c.WithinMS += float64((v - mean) * (v - mean))
		}
	}
	k, n := float64(c.Persons), float64(c.Values)
	c.BetweenMS /= k - 1
	c.WithinMS /= n - k
	c.PerPerson = (n - squares/n) / (k - 1)
	c.Within = c.WithinMS
	c.Between = max(0, (c.BetweenMS-c.WithinMS)/c.PerPerson)
	return c, nil
}

// MethodMOVER is the interval of a limit of agreement with repeated measures: the
// ends of mean and variance recovered from their own intervals (Zou 2013, Stat
// Methods Med Res 22:630-42), the variance's by Graybill and Wang 1980, J Am Stat
// Assoc 75:869-73. It is approximate where persons have unequal numbers.
const MethodMOVER = "mover"

// BlandAltmanRepeated computes limits of agreement where each person gives
// several differences and what is measured varies between them: the limits hold
// for one pair of measurements of one person (Bland and Altman 2007, J Biopharm
// Stat 17:571-82).
func BlandAltmanRepeated(persons [][]float64, share, level float64) (Limits, Components, error) {
	c, err := OneWay(persons)
	if err != nil {
		return Limits{}, c, err
	}
	k, n := float64(c.Persons), float64(c.Values)
	var squares float64
	for _, x := range persons {
		squares += float64(len(x) * len(x))
	}
	variance := c.Between + c.Within
	se := math.Sqrt(float64(c.Between*squares)/(n*n) + c.Within/n)
	t := stats.StudentQuantile((1+level)/2, k-1)
	l := Limits{N: c.Values, Bias: c.Mean, SD: math.Sqrt(variance), Share: share,
		BiasCI: stats.Interval{Low: c.Mean - float64(t*se), High: c.Mean + float64(t*se), Level: level, Method: stats.MethodT}}
	parts := []meanSquare{{c.BetweenMS / c.PerPerson, k - 1}, {float64(c.WithinMS * (1 - 1/c.PerPerson)), n - k}}
	l.recover(variance, parts, t*se, level)
	return l, c, nil
}

// BlandAltmanReplicates computes limits of agreement where each person has
// replicates by either method, unpaired, of a value that stays the same: the
// limits hold for one measurement by each (Bland and Altman 1999, 5.1; with two
// replicates it is the correction of their paper of 1986).
func BlandAltmanReplicates(first, second [][]float64, share, level float64) (Limits, error) {
	if len(first) != len(second) {
		return Limits{}, fmt.Errorf("agree: %d persons by one method, %d by the other", len(first), len(second))
	}
	one, err := OneWay(first)
	if err != nil {
		return Limits{}, err
	}
	two, err := OneWay(second)
	if err != nil {
		return Limits{}, err
	}
	differences := make([]float64, len(first))
	var inverseOne, inverseTwo float64 // mean reciprocals of the numbers of replicates
	k := float64(len(first))
	for i := range first {
		differences[i] = stats.Mean(second[i]) - stats.Mean(first[i])
		inverseOne += 1 / float64(len(first[i])) / k
		inverseTwo += 1 / float64(len(second[i])) / k
	}
	if err := needAtLeast(3, "persons", differences); err != nil {
		return Limits{}, err
	}
	sample := stats.Describe(differences)
	parts := []meanSquare{
		{float64(sample.SD * sample.SD), k - 1},
		{float64((1 - inverseOne) * one.Within), float64(one.Values) - k},
		{float64((1 - inverseTwo) * two.Within), float64(two.Values) - k},
	}
	variance := parts[0].value + parts[1].value + parts[2].value
	l := Limits{N: len(first), Bias: sample.Mean, SD: math.Sqrt(variance), Share: share, BiasCI: stats.MeanInterval(sample, level)}
	l.recover(variance, parts, l.BiasCI.High-l.Bias, level)
	return l, nil
}

// meanSquare is a part of a variance with its degrees of freedom.
type meanSquare struct{ value, degrees float64 }

// recover fills in the limits and their intervals. half is the half-width of the
// interval of the bias.
func (l *Limits) recover(variance float64, parts []meanSquare, half, level float64) {
	var down, up float64
	for _, p := range parts {
		if p.value == 0 || p.degrees == 0 {
			continue
		}
		d := p.value * (1 - p.degrees/stats.ChiSquareQuantile((1+level)/2, p.degrees))
		u := p.value * (p.degrees/stats.ChiSquareQuantile((1-level)/2, p.degrees) - 1)
		down += float64(d * d)
		up += float64(u * u)
	}
	z := stats.NormalQuantile((1 + l.Share) / 2)
	root := math.Sqrt(variance)
	low := z * (root - math.Sqrt(max(0, variance-math.Sqrt(down))))
	high := z * (math.Sqrt(variance+math.Sqrt(up)) - root)
	inner, outer := math.Hypot(half, low), math.Hypot(half, high)
	l.Lower, l.Upper = l.Bias-float64(z*root), l.Bias+float64(z*root)
	l.LowerCI = stats.Interval{Low: l.Lower - outer, High: l.Lower + inner, Level: level, Method: MethodMOVER}
	l.UpperCI = stats.Interval{Low: l.Upper - inner, High: l.Upper + outer, Level: level, Method: MethodMOVER}
}

// Repeatability is how closely a method agrees with itself on the same person.
type Repeatability struct {
	WithinSD      float64        // within-subject standard deviation
	WithinSDCI    stats.Interval // chi-square
	Coefficient   float64        // two measurements of a person differ by less in the given share of pairs: z·√2·WithinSD
	CoefficientCI stats.Interval
	Share         float64
	Components
}

// Repeat computes the within-subject standard deviation and the repeatability
// coefficient (Bland and Altman 1996, BMJ 313:744) of values by person.
func Repeat(persons [][]float64, share, level float64) (Repeatability, error) {
	c, err := OneWay(persons)
	if err != nil {
		return Repeatability{}, err
	}
	degrees := float64(c.Values - c.Persons)
	s := math.Sqrt(c.Within)
	r := Repeatability{WithinSD: s, Share: share, Components: c}
	r.WithinSDCI = stats.Interval{
		Low:    s * math.Sqrt(degrees/stats.ChiSquareQuantile((1+level)/2, degrees)),
		High:   s * math.Sqrt(degrees/stats.ChiSquareQuantile((1-level)/2, degrees)),
		Level:  level,
		Method: stats.MethodChiSquare,
	}
	factor := stats.NormalQuantile((1+share)/2) * math.Sqrt2
	r.Coefficient = factor * s
	r.CoefficientCI = stats.Interval{Low: factor * r.WithinSDCI.Low, High: factor * r.WithinSDCI.High, Level: level, Method: stats.MethodChiSquare}
	return r, nil
}
