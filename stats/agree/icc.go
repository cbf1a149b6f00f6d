package agree

import (
	"fmt"
	"math"

	"tonocohort/stats"
)

// Names of the forms of the intraclass correlation (Shrout and Fleiss 1979,
// Psychol Bull 86:420-8; McGraw and Wong 1996, Psychol Methods 1:30-46).
const (
	ICC11 = "icc_1_1" // each person rated by other raters; one rating
	ICC21 = "icc_2_1" // the same raters, a sample of raters; absolute agreement; one rating
	ICC31 = "icc_3_1" // the same raters, no others of interest; consistency; one rating
	ICC1K = "icc_1_k" // the mean of all ratings of a person
	ICC2K = "icc_2_k"
	ICC3K = "icc_3_k"
)

// ICC is an intraclass correlation with its interval and the test that it is
// zero.
type ICC struct {
	Estimate float64
	stats.Interval
	F, DF1, DF2, P float64
}

// TwoWay holds the mean squares of persons by raters.
type TwoWay struct {
	Persons, Raters                       int
	BetweenMS, WithinMS, RaterMS, ErrorMS float64
}

// NewTwoWay analyses ratings, one inner slice a person with one value per rater.
func NewTwoWay(ratings [][]float64) (TwoWay, error) {
	var a TwoWay
	a.Persons = len(ratings)
	if a.Persons < 2 || len(ratings[0]) < 2 {
		return a, fmt.Errorf("agree: %d persons; two persons with two ratings are needed", a.Persons)
	}
	a.Raters = len(ratings[0])
	n, k := float64(a.Persons), float64(a.Raters)
	raterMeans, personMeans := make([]float64, a.Raters), make([]float64, a.Persons)
	for i, row := range ratings {
		if len(row) != a.Raters {
			return a, fmt.Errorf("agree: person %d has %d ratings, the first has %d", i+1, len(row), a.Raters)
		}
		if err := needAtLeast(2, "ratings", row); err != nil {
			return a, err
		}
		personMeans[i] = stats.Mean(row)
		for j, v := range row {
			raterMeans[j] += v / n
		}
	}
	grand := stats.Mean(personMeans)
	for i, row := range ratings {
		a.BetweenMS += float64(k*float64((personMeans[i]-grand)*(personMeans[i]-grand))) / (n - 1)
		for j, v := range row {
			e := v - personMeans[i]
			a.WithinMS += float64(e*e) / float64(n*(k-1))
			e -= raterMeans[j] - grand
			a.ErrorMS += float64(e*e) / float64((n-1)*(k-1))
		}
	}
	for _, m := range raterMeans {
		a.RaterMS += float64(n*float64((m-grand)*(m-grand))) / (k - 1)
	}
	return a, nil
}

// ICC computes one form with its interval (McGraw and Wong 1996, table 7).
func (a TwoWay) ICC(form string, level float64) (ICC, error) {
	n, k := float64(a.Persons), float64(a.Raters)
	upper := (1 + level) / 2
	r := ICC{DF1: n - 1, DF2: (n - 1) * (k - 1), F: a.BetweenMS / a.ErrorMS}
	switch form {
	case ICC11, ICC1K:
		r.DF2, r.F = n*(k-1), a.BetweenMS/a.WithinMS
		r.Low = r.F / stats.FQuantile(upper, r.DF1, r.DF2)
		r.High = r.F * stats.FQuantile(upper, r.DF2, r.DF1)
		r.Estimate, r.Low, r.High = single(r.F, k), single(r.Low, k), single(r.High, k)
	case ICC31, ICC3K:
		r.Low = r.F / stats.FQuantile(upper, r.DF1, r.DF2)
		r.High = r.F * stats.FQuantile(upper, r.DF2, r.DF1)
		r.Estimate, r.Low, r.High = single(r.F, k), single(r.Low, k), single(r.High, k)
	case ICC21, ICC2K:
		r.Estimate = (a.BetweenMS - a.ErrorMS) / (a.BetweenMS + float64((k-1)*a.ErrorMS) + float64(k*(a.RaterMS-a.ErrorMS))/n)
		r.Low, r.High = a.agreementInterval(r.Estimate, upper)
	default:
		return r, fmt.Errorf("agree: no intraclass correlation %q", form)
	}
	if form == ICC1K || form == ICC2K || form == ICC3K {
		r.Estimate, r.Low, r.High = average(r.Estimate, k), average(r.Low, k), average(r.High, k)
	}
	r.P = stats.FTail(r.F, r.DF1, r.DF2)
	r.Level, r.Method = level, form
	return r, nil
}

// single is the correlation of one rating for a ratio of mean squares.
func single(f, k float64) float64 {
	if math.IsInf(f, 1) { // raters who agree without error
		return 1
	}
	return (f - 1) / (f + k - 1)
}

// average is the correlation of the mean of k ratings (Spearman and Brown).
func average(icc, k float64) float64 { return float64(k*icc) / (1 + float64((k-1)*icc)) }

// agreementInterval is that of ICC(2,1), with Satterthwaite's degrees of freedom.
func (a TwoWay) agreementInterval(icc, upper float64) (low, high float64) {
	n, k := float64(a.Persons), float64(a.Raters)
	f := a.RaterMS / a.ErrorMS
	inner := float64(n*(1+float64((k-1)*icc))) - float64(k*icc)
	top := float64(k*icc*f) + inner
	below := float64((n-1)*float64(k*icc*f)*float64(k*icc*f)) + float64(inner*inner)
	v := float64((k-1)*(n-1)) * float64(top*top) / below
	rest := float64(k*a.RaterMS) + float64((k*n-k-n)*a.ErrorMS)
	over := stats.FQuantile(upper, n-1, v)
	under := stats.FQuantile(upper, v, n-1)
	low = n * (a.BetweenMS - float64(over*a.ErrorMS)) / (float64(over*rest) + float64(n*a.BetweenMS))
	high = n * (float64(under*a.BetweenMS) - a.ErrorMS) / (rest + float64(n*under*a.BetweenMS))
	return low, high
}
