package impute

import (
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"

	"tonocohort/stats/regress"
	"tonocohort/testdata"
)

// named makes streams from a number and the names.
func named(seed uint64) func(int, string) *rand.Rand {
	return func(imputation int, variable string) *rand.Rand {
		var h uint64 = 14695981039346656037
		for _, b := range []byte(variable) {
			h = (h ^ uint64(b)) * 1099511628211
		}
		return rand.New(rand.NewPCG(seed, h+uint64(imputation)))
	}
}

// missingCohort reads the made-up cohort of testdata/golden that lacks values.
func missingCohort(t *testing.T) map[string][]float64 {
	t.Helper()
	file, err := os.Open(testdata.Path(t, "golden/in/cohort_missing.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]float64{}
	for k, name := range rows[0] {
		for _, row := range rows[1:] {
			v, err := strconv.ParseFloat(row[k], 64)
			if err != nil {
				v = math.NaN()
			}
			out[name] = append(out[name], v)
		}
	}
	return out
}

// Another program imputed the same cohort (R 4.2.2, mice 3.15.0, method norm, 5
// imputations): its pooled coefficients must lie within the noise of so few
// imputations of ours, the errors and the fractions of missing information near.
func TestChainedEquationsAgainstMice(t *testing.T) {
	golden := readGolden(t).Pooled
	data := missingCohort(t)
	names := []string{"age", "sex", "bmi", "hr", "map"}
	for _, method := range []string{Normal, PredictiveMeanMatching} {
		var variables []Variable
		for _, name := range append(slices.Clone(names), "cpp") {
			v := Variable{Name: name, Values: data[name], Method: method}
			if name == "sex" {
				v.Levels, v.Method = 2, Logistic
			}
			variables = append(variables, v)
		}
		const m = 40
		got, err := ChainedEquations(variables, nil, Settings{Imputations: m, Iterations: 5, Stream: named(1)})
		if err != nil {
			t.Fatal(err)
		}
		estimates, errors := make([][]float64, 6), make([][]float64, 6)
		for i := range got.Copies() {
			copied := got.Copy(i)
			fit, err := regress.OLS(regress.Columns(true, names, copied[:5]), copied[5], nil)
			if err != nil {
				t.Fatal(err)
			}
			c, err := fit.Covariance(regress.Classical)
			if err != nil {
				t.Fatal(err)
			}
			for j := range estimates {
				estimates[j] = append(estimates[j], fit.Coefficients[j])
				errors[j] = append(errors[j], c.Matrix[j][j])
			}
		}
		for j := range estimates {
			p, err := Pool(estimates[j], errors[j], 294, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			want, se := golden["estimate"][j], golden["se"][j]
			noise := math.Sqrt(p.Between * (1.0/5 + 1.0/m))
			near := 0.25 // standard errors, of the same method
			if method != Normal {
				near = 0.4
			}
			if d := math.Abs(p.Estimate - want); d > 4*noise || d > near*se {
				t.Errorf("%s, coefficient %d: %g, mice has %g; noise %g", method, j, p.Estimate, want, noise)
			}
			if r := p.SE / se; r < 0.9 || r > 1.1 {
				t.Errorf("%s, coefficient %d: error %g, mice has %g", method, j, p.SE, se)
			}
		}
	}
}

// The same names give the same numbers, other names others; what was observed
// stays; matching takes observed values only.
func TestChainedEquationsKeepWhatIsThere(t *testing.T) {
	data := missingCohort(t)
	variables := []Variable{{Name: "age", Values: data["age"]}, {Name: "bmi", Values: data["bmi"], Method: PredictiveMeanMatching}, {Name: "map", Values: data["map"], Method: PredictiveMeanMatching}}
	before := slices.Clone(data["bmi"])
	run := func(seed uint64) *Imputed {
		got, err := ChainedEquations(variables, nil, Settings{Imputations: 2, Iterations: 3, Stream: named(seed)})
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	first, again, other := run(1), run(1), run(2)
	if !slices.Equal(first.Copy(1)[1], again.Copy(1)[1]) || slices.Equal(first.Copy(1)[1], other.Copy(1)[1]) || slices.Equal(slices.Clone(first.Copy(0)[1]), first.Copy(1)[1]) {
		t.Error("copies do not follow their names")
	}
	for i, v := range before {
		switch {
		case math.IsNaN(v):
			if !math.IsNaN(data["bmi"][i]) {
				t.Fatal("the caller's values were changed")
			}
			if !slices.Contains(before, first.Copy(0)[1][i]) {
				t.Errorf("row %d: %g was never observed", i, first.Copy(0)[1][i])
			}
		case v != first.Copy(0)[1][i]:
			t.Errorf("row %d changed from %g to %g", i, v, first.Copy(0)[1][i])
		}
	}
	if len(first.Traces) != 2*3*2 {
		t.Errorf("%d traces", len(first.Traces))
	}
	for _, trace := range first.Traces {
		if !(trace.SD > 0) || math.IsNaN(trace.Mean) || trace.N == 0 {
			t.Errorf("%+v", trace)
		}
	}
}

// A level that another variable predicts perfectly does not stop the chain, and
// the imputed levels follow it.
func TestLevelsUnderPerfectPrediction(t *testing.T) {
	random := rand.New(rand.NewPCG(4, 4))
	n := 300
	x, two, three := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		x[i] = random.NormFloat64()
		if x[i] > 0 {
			two[i] = 1
		}
		three[i] = math.Floor(3 * float64(i) / float64(n))
		x[i] += 10 * three[i]
	}
	hidden := map[int][2]float64{}
	for i := 0; i < n; i += 10 {
		hidden[i] = [2]float64{two[i], three[i]}
		two[i], three[i] = math.NaN(), math.NaN()
	}
	got, err := ChainedEquations([]Variable{{Name: "x", Values: x}, {Name: "two", Values: two, Levels: 2, Method: Logistic}, {Name: "three", Values: three, Levels: 3, Method: Multinomial}}, nil,
		Settings{Imputations: 3, Iterations: 5, Stream: named(3)})
	if err != nil {
		t.Fatal(err)
	}
	right := 0
	for i, was := range hidden {
		if got.Copy(0)[2][i] == was[1] {
			right++
		}
	}
	if right < 27 {
		t.Errorf("%d of %d levels that are plain from x", right, len(hidden))
	}
}

// Levels missing at random given a number: the imputed shares are those of the
// hidden ones, within three standard errors.
func TestImputedSharesAreThoseOfTheHidden(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 6))
	n := 4000
	x, y := make([]float64, n), make([]float64, n)
	var hidden [3]float64
	missing := 0
	for i := range n {
		x[i] = random.NormFloat64()
		u := random.Float64()
		a, b := math.Exp(x[i]), math.Exp(-1+2*x[i])
		switch total := 1 + a + b; {
		case u < 1/total:
			y[i] = 0
		case u < (1+a)/total:
			y[i] = 1
		default:
			y[i] = 2
		}
		if random.Float64() < 1/(1+math.Exp(-x[i])) { // more often where x is high
			hidden[int(y[i])]++
			y[i] = math.NaN()
			missing++
		}
	}
	const m = 20
	got, err := ChainedEquations([]Variable{{Name: "x", Values: x}, {Name: "y", Values: y, Levels: 3, Method: Multinomial}}, nil, Settings{Imputations: m, Iterations: 2, Stream: named(9)})
	if err != nil {
		t.Fatal(err)
	}
	for level := range 3 {
		count := 0.0
		for i := range got.Copies() {
			copied := got.Copy(i)
			for i, v := range copied[1] {
				if math.IsNaN(y[i]) && v == float64(level) {
					count++
				}
			}
		}
		share, want := count/m/float64(missing), hidden[level]/float64(missing)
		if se := math.Sqrt(want * (1 - want) / float64(missing)); math.Abs(share-want) > 3*se*1.5 {
			t.Errorf("level %d: share %.3f, hidden %.3f", level, share, want)
		}
	}
}

func TestChainedEquationsRefuse(t *testing.T) {
	nan := math.NaN()
	settings := Settings{Imputations: 1, Iterations: 1, Stream: named(1)}
	for name, variables := range map[string][]Variable{
		"nothing":       nil,
		"all missing":   {{Name: "a", Values: []float64{nan, nan}, Method: Normal}},
		"lengths":       {{Name: "a", Values: []float64{1, nan}, Method: Normal}, {Name: "b", Values: []float64{1}}},
		"number method": {{Name: "a", Values: []float64{1, nan, 2}, Method: Logistic}},
		"level method":  {{Name: "a", Values: []float64{0, nan, 2}, Levels: 3, Method: Logistic}},
		"no method":     {{Name: "a", Values: []float64{0, nan, 2}}},
		"too few":       {{Name: "a", Values: []float64{1, nan, 2}, Method: Normal}, {Name: "b", Values: []float64{1, 2, 5}}},
		"one level":     {{Name: "a", Values: []float64{1, nan, 1, 1}, Levels: 2, Method: Logistic}, {Name: "b", Values: []float64{1, 2, 5, 3}}},
	} {
		if _, err := ChainedEquations(variables, nil, settings); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// The cost that the readme names: 100 000 rows, 13 columns, four of them with a
// tenth missing, five copies of five iterations.
func BenchmarkChainedEquations(b *testing.B) {
	random := rand.New(rand.NewPCG(1, 1))
	n := 100_000
	var variables []Variable
	for k := range 13 {
		v := Variable{Name: fmt.Sprint("x", k), Values: make([]float64, n), Method: PredictiveMeanMatching}
		for i := range n {
			v.Values[i] = random.NormFloat64()
			if k > 0 {
				v.Values[i] += 0.3 * variables[k-1].Values[i]
			}
		}
		variables = append(variables, v)
	}
	for k := 3; k < 7; k++ {
		variables[k].Values = slices.Clone(variables[k].Values)
		for i := range n {
			if random.IntN(10) == 0 {
				variables[k].Values[i] = math.NaN()
			}
		}
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := ChainedEquations(variables, nil, Settings{Imputations: 5, Iterations: 5, Stream: named(1)}); err != nil {
			b.Fatal(err)
		}
	}
}
