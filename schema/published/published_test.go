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
		if len(s.Values) == 0 || s.Source == "" || s.Reading == "" {
			t.Errorf("%s: %d values, source %q, reading %q", name, len(s.Values), s.Source, s.Reading)
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
