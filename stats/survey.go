package stats

import (
	"fmt"
	"math"
)

// What a stratum with a single sampling unit adds to a variance: it has no
// spread of its own. Centred puts the mean of all units in the place of that of
// the stratum, which errs to the safe side; Certainty adds nothing, which holds
// where the unit was sure to be drawn.
const (
	CentredSinglePSU   = "centred"
	CertaintySinglePSU = "certainty"
)

// Survey is a sample drawn by strata, within them by clusters (primary sampling
// units), and with known probabilities of selection. Means, ratios, variances
// and quantiles of any part of it (a domain) have Taylor-linearised errors: the
// linearised values are summed by unit, and the units of a stratum vary about
// their mean, those without anybody in the domain counting as zero (Woodruff
// 1971, J Am Stat Assoc 66:411-4; Cochran 1977, Sampling Techniques; the book
// from memory). Units are taken as drawn with replacement.
//
// A Survey is not changed by its methods, but one Workspace serves one
// goroutine at a time.
type Survey struct {
	weight  []float64 // by row; 0 where the row is not in the sample
	unit    []int32   // by row
	stratum []int32   // by unit
	units   []int     // by stratum: how many units were drawn
	single  string
	present bool // only units with somebody in the domain count as drawn
}

// Workspace holds the sums by unit of one goroutine.
type Workspace struct {
	total   []float64 // by unit; zero between calls
	seen    []bool    // by unit; false between calls
	touched []int32
	sum     []float64 // by stratum; zero between calls
	present []int     // by stratum: units with somebody; zero between calls
	strata  []int32   // strata touched
}

// Estimate is a number with its design-based standard error.
type Estimate struct {
	Value   float64
	SE      float64
	Degrees float64 // units less strata, among those with somebody in the domain
	N       int     // rows that entered
	Weight  float64 // sum of their weights
	Singles int     // strata of the sample with a single unit that are in the domain
}

// NewSurvey describes the sample. weight is by row: a row with a weight that is
// missing, zero or negative is not in the sample. stratum and cluster number the
// stratum and the cluster of each row from 0; nil stands for one stratum, and
// for every row being a unit of its own. Clusters of one number in two strata
// are two units.
func NewSurvey(weight []float64, stratum, cluster []int32, singlePSU string) (*Survey, error) {
	if singlePSU != CentredSinglePSU && singlePSU != CertaintySinglePSU {
		return nil, fmt.Errorf("stats: no rule for a single unit is called %q", singlePSU)
	}
	s := &Survey{weight: make([]float64, len(weight)), unit: make([]int32, len(weight)), single: singlePSU}
	numbers := map[[2]int32]int32{}
	for row, w := range weight {
		if !(w > 0) || math.IsInf(w, 0) {
			continue
		}
		s.weight[row] = w
		h, c := int32(0), int32(row)
		if stratum != nil {
			h = stratum[row]
		}
		if cluster != nil {
			c = cluster[row]
		}
		for len(s.units) <= int(h) {
			s.units = append(s.units, 0)
		}
		number, known := numbers[[2]int32{h, c}]
		if !known {
			number = int32(len(s.stratum))
			numbers[[2]int32{h, c}] = number
			s.stratum = append(s.stratum, h)
			s.units[h]++
		}
		s.unit[row] = number
	}
	if len(s.stratum) == 0 {
		return nil, fmt.Errorf("stats: nobody has a weight above zero")
	}
	return s, nil
}

// NewClusters describes a sample of clusters that were not drawn by a design:
// values of one cluster are not independent, and a domain has as many clusters
// as it has somebody in. cluster numbers the cluster of each row from 0. Where
// every row is a cluster of its own the interval of a mean is Student's.
func NewClusters(cluster []int32) *Survey {
	s := &Survey{weight: make([]float64, len(cluster)), unit: cluster, units: []int{0}, single: CertaintySinglePSU, present: true}
	for row, c := range cluster {
		s.weight[row] = 1
		for len(s.stratum) <= int(c) {
			s.stratum = append(s.stratum, 0)
		}
	}
	s.units[0] = len(s.stratum)
	return s
}

// Workspace makes room for one goroutine.
func (s *Survey) Workspace() *Workspace {
	return &Workspace{
		total: make([]float64, len(s.stratum)), seen: make([]bool, len(s.stratum)),
		sum: make([]float64, len(s.units)), present: make([]int, len(s.units)),
	}
}

// Units returns how many units and strata the sample has.
func (s *Survey) Units() (units, strata int) {
	for _, n := range s.units {
		if n > 0 {
			strata++
		}
	}
	return len(s.stratum), strata
}

// Weight returns the weight of a row, 0 where it is not in the sample.
func (s *Survey) Weight(row int32) float64 { return s.weight[row] }

// Mean estimates the mean of the domain that rows are; x[i] belongs to rows[i].
// With x an indicator it is a proportion.
func (s *Survey) Mean(w *Workspace, rows []int32, x []float64) Estimate {
	var weights, products sum
	for i, row := range rows {
		weights.add(s.weight[row])
		products.add(float64(s.weight[row] * x[i]))
	}
	total := weights.value()
	first := products.value() / total
	var rest sum
	for i, row := range rows {
		rest.add(float64(s.weight[row] * (x[i] - first)))
	}
	mean := first + rest.value()/total
	return s.linearised(w, rows, mean, total, func(i int) float64 { return (x[i] - mean) / total })
}

// Total estimates the total of the domain.
func (s *Survey) Total(w *Workspace, rows []int32, x []float64) Estimate {
	var weights, products sum
	for i, row := range rows {
		weights.add(s.weight[row])
		products.add(float64(s.weight[row] * x[i]))
	}
	return s.linearised(w, rows, products.value(), weights.value(), func(i int) float64 { return x[i] })
}

// Ratio estimates the mean of above over the mean of below.
func (s *Survey) Ratio(w *Workspace, rows []int32, above, below []float64) Estimate {
	var weights, tops, bottoms sum
	for i, row := range rows {
		weights.add(s.weight[row])
		tops.add(float64(s.weight[row] * above[i]))
		bottoms.add(float64(s.weight[row] * below[i]))
	}
	bottom := bottoms.value()
	ratio := tops.value() / bottom
	return s.linearised(w, rows, ratio, weights.value(), func(i int) float64 {
		return (above[i] - float64(ratio*below[i])) / bottom
	})
}

// Standardised estimates the mean of a domain in a population with other shares
// of classes than the sample: class numbers the class of each row, share is by
// class and sums to 1. A class with a share needs somebody in the domain.
func (s *Survey) Standardised(w *Workspace, rows []int32, x []float64, class []int, share []float64) Estimate {
	weights, products := make([]sum, len(share)), make([]sum, len(share))
	for i, row := range rows {
		weights[class[i]].add(s.weight[row])
		products[class[i]].add(float64(s.weight[row] * x[i]))
	}
	var value, all sum
	mean := make([]float64, len(share))
	for k, part := range share {
		all.add(weights[k].value())
		if part > 0 {
			mean[k] = products[k].value() / weights[k].value()
			value.add(float64(part * mean[k]))
		}
	}
	return s.linearised(w, rows, value.value(), all.value(), func(i int) float64 {
		k := class[i]
		if share[k] == 0 {
			return 0
		}
		return share[k] * (x[i] - mean[k]) / weights[k].value()
	})
}

// Variance estimates the variance of x in the population of the domain: the
// weighted mean square about the mean times n/(n − 1).
func (s *Survey) Variance(w *Workspace, rows []int32, x []float64) Estimate {
	mean := s.Mean(w, rows, x)
	squares := make([]float64, len(x))
	n := float64(mean.N)
	for i, v := range x {
		d := v - mean.Value
		squares[i] = float64(d*d) * (n / (n - 1))
	}
	return s.Mean(w, rows, squares)
}

// linearised finishes an estimate: u gives the linearised value of a row before
// its weight. Rows outside the sample count for nothing.
func (s *Survey) linearised(w *Workspace, rows []int32, value, weight float64, u func(i int) float64) Estimate {
	e := Estimate{Value: value, Weight: weight}
	for i, row := range rows {
		if s.weight[row] == 0 {
			continue
		}
		e.N++
		unit := s.unit[row]
		if !w.seen[unit] {
			w.seen[unit] = true
			w.touched = append(w.touched, unit)
		}
		w.total[unit] += float64(s.weight[row] * u(i))
	}
	e.SE = math.Sqrt(s.variance(w, &e))
	if e.N == 0 {
		e.Value, e.Degrees = math.NaN(), math.NaN()
	}
	if !(e.Degrees > 0) { // one unit a stratum, or nobody: there is no spread to judge by
		e.SE = math.NaN()
	}
	return e
}

// variance adds up the spread of the unit totals within strata and clears the
// workspace.
func (s *Survey) variance(w *Workspace, e *Estimate) float64 {
	for _, unit := range w.touched {
		h := s.stratum[unit]
		if w.present[h] == 0 {
			w.strata = append(w.strata, h)
		}
		w.present[h]++
		w.sum[h] += w.total[unit]
	}
	e.Degrees = float64(len(w.touched) - len(w.strata))
	drawn := func(h int32) float64 {
		if s.present {
			return float64(w.present[h])
		}
		return float64(s.units[h])
	}
	var squares sum
	for _, h := range w.strata {
		if drawn(h) == 1 {
			e.Singles++
			w.sum[h] = 0 // the linearised values of the whole sample have the mean zero
			continue
		}
		w.sum[h] /= drawn(h)
	}
	for _, unit := range w.touched {
		h := s.stratum[unit]
		n := drawn(h)
		switch d := w.total[unit] - w.sum[h]; {
		case n > 1:
			squares.add(float64(d*d) * (n / (n - 1)))
		case s.single == CentredSinglePSU:
			squares.add(float64(d * d))
		}
		w.total[unit], w.seen[unit] = 0, false
	}
	for _, h := range w.strata {
		if n := drawn(h); n > 1 { // units with nobody in the domain lie at zero
			absent := n - float64(w.present[h])
			squares.add(absent * float64(w.sum[h]*w.sum[h]) * (n / (n - 1)))
		}
		w.sum[h], w.present[h] = 0, 0
	}
	w.touched, w.strata = w.touched[:0], w.strata[:0]
	return squares.value()
}
