package study

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"tonocohort/schema"
)

// shuffled returns the text with the rows below the header in another order.
func shuffled(text string, r *rand.Rand) string {
	lines := strings.Split(strings.TrimSuffix(text, "\n"), "\n")
	r.Shuffle(len(lines)-1, func(i, j int) { lines[i+1], lines[j+1] = lines[j+1], lines[i+1] })
	return strings.Join(lines, "\n") + "\n"
}

// invented returns a study of n persons with value faults sprinkled in.
func invented(n int) folder {
	r := rand.New(rand.NewPCG(1, 2))
	var subjects, visits, cuff, recordings strings.Builder
	subjects.WriteString("subject_id,sex,birth_date,height_cm,weight_kg\n")
	visits.WriteString("subject_id,visit_id,visit_date,treated,rest_min\n")
	cuff.WriteString("subject_id,visit_id,reading,sbp_mmhg,dbp_mmhg,map_mmhg\n")
	recordings.WriteString("recording_id,subject_id,visit_id,file,format,sampling_hz,artery\n")
	for i := range n {
		height, rest := fmt.Sprint(150+r.IntN(40)), fmt.Sprint(r.IntN(20))
		if r.IntN(10) == 0 {
			height = "NA"
		}
		if r.IntN(10) == 0 {
			rest = "ten"
		}
		fmt.Fprintf(&subjects, "P%d,%s,%d-05-17,%s,%d\n", i, []string{"female", "male", "F"}[r.IntN(3)], 1930+r.IntN(70), height, 45+r.IntN(60))
		for v := range 1 + r.IntN(3) {
			fmt.Fprintf(&visits, "P%d,V%d,%d-%02d-11,%s,%s\n", i, v, 2010+r.IntN(10), 1+r.IntN(12), []string{"yes", "no", "perhaps"}[r.IntN(3)], rest)
			for k := range r.IntN(4) {
				sbp := 100 + r.IntN(60)
				fmt.Fprintf(&cuff, "P%d,V%d,%d,%d,%d,%d\n", i, v, k+1, sbp, sbp-r.IntN(60), sbp-10)
			}
			for k := range r.IntN(3) {
				fmt.Fprintf(&recordings, "R%d.%d.%d,P%d,V%d,w/%d_%d_%d.csv,csv,128,%s\n", i, v, k, i, v, i, v, k, []string{"", "radial", "aorta"}[r.IntN(3)])
			}
		}
	}
	return smallStudy().with("subjects.csv", subjects.String(), "visits.csv", visits.String(), "cuff.csv", cuff.String(), "recordings.csv", recordings.String(),
		"reviews.csv", "recording_id,decision,reason\n", "withdrawn.csv", "subject_id\n")
}

// withoutLines takes out what may depend on the order of rows: their numbers.
func withoutLines(s *Study) {
	for i := range s.Subjects {
		for j := range s.Subjects[i].Visits {
			v := &s.Subjects[i].Visits[j]
			for k := range v.Cuff {
				v.Cuff[k].Line = 0
			}
			for k := range v.Recordings {
				r := &v.Recordings[k]
				r.Line = 0
				r.Fault += fmt.Sprintf(" %+v", *r.Setup) // which prints as an address
				r.Setup = nil
			}
		}
	}
	for i := range s.Exclusions {
		s.Exclusions[i].Issue.Row, s.Exclusions[i].Issue.Column = 0, 0
	}
	for i := range s.Issues {
		s.Issues[i].Row = 0
	}
	slices.SortFunc(s.Issues, func(a, b schema.Issue) int { return strings.Compare(fmt.Sprint(a), fmt.Sprint(b)) })
	slices.SortFunc(s.Exclusions, func(a, b Exclusion) int { return strings.Compare(fmt.Sprint(a), fmt.Sprint(b)) })
	s.Inputs, s.settings = nil, nil
	for i := range s.Carried {
		s.Carried[i].Low, s.Carried[i].High = nil, nil // pointers, which print as addresses
	}
}

func TestOrderOfRowsDoesNotMatter(t *testing.T) {
	f := invented(60)
	print := func(s *Study) string { // NaN is not equal to itself, but prints alike
		withoutLines(s)
		return fmt.Sprintf("%+v", *s)
	}
	study := Load(f, Options{})
	if schema.AnyStructural(study.Issues) || len(study.Exclusions) < 50 || len(study.Subjects) != 60 {
		t.Fatalf("%d persons, %d exclusions", len(study.Subjects), len(study.Exclusions))
	}
	checkCounts(t, study)
	want := print(study)
	r := rand.New(rand.NewPCG(3, 4))
	for range 5 {
		changed := folder{}
		for name, text := range f {
			if strings.HasSuffix(name, ".csv") {
				text = shuffled(text, r)
			}
			changed[name] = text
		}
		if got := print(Load(changed, Options{})); got != want {
			i := 0
			for i < min(len(got), len(want)) && got[i] == want[i] {
				i++
			}
			t.Fatalf("another order of rows gives another study: %.200s\n%.200s", got[max(0, i-50):], want[max(0, i-50):])
		}
	}
}

// Every fault that takes something away has exactly one exclusion, and each
// recording with a fault names it.
func TestIssuesAndExclusionsAgree(t *testing.T) {
	s := Load(invented(60), Options{})
	issues, exclusions := map[string]int{}, map[string]int{}
	for _, i := range s.Issues {
		if i.Size == schema.SizeValue || i.Size == schema.SizeRecording {
			issues[i.Code]++
		}
	}
	faults := 0
	for _, e := range s.Exclusions {
		exclusions[e.Reason]++
		if e.Level == "recording" {
			faults++
		}
	}
	if !reflect.DeepEqual(issues, exclusions) {
		t.Errorf("issues %v, exclusions %v", issues, exclusions)
	}
	for i := range s.Subjects {
		for _, v := range s.Subjects[i].Visits {
			for _, r := range v.Recordings {
				if r.Fault != "" {
					faults--
				}
				if (r.Artery == "") != (r.Fault != "") {
					t.Errorf("recording %+v", r)
				}
			}
		}
	}
	if faults != 0 {
		t.Errorf("%d more exclusions than recordings with a fault", faults)
	}
}

func TestVisitsAreOrdered(t *testing.T) {
	order := func(rows string) string {
		f := smallStudy().with("visits.csv", "subject_id,visit_id,age_years,visit_date\n"+rows, "cuff.csv", "subject_id,visit_id,reading,sbp_mmhg,dbp_mmhg\n",
			"recordings.csv", "recording_id,subject_id,visit_id,file,format\n", "reviews.csv", "recording_id,decision,reason\n")
		var ids []string
		for _, v := range Load(f, Options{}).Subjects[1].Visits {
			ids = append(ids, v.ID)
		}
		return strings.Join(ids, " ")
	}
	for _, c := range []struct{ by, rows, want string }{
		{"date", "S2,A,50,2021-01-01\nS2,B,40,2020-01-01\n", "B A"},
		{"age where a date is missing", "S2,A,50,\nS2,B,40,2021-01-01\n", "B A"},
		{"id where an age is missing too", "S2,V10,50,\nS2,V9,,2021-01-01\n", "V9 V10"},
		{"id on one date", "S2,V10,50,2021-01-01\nS2,V9,50,2021-01-01\n", "V9 V10"},
	} {
		if got := order(c.rows); got != c.want {
			t.Errorf("by %s: %s, want %s", c.by, got, c.want)
		}
	}
}

// The hand-written scanner and the published pattern agree.
func TestIdentifierFollowsThePattern(t *testing.T) {
	pattern := regexp.MustCompile(schema.Identifier)
	alphabet := []rune("aZ0ß٣Ⅷ_ .:/+-=@#\u00a0\u0301\t'é½")
	r := rand.New(rand.NewPCG(5, 6))
	for range 20000 {
		n := r.IntN(5)
		if r.IntN(50) == 0 {
			n = 60 + r.IntN(8)
		}
		text := make([]rune, n)
		for i := range text {
			text[i] = alphabet[r.IntN(len(alphabet))]
			if n > 50 {
				text[i] = 'x'
			}
		}
		if s := string(text); isIdentifier(s) != pattern.MatchString(s) {
			t.Fatalf("%q: %v, the pattern says otherwise", s, isIdentifier(s))
		}
	}
}
