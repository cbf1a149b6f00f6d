package published

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
)

func TestSetsOpen(t *testing.T) {
	if !slices.Contains(Names(), "mceniery2005") {
		t.Fatalf("sets: %v", Names())
	}
	for _, name := range Names() {
		s, err := Open(name)
		if err != nil {
			t.Fatal(err)
		}
		if len(s.Values)+len(s.Equations)+len(s.Coefficients)+len(s.Limits) == 0 || s.Source == "" || s.Reading == "" {
			t.Errorf("%s: %d means, source %q, reading %q", name, len(s.Values), s.Source, s.Reading)
		}
	}
	if _, err := Open("../published"); err == nil {
		t.Error("a path was opened as a set")
	}
}

// The published totals of McEniery 2005: 1969 men and 2032 women, 4001 people
// aged 18 to 90 (abstract of the paper).
func TestMcEniery2005Totals(t *testing.T) {
	s, err := Open("mceniery2005")
	if err != nil {
		t.Fatal(err)
	}
	people := map[string]map[string]int{}
	for _, v := range s.Values {
		if people[v.Variable] == nil {
			people[v.Variable] = map[string]int{}
		}
		people[v.Variable][v.Sex] += v.N
	}
	if len(people) != 10 {
		t.Errorf("%d variables", len(people))
	}
	for variable, n := range people {
		if n["male"] != 1969 || n["female"] != 2032 {
			t.Errorf("%s: %v", variable, n)
		}
	}
	if s.AgeLow != 18 || s.AgeHigh != 90 {
		t.Errorf("ages %d to %d", s.AgeLow, s.AgeHigh)
	}
}

// Within the table central SBP − brachial DBP agrees with central PP to 2 mmHg
// in every cell but the suspect one: that is how it was found.
func TestMcEniery2005SuspectCell(t *testing.T) {
	s, err := Open("mceniery2005")
	if err != nil {
		t.Fatal(err)
	}
	mean := map[string]float64{}
	for _, v := range s.Values {
		mean[v.Variable+v.Sex+v.AgeBand] = v.Mean
	}
	var suspects []string
	for _, v := range s.Values {
		if v.Suspect() {
			suspects = append(suspects, fmt.Sprint(v.Variable, " ", v.Sex, " ", v.AgeBand))
		}
		if v.Variable != "central_pp_mmhg" {
			continue
		}
		off := math.Abs(mean["central_sbp_mmhg"+v.Sex+v.AgeBand] - mean["brachial_dbp_mmhg"+v.Sex+v.AgeBand] - v.Mean)
		if (off > 2) != v.Suspect() {
			t.Errorf("%s %s: off by %g, status %s", v.Sex, v.AgeBand, off, v.Status)
		}
	}
	if len(suspects) != 1 || suspects[0] != "central_pp_mmhg female 70-79" {
		t.Errorf("suspect: %v", suspects)
	}
}

func TestBandsCoverAllAges(t *testing.T) {
	for _, name := range Names() {
		s, err := Open(name)
		if err != nil {
			t.Fatal(err)
		}
		if s.Kind != Means {
			continue
		}
		for age := s.AgeLow; age <= s.AgeHigh; age++ {
			bands := map[string]int{}
			for _, v := range s.Values {
				if v.AgeLow <= age && age <= v.AgeHigh {
					bands[v.Variable+" "+v.Sex]++
				}
			}
			for what, n := range bands {
				if n != 1 {
					t.Errorf("%s, %s: age %d lies in %d bands", name, what, age, n)
				}
			}
		}
	}
}

func TestReadRefuses(t *testing.T) {
	const head = "# source: a paper\n# reading: in the paper\n# selection: any\n# ages: 18-90\n"
	const columns = "variable,sex,age_band,n,mean,sd,status,note\n"
	if _, err := Read("good", strings.NewReader(head+columns+"central_pp_mmhg,male,<30,5,31,6,read,\n")); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{
		"no source":       columns,
		"unknown key":     "# colour: blue\n" + head + columns,
		"other header":    head + "variable,sex,band\n",
		"no header":       head,
		"band":            head + columns + "central_pp_mmhg,male,thirties,5,31,6,read,\n",
		"band reversed":   head + columns + "central_pp_mmhg,male,39-30,5,31,6,read,\n",
		"sex":             head + columns + "central_pp_mmhg,man,<30,5,31,6,read,\n",
		"kind":            "# kind: medians\n" + head + columns + "central_pp_mmhg,male,<30,5,31,6,read,\n",
		"no rows":         head + columns,
		"selection":       strings.Replace(head, "any", "some", 1) + columns + "central_pp_mmhg,male,<30,5,31,6,read,\n",
		"nobody":          head + columns + "central_pp_mmhg,male,<30,0,31,6,read,\n",
		"mean":            head + columns + "central_pp_mmhg,male,<30,5,NaN,6,read,\n",
		"negative spread": head + columns + "central_pp_mmhg,male,<30,5,31,-6,read,\n",
		"status":          head + columns + "central_pp_mmhg,male,<30,5,31,6,remembered,\n",
		"twice":           head + columns + "central_pp_mmhg,male,<30,5,31,6,read,\ncentral_pp_mmhg,male,<30,5,31,6,read,\n",
	} {
		if _, err := Read("bad", strings.NewReader(text)); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

// person is a row for terms.
type person map[string]any

func (p person) Number(column string) float64 {
	if v, ok := p[column].(float64); ok {
		return v
	}
	return math.NaN()
}

func (p person) Level(column string) string {
	v, _ := p[column].(string)
	return v
}

// The equations of Janner 2010 at a heart rate of 65, 178 and 165 cm, worked
// out beside the reading of the abstract.
func TestJanner2010(t *testing.T) {
	s, err := Open("janner2010")
	if err != nil {
		t.Fatal(err)
	}
	want := map[string][]float64{"male": {6, 11, 16, 20, 24, 28}, "female": {14, 20, 25, 29, 32, 34}}
	for _, e := range s.Equations {
		for i, value := range want[e.Sex] {
			p := person{"age_years": float64(25 + 10*i), "heart_rate_bpm": 65.0, "height_cm": map[string]float64{"male": 178, "female": 165}[e.Sex]}
			mean, sd := e.Predict(p)
			if math.Round(mean) != value || !math.IsNaN(sd) {
				t.Errorf("%s of %d: %.2f, want %g", e.Sex, 25+10*i, mean, value)
			}
		}
	}
	if len(s.Equations) != 2 || len(s.Equations[0].Columns()) != 3 {
		t.Errorf("%+v", s.Equations)
	}
	if mean, _ := s.Equations[0].Predict(person{"age_years": 50.0}); !math.IsNaN(mean) {
		t.Errorf("without height: %g", mean)
	}
}

// Diaz 2018 gives 101 mmHg of central systolic pressure at 20 years with
// logarithms to base 10, as a plausible value must be.
func TestDiaz2018(t *testing.T) {
	s, err := Open("diaz2018")
	if err != nil {
		t.Fatal(err)
	}
	mean, sd := s.Equations[0].Predict(person{"age_years": 20.0})
	if got := s.Equations[0].Scale.From(mean); math.Round(got) != 101 {
		t.Errorf("central SBP %.1f", got)
	}
	// A value one SD up comes back as z = 1.
	x := s.Equations[0].Scale.From(mean + sd)
	if z := (s.Equations[0].Scale.To(x) - mean) / sd; math.Abs(z-1) > 1e-12 || x < 102 || x > 115 {
		t.Errorf("one SD up is %.1f, z %g", x, z)
	}
	index := s.Equations[1]
	m, _ := index.Predict(person{"age_years": 10.0})
	if got := index.Scale.From(m); math.Abs(index.Scale.To(got)-m) > 1e-12 {
		t.Errorf("the scale does not come back: %g", got)
	}
}

func TestTerms(t *testing.T) {
	p := person{"age_years": 10.0, "sex": "female", "height_cm": 3.0}
	for text, want := range map[string]float64{
		"1": 1, "age_years": 10, "age_years^3": 1000, "log10(age_years)": 1, "sex=female": 1, "sex=male": 0, "sex=female*age_years": 10, "height_cm^2*age_years": 90,
	} {
		term, err := parseTerm(text)
		if err != nil {
			t.Fatal(err)
		}
		if got := term.Value(p); got != want {
			t.Errorf("%s: %g, want %g", text, got, want)
		}
	}
	for _, text := range []string{"", "age years", "age^x", "age^0", "log10(", "*", "sex=", "exp(age)"} {
		if term, err := parseTerm(text); err == nil {
			t.Errorf("%q was read as %+v", text, term)
		}
	}
	for _, text := range []string{"weight_kg", "treated=yes", "sex=male*weight_kg"} {
		term, err := parseTerm(text)
		if err != nil {
			t.Fatal(err)
		}
		if got := term.Value(p); !math.IsNaN(got) {
			t.Errorf("%s with a missing cell: %g", text, got)
		}
	}
}

// The threshold of 50 mmHg is where outcomes were worse, never a limit of health.
func TestFiftyIsNoReferenceLimit(t *testing.T) {
	for _, name := range Names() {
		s, err := Open(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range s.Limits {
			if l.Variable == "central_pp_mmhg" && l.Kind != "outcome_threshold" {
				t.Errorf("%s: %+v", name, l)
			}
		}
	}
}

func TestOtherKindsRefuse(t *testing.T) {
	const head = "# source: a paper\n# reading: in the paper\n# selection: any\n# ages: all\n"
	for name, text := range map[string]string{
		"scale":      "# kind: equations\n" + head + "variable,sex,scale,part,term,coefficient,status,note\nx,all,log(x),mean,1,2,read,\n",
		"power":      "# kind: equations\n" + head + "variable,sex,scale,part,term,coefficient,status,note\nx,all,x^-1,mean,1,2,read,\n",
		"two scales": "# kind: equations\n" + head + "variable,sex,scale,part,term,coefficient,status,note\nx,all,x,mean,1,2,read,\nx,all,x^0.5,sd,1,2,read,\n",
		"part":       "# kind: equations\n" + head + "variable,sex,scale,part,term,coefficient,status,note\nx,all,x,median,1,2,read,\n",
		"twice":      "# kind: equations\n" + head + "variable,sex,scale,part,term,coefficient,status,note\nx,all,x,mean,1,2,read,\nx,all,x,mean,1,3,read,\n",
		"per":        "# kind: coefficients\n" + head + "variable,term,per,coefficient,se,low,high,status,note\nx,age,0,1,,,,read,\n",
		"interval":   "# kind: coefficients\n" + head + "variable,term,per,coefficient,se,low,high,status,note\nx,age,1,1,,3,2,read,\n",
		"no slope":   "# kind: coefficients\n" + head + "variable,term,per,coefficient,se,low,high,status,note\nx,age,1,,,,,read,\n",
		"side":       "# kind: limits\n" + head + "variable,sex,age_band,side,limit,kind,effect,source,status,note\nx,all,all,above,1,proposed_limit,,a,read,\n",
		"limit kind": "# kind: limits\n" + head + "variable,sex,age_band,side,limit,kind,effect,source,status,note\nx,all,all,below,1,normal,,a,read,\n",
		"no source":  "# kind: limits\n" + head + "variable,sex,age_band,side,limit,kind,effect,source,status,note\nx,all,all,below,1,proposed_limit,,,read,\n",
	} {
		if _, err := Read("bad", strings.NewReader(text)); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}
