package regress

import (
	"math"
	"math/rand/v2"
	"testing"

	"tonocohort/testdata"
)

// checkShare compares the share of intervals that hold the truth with 95 %: three
// binomial errors away, and room beside for what is approximate about an interval.
func checkShare(t *testing.T, what string, hits, samples int, below, above float64) {
	t.Helper()
	share, slack := float64(hits)/float64(samples), 3*math.Sqrt(0.95*0.05/float64(samples))
	t.Logf("%s: %.1f %% of %d", what, 100*share, samples)
	if share < 0.95-below-slack || share > 0.95+above+slack {
		t.Errorf("%s: %.1f %% of %d intervals hold the truth", what, 100*share, samples)
	}
}

// Internal, not evidence from outside: intervals hold what they promise where the
// variance grows with the predictor, by HC3, and far fewer do by the classical
// error (n = 40).
func TestHC3Coverage(t *testing.T) {
	random := rand.New(rand.NewPCG(8, 1))
	const n = 40
	samples, _ := testdata.Replicates(t, 1000)
	hits := map[string]int{}
	for range samples {
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i] = random.ExpFloat64()
			y[i] = 1 + 0.5*x[i] + (0.2+x[i])*random.NormFloat64()
		}
		f := mustOLS(t, Columns(true, nil, [][]float64{x}), y, nil)
		for _, kind := range []string{Classical, HC3} {
			row := f.CoefficientTable(mustCovariance(t, f, kind), 0.95)[1]
			if row.Low <= 0.5 && 0.5 <= row.High {
				hits[kind]++
			}
		}
	}
	checkShare(t, "HC3", hits[HC3], samples, 0.04, 0.01) // few rows, and leverage where the error is large: Long and Ervin 2000, Am Stat 54:217-24
	if share := float64(hits[Classical]) / float64(samples); share > 0.88 {
		t.Errorf("the classical error covers in %.1f %%: the test shows nothing", 100*share)
	}
}

// population is 200,000 invented people: pulse pressure on age and its square,
// sex, height and heart rate, with a spread that grows with age and a skewed
// error, so that mean, median and proportion each have their own curve.
type population struct {
	age, male, height, rate, pressure []float64
	high                              []float64 // pressure of 50 mmHg or more, which no model describes exactly
	event                             []float64 // of log-linear prevalence, 13 to 60 %
}

func newPopulation(n int) population {
	random := rand.New(rand.NewPCG(200, 5))
	var p population
	for range n {
		age, male := 18+62*random.Float64(), 0.0
		if random.Float64() < 0.48 {
			male = 1
		}
		height := 163 + 13*male - 0.08*(age-50) + 6.5*random.NormFloat64()
		rate := 68 - 2*male + 10*random.NormFloat64()
		old := (age - 50) / 10
		pp := 36 + 2.1*old + 1.2*old*old + 1.5*male - 0.08*(height-170) - 0.12*(rate-68) + (5+0.8*old)*(random.ExpFloat64()-1+0.5*random.NormFloat64())
		high := 0.0
		if pp >= 50 {
			high = 1
		}
		p.age, p.male, p.height, p.rate = append(p.age, age), append(p.male, male), append(p.height, height), append(p.rate, rate)
		event := 0.0
		if random.Float64() < math.Exp(-1.4+0.2*old+0.03*old*old+0.1*male-0.005*(height-170)-0.002*(rate-68)) {
			event = 1
		}
		p.pressure, p.high, p.event = append(p.pressure, pp), append(p.high, high), append(p.event, event)
	}
	return p
}

// sample draws n people, each with the same chance at every draw.
func (p population) sample(random *rand.Rand, n int) population {
	var s population
	for range n {
		i := random.IntN(len(p.age))
		s.age, s.male, s.height, s.rate = append(s.age, p.age[i]), append(s.male, p.male[i]), append(s.height, p.height[i]), append(s.rate, p.rate[i])
		s.pressure, s.high, s.event = append(s.pressure, p.pressure[i]), append(s.high, p.high[i]), append(s.event, p.event[i])
	}
	return s
}

func (p population) design() *Design {
	d := NewDesign(true)
	d.AddPolynomial("age", p.age, 2)
	d.Add("male", p.male)
	d.Add("height", p.height)
	d.Add("rate", p.rate)
	return d
}

// models are the kinds of model with the errors that the plan gives them unasked.
var models = map[string]func(p population) ([]Coefficient, error){
	"least squares, HC3": func(p population) ([]Coefficient, error) {
		f, err := OLS(p.design(), p.pressure, nil)
		if err != nil {
			return nil, err
		}
		v, err := f.Covariance(HC3)
		if err != nil {
			return nil, err
		}
		return f.CoefficientTable(v, 0.95), nil
	},
	"median, local density": func(p population) ([]Coefficient, error) {
		f, err := Quantile(p.design(), p.pressure, nil, 0.5)
		if err != nil {
			return nil, err
		}
		v, err := f.Covariance(QuantileNID)
		if err != nil {
			return nil, err
		}
		return f.CoefficientTable(v, 0.95), nil
	},
	"logistic, HC3":         binary(Logistic, func(p population) []float64 { return p.high }),
	"modified Poisson, HC3": binary(ModifiedPoisson, func(p population) []float64 { return p.event }),
}

func binary(fit func(d *Design, y, weights []float64) (*BinaryFit, error), outcome func(p population) []float64) func(p population) ([]Coefficient, error) {
	return func(p population) ([]Coefficient, error) {
		f, err := fit(p.design(), outcome(p), nil)
		if err != nil {
			return nil, err
		}
		v, err := f.Covariance(HC3)
		if err != nil {
			return nil, err
		}
		return f.CoefficientTable(v, 0.95), nil
	}
}

// Internal, not evidence from outside: the coefficients of the whole invented
// population are recovered from samples of 500 by every kind of model.
func TestModelsCoverTheirPopulation(t *testing.T) {
	whole := newPopulation(200_000)
	samples, _ := testdata.Replicates(t, 150)
	for name, model := range models {
		truth, err := model(whole)
		if err != nil {
			t.Fatal(err)
		}
		hits := make([]int, len(truth))
		random := rand.New(rand.NewPCG(1, 500))
		for range samples {
			got, err := model(whole.sample(random, 500))
			if err != nil {
				t.Fatal(err)
			}
			for j, row := range got {
				if row.Low <= truth[j].Estimate && truth[j].Estimate <= row.High {
					hits[j]++
				}
			}
		}
		for j, row := range truth {
			checkShare(t, name+", "+row.Name, hits[j], samples, 0.02, 0.02)
		}
	}
}
