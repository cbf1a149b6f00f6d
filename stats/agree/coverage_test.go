package agree

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"tonocohort/testdata"
)

// The exact interval of a limit covers it in 95 of 100 samples, however few the
// differences; the interval for repeated measures nearly does, with equal and
// unequal numbers. The bounds are three binomial errors away.
func TestLimitsCoverTheirTruth(t *testing.T) {
	random := rand.New(rand.NewPCG(11, 5))
	const z = 1.959963984540054
	samples, _ := testdata.Replicates(t, 1000)
	slack := 3 * math.Sqrt(0.95*0.05/float64(samples))
	var exact, equal, unequal int
	for range samples {
		d := make([]float64, 8)
		for i := range d {
			d[i] = random.NormFloat64()
		}
		l, err := BlandAltman(d, 0.95, 0.95, LimitsExact)
		if err != nil {
			t.Fatal(err)
		}
		if l.UpperCI.Low <= z && z <= l.UpperCI.High {
			exact++
		}
		for design, hits := range []*int{&equal, &unequal} {
			persons := make([][]float64, 25)
			for i := range persons {
				u := 1.2 * random.NormFloat64()
				count := 3
				if design == 1 {
					count = 1 + i%4
				}
				for range count {
					persons[i] = append(persons[i], u+1.6*random.NormFloat64())
				}
			}
			l, _, err := BlandAltmanRepeated(persons, 0.95, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			if truth := z * 2; l.UpperCI.Low <= truth && truth <= l.UpperCI.High {
				*hits++
			}
		}
	}
	for name, hits := range map[string]int{"exact": exact, "repeated, equal numbers": equal, "repeated, unequal numbers": unequal} {
		t.Logf("%s: %.1f %%", name, 100*float64(hits)/float64(samples))
		if share := float64(hits) / float64(samples); share < 0.95-slack || share > 0.95+slack {
			t.Errorf("%s: %.1f %% of the intervals cover the limit", name, 100*share)
		}
	}
}

// The first two systolic readings of NHANES 2021–2023 and all three, adults of
// the complete table: R 4.2.2.
func TestNHANESReadingsAgainstR(t *testing.T) {
	member := map[string]bool{}
	for _, row := range externalRows(t, "data/cohort_tables/ref/nhanes_2021_2023_adults.csv", ',')[1:] {
		member[row[0]] = true
	}
	rows := externalRows(t, "data/cohort_tables/nhanes_2021_2023.tsv", '\t')
	position := map[string]int{}
	for k, name := range rows[0] {
		position[name] = k
	}
	var differences []float64
	var readings [][]float64
	for _, row := range rows[1:] {
		var three []float64
		for _, name := range []string{"SysBP1", "SysBP2", "SysBP3"} {
			if v, err := strconv.ParseFloat(row[position[name]], 64); err == nil && member[row[0]] {
				three = append(three, v)
			}
		}
		if len(three) == 3 {
			readings = append(readings, three)
			differences = append(differences, three[0]-three[1])
		}
	}
	l, err := BlandAltman(differences, 0.95, 0.95, LimitsExact)
	if err != nil {
		t.Fatal(err)
	}
	same(t, "bias and SD", []float64{l.Bias, l.SD}, []float64{0.133465805596953, 6.50935610383241}, 1e-12)
	same(t, "limits", []float64{l.Lower, l.Upper}, []float64{-12.6248721579146, 12.8918037691085}, 1e-4) // 1.96 there is rounded
	a, err := NewTwoWay(readings)
	if err != nil {
		t.Fatal(err)
	}
	for form, want := range map[string]float64{ICC21: 0.934046086762909, ICC31: 0.934115420240631} {
		r, err := a.ICC(form, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		same(t, form, []float64{r.Estimate}, []float64{want}, 1e-12)
	}
}

func externalRows(t *testing.T, name string, comma rune) [][]string {
	t.Helper()
	file, err := os.Open(testdata.External(t, name))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comma, reader.LazyQuotes = comma, true
	rows, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

func TestRefusals(t *testing.T) {
	pair := []float64{1, 2}
	for name, err := range map[string]error{
		"two differences":      second(BlandAltman(pair, 0.95, 0.95, LimitsExact)),
		"unknown interval":     second(BlandAltman([]float64{1, 2, 3}, 0.95, 0.95, "x")),
		"missing difference":   second(BlandAltman([]float64{1, 2, math.NaN()}, 0.95, 0.95, LimitsExact)),
		"one value a person":   second(OneWay([][]float64{{1}, {2}})),
		"person without value": second(OneWay([][]float64{{1, 2}, {}})),
		"unequal lengths":      second(Deming(pair, []float64{1}, 1, 0.95)),
		"ratio of zero":        second(Deming([]float64{1, 2, 3, 4}, []float64{1, 3, 2, 4}, 0, 0.95)),
		"no variation":         second(Deming([]float64{1, 1, 1, 1}, []float64{1, 3, 2, 4}, 1, 0.95)),
		"vertical":             second(PassingBablok([]float64{1, 1, 1, 1}, []float64{1, 3, 2, 4}, 0.95)),
		"ragged ratings":       second(NewTwoWay([][]float64{{1, 2}, {1, 2, 3}})),
		"ragged table":         second(CohenKappa([][]int{{1, 2}, {1}}, KappaUnweighted, 0.95)),
		"empty table":          second(CohenKappa([][]int{{0, 0}, {0, 0}}, KappaUnweighted, 0.95)),
		"unknown weights":      second(CohenKappa([][]int{{1, 2}, {1, 2}}, "x", 0.95)),
	} {
		if err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func second[T any](_ T, err error) error { return err }

// Raters who agree without error correlate fully; one category alone leaves kappa
// without a value.
func TestDegenerateAgreement(t *testing.T) {
	a, err := NewTwoWay([][]float64{{1, 1}, {2, 2}, {5, 5}})
	if err != nil {
		t.Fatal(err)
	}
	for _, form := range []string{ICC11, ICC21, ICC31} {
		if r, err := a.ICC(form, 0.95); err != nil || r.Estimate != 1 {
			t.Errorf("%s: %+v, %v", form, r, err)
		}
	}
	k, err := CohenKappa([][]int{{9, 0}, {0, 0}}, KappaUnweighted, 0.95)
	if err != nil || !math.IsNaN(k.Estimate) {
		t.Errorf("%+v, %v", k, err)
	}
}

// A shifted and stretched copy is found exactly by either line.
func TestLinesThroughExactPoints(t *testing.T) {
	x := []float64{1, 2, 4, 7, 11, 16}
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = 3 + 2*v
	}
	for name, fit := range map[string]func() (Line, error){
		MethodDeming:        func() (Line, error) { return Deming(x, y, 2, 0.95) },
		MethodPassingBablok: func() (Line, error) { return PassingBablok(x, y, 0.95) },
	} {
		l, err := fit()
		if err != nil {
			t.Fatal(err)
		}
		same(t, name, []float64{l.Intercept, l.Slope}, []float64{3, 2}, 1e-12)
	}
}
