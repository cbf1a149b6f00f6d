package pipeline

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

func asideIn(t *testing.T) *aside {
	t.Helper()
	a := &aside{dir: t.TempDir()}
	t.Cleanup(a.close)
	return a
}

// What is put aside comes out as a stable sort in memory gives it, however much of it
// stood on the disk; asking twice and adding in between change nothing of that, and
// the folder is empty meanwhile.
func TestSortedIsStableSort(t *testing.T) {
	byCode := func(a, b schema.Issue) int { return cmp.Compare(a.Code, b.Code) }
	for _, n := range []int{0, 1, mostRecent - 1, mostRecent, 3*mostRecent + 17} {
		a := asideIn(t)
		s := sorted[schema.Issue]{aside: a, compare: byCode}
		random := rand.New(rand.NewPCG(9, uint64(n)))
		var want []schema.Issue
		for i := range n {
			// Fields that are empty in some must not be filled from those before.
			issue := schema.Issue{Code: fmt.Sprint(random.IntN(50)), Row: i * (i % 2), Message: fmt.Sprint(i)}
			if i%3 == 0 {
				issue.Hint = "a hint"
			}
			want = append(want, issue)
			if err := s.add(issue); err != nil {
				t.Fatal(err)
			}
			if i == n/2 {
				if _, err := s.all(); err != nil {
					t.Fatal(err)
				}
			}
		}
		slices.SortStableFunc(want, byCode)
		got, err := s.all()
		if err != nil || s.n != n || !slices.Equal(got, want) {
			t.Errorf("%d: %d come out, in another order or otherwise (%v)", n, len(got), err)
		}
		if names, err := os.ReadDir(a.dir); err != nil || len(names) > 0 {
			t.Errorf("%d: %v stand in the folder (%v)", n, names, err)
		}
	}
	s := sorted[schema.Issue]{aside: asideIn(t), compare: byCode}
	stop := errors.New("enough")
	if err := s.add(schema.Issue{}); err != nil || !errors.Is(s.each(func(schema.Issue) error { return stop }), stop) {
		t.Error("the error of the visitor is lost")
	}
	lost := sorted[schema.Issue]{aside: &aside{dir: "no such folder"}, compare: byCode}
	if err := lost.add(make([]schema.Issue, mostRecent)...); err == nil {
		t.Error("a disk that takes nothing shows no error")
	}
}

// told is everything of a subject, what its pointers point to in place of addresses.
func told(s study.Subject) string {
	setups := ""
	s.Visits = slices.Clone(s.Visits)
	for i := range s.Visits {
		recordings := slices.Clone(s.Visits[i].Recordings)
		for k := range recordings {
			setups += fmt.Sprintf(" %+v", *recordings[k].Setup)
			recordings[k].Setup = nil
		}
		s.Visits[i].Recordings = recordings
	}
	return fmt.Sprintf("%+v%s", s, setups)
}

// A subject that was put aside is the same subject, with the key of one that was not.
func TestSubjectsAside(t *testing.T) {
	var subjects []study.Subject
	for i := range 2*chunkSubjects + 3 {
		s := study.Subject{ID: fmt.Sprintf("P%04d", i), Sex: "female"}
		for range i % 3 {
			s.Visits = append(s.Visits, study.Visit{
				ID: "v1", AgeYears: math.NaN(), Cells: []study.Cell{{Number: math.Copysign(0, -1)}, {Number: math.NaN(), Text: "a"}}, Departures: []string{"rest_minutes"},
				Cuff:       []study.Reading{{Number: 1, SBP: 120, DBP: 80, MAP: math.NaN(), Pulse: 60, RecordingID: "R", Line: 7}},
				Recordings: []study.Recording{{ID: "R", File: "w.csv", Setup: &study.Setup{SamplingHz: 128}, Reviews: []study.Review{{Reader: "A", Decision: "reject"}}, Fault: "no_file", Line: 3}},
			})
		}
		subjects = append(subjects, s)
	}
	r := &run{study: &study.Study{Subjects: subjects}}
	r.aside.dir = t.TempDir()
	defer r.aside.close()
	if err := r.putSubjectsAside(); err != nil {
		t.Fatal(err)
	}
	if r.subjects.n != len(subjects) || r.study.Subjects != nil {
		t.Fatal("the study still holds its subjects")
	}
	next, at := r.subjects.chunks(&r.aside), 0
	for {
		chunk, err := next()
		if err != nil {
			t.Fatal(err)
		}
		if len(chunk) == 0 {
			break
		}
		for i := range chunk {
			got := strings.ReplaceAll(told(chunk[i]), "Number:0", "Number:-0")
			if want := told(subjects[at]); got != want {
				t.Fatalf("%s comes back as %s", want, got)
			}
			if subjectKey(&chunk[i]) != subjectKey(&subjects[at]) {
				t.Fatalf("%s has another key", chunk[i].ID)
			}
			at++
		}
	}
	if at != len(subjects) {
		t.Errorf("%d of %d subjects come back", at, len(subjects))
	}
}

// The manifest that is written a piece at a time is that of the library, and its
// digest the one that its text has.
func TestManifestIsWrittenAsTheLibraryDoes(t *testing.T) {
	rows := int64(3)
	for _, n := range []int{0, 1, 5000} {
		m := schema.Manifest{Format: schema.ManifestFormat, Caution: schema.Caution, Settings: schema.DefaultSettings(), Build: CurrentBuild("<&>"),
			Inputs: []schema.File{{Path: "z.csv", Bytes: 1}}, Seeds: map[string]string{"b": "<ü>\u2028", "a": "x"},
			Outputs: []schema.Output{{File: schema.File{Path: "b"}, Rows: &rows, RowGroups: []schema.RowGroup{{Rows: 3}}}, {File: schema.File{Path: "a"}}}, Run: &schema.RunTimes{Jobs: 2}}
		if n == 0 {
			m.Inputs, m.Outputs = nil, nil
		}
		list := sorted[schema.File]{aside: asideIn(t), compare: byPath}
		for i := range n {
			f := schema.File{Path: fmt.Sprintf("waves/<%d>\xff.csv", n-i/2), SHA256: "ab"} // each twice
			if err := list.add(f); err != nil {
				t.Fatal(err)
			}
		}
		if err := list.add(m.Inputs...); err != nil {
			t.Fatal(err)
		}
		var written, digested bytes.Buffer
		if err := writeManifest(&written, &m, &list); err != nil {
			t.Fatal(err)
		}
		if err := writeContent(&digested, &m, &list); err != nil {
			t.Fatal(err)
		}
		inputs, err := list.all()
		if err != nil {
			t.Fatal(err)
		}
		m.Inputs = slices.Compact(inputs)
		var want bytes.Buffer
		encoder := json.NewEncoder(&want)
		encoder.SetEscapeHTML(false)
		encoder.SetIndent("", " ")
		if err := encoder.Encode(m); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(written.Bytes(), want.Bytes()) {
			t.Errorf("%d inputs: the text differs:\n%.2000s\n%.2000s", n, written.Bytes(), want.Bytes())
		}
		var object map[string]json.RawMessage
		if err := json.Unmarshal(want.Bytes(), &object); err != nil {
			t.Fatal(err)
		}
		delete(object, "content")
		delete(object, "run")
		canon, err := canonical(object)
		if err != nil || !bytes.Equal(canon, digested.Bytes()) {
			t.Errorf("%d inputs: the digest is taken over something else (%v)", n, err)
		}
	}
}
