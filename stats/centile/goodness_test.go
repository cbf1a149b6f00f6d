package centile

import (
	"math"
	"math/rand/v2"
	"testing"

	"tonocohort/stats"
)

// scipy 1.10.1: skew, kurtosis(fisher=False), skewtest and kurtosistest of the
// same 24 numbers.
func TestGroupAgainstScipy(t *testing.T) {
	z := []float64{-1.2, -.9, -.85, -.5, -.31, -.22, -.1, .02, .05, .11, .3, .33, .48, .6, .75, .9, 1.1, 1.2, 1.7, 2.9, 3.4, -2, .4, -.7}
	age := make([]float64, len(z))
	groups, err := Groups(age, z, 5)
	if err != nil || len(groups) != 1 {
		t.Fatalf("%d groups, %v", len(groups), err)
	}
	g := groups[0]
	near(t, "skewness", g.Skewness, 0.7572134877815659, 1e-12)
	near(t, "kurtosis", g.Kurtosis, 3.881149312189097, 1e-12)
	d := g.deviates()
	near(t, "deviate of skewness", d[2], 1.7172960943265598, 1e-12)
	near(t, "deviate of kurtosis", d[3], 1.4502037332429618, 1e-12)
	near(t, "chi-square", stats.ChiSquareTail(7.3, 4.5), 0.15768723634941148, 1e-12)
}

// The worked example of D'Agostino, Belanger and D'Agostino 1990 (Am Stat
// 44:316-21, from memory): 62 people, √b₁ 1.02 and b₂ 4.58 have the deviates 3.14
// and 2.21, as far as two decimals of the first tell.
func TestDAgostinoExample(t *testing.T) {
	if z := skewnessDeviate(1.02, 62); math.Abs(z-3.14) > 0.015 {
		t.Errorf("skewness: %.3f", z)
	}
	if z := kurtosisDeviate(4.58, 62); math.Abs(z-2.21) > 0.006 {
		t.Errorf("kurtosis: %.3f", z)
	}
}

// Standard normal scores are rejected as often as the level says; scores that
// are shifted, wide, skewed or long-tailed are rejected by the test of their name.
func TestQTestsFindTheirFault(t *testing.T) {
	faults := map[string]func(z float64) float64{
		"Q1": func(z float64) float64 { return z + 0.3 },
		"Q2": func(z float64) float64 { return 1.3 * z },
		"Q3": func(z float64) float64 { return (math.Exp(0.5*z) - 1.1331) / 0.6039 },
		"Q4": func(z float64) float64 { return z * math.Abs(z) / 1.7320508 },
	}
	random := rand.New(rand.NewPCG(8, 9))
	const cohorts = 400
	var rejected [4]int
	found := map[string]int{}
	for range cohorts {
		age, z := make([]float64, 600), make([]float64, 600)
		for i := range z {
			age[i], z[i] = 20+60*random.Float64(), random.NormFloat64()
		}
		for k, q := range testsOf(t, age, z) {
			if q.P < 0.05 {
				rejected[k]++
			}
			bent := make([]float64, len(z))
			for i := range z {
				bent[i] = faults[q.Name](z[i])
			}
			if testsOf(t, age, bent)[k].P < 0.05 {
				found[q.Name]++
			}
		}
	}
	for k, n := range rejected {
		// 5 % ± 4 standard errors; the deviate of kurtosis is approximate.
		if share := float64(n) / cohorts; math.Abs(share-0.05) > 0.045 {
			t.Errorf("Q%d rejects %.1f %% of normal scores", k+1, 100*share)
		}
	}
	for name, n := range found {
		if n < cohorts*9/10 {
			t.Errorf("%s finds its fault in %d of %d", name, n, cohorts)
		}
	}
}

func testsOf(t *testing.T, age, z []float64) [4]QTest {
	t.Helper()
	groups, err := Groups(age, z, 8)
	if err != nil || len(groups) != 8 {
		t.Fatalf("%d groups, %v", len(groups), err)
	}
	return QTests(groups, [3]float64{0, -1, 0}) // no curve was fitted: eight degrees each
}

// People of one age stay together, and all are in one group.
func TestGroups(t *testing.T) {
	var age, z []float64
	for i := range 205 {
		age, z = append(age, float64(20+i/50)), append(z, float64(i%7))
	}
	groups, err := Groups(age, z, 4)
	if err != nil {
		t.Fatal(err)
	}
	people := 0
	for k, g := range groups {
		people += len(g.Z)
		if k > 0 && !(g.AgeLow > groups[k-1].AgeHigh) || len(g.Z) < smallestGroup {
			t.Errorf("group %d: %g to %g, %d people", k, g.AgeLow, g.AgeHigh, len(g.Z))
		}
	}
	if people != 205 {
		t.Errorf("%d people in groups", people)
	}
	if _, err := Groups(age[:10], z[:10], 4); err == nil {
		t.Error("ten people in groups")
	}
}

// Scores at the plotting positions of the normal distribution lie on the line.
func TestDetrended(t *testing.T) {
	n := 200
	age, z := make([]float64, n), make([]float64, n)
	for i := range z {
		z[i] = stats.NormalQuantile((float64(i) + 1 - 0.375) / (float64(n) + 0.25))
	}
	groups, err := Groups(age, z, 1)
	if err != nil {
		t.Fatal(err)
	}
	points := groups[0].Detrended([]float64{0.001, 0.05, 0.5, 0.9})
	if len(points) != 3 {
		t.Fatalf("%d points: a share of 1 in 1000 among 200 has none", len(points))
	}
	for _, p := range points {
		if math.Abs(p.Difference) > 1e-3 {
			t.Errorf("at %.2f: %g", p.Deviate, p.Difference)
		}
	}
	// 1.96·√(0.5·0.5/200)/φ(0).
	near(t, "limit at the median", points[1].Limit, 1.959963984540054*math.Sqrt(0.25/200)*math.Sqrt(2*math.Pi), 1e-12)
}

func TestShareBelow(t *testing.T) {
	age, value := cohort(4000, 7)
	f, err := FitLMS(age, value, LMSOptions{DF: DefaultLMSDF()})
	if err != nil {
		t.Fatal(err)
	}
	age = append(age, 99)
	value = append(value, 40)
	for _, p := range []float64{0.05, 0.5, 0.9} {
		below, of := ShareBelow(f, age, value, p)
		if of != 4000 || math.Abs(float64(below)/4000-p) > 0.012 {
			t.Errorf("%s: %d of %d", LevelName(p), below, of)
		}
	}
}
