package pipeline

import (
	"context"
	"errors"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"tonocohort/schema"
)

// sealedWith makes a results folder of the given tables; build tells programs
// apart.
func sealedWith(t testing.TB, build string, frames ...*schema.Frame) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "results")
	o := output{dir: dir}
	defer o.close()
	if err := o.open(false); err != nil {
		t.Fatal(err)
	}
	o.begin(schema.DefaultSettings(), schema.Build{Program: "tonocohort", Version: "test"}, nil)
	o.manifest.Build.Executable = build
	for _, f := range frames {
		if err := o.write(f); err != nil {
			t.Fatal(err)
		}
	}
	out, err := writeFile(o.results, tablesFolder+"remarks.txt", true, func(w io.Writer) error {
		_, err := io.WriteString(w, "height 17.25 cm by "+build)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	o.manifest.Outputs = append(o.manifest.Outputs, out)
	if err := o.seal(time.Unix(0, 0), time.Unix(1, 0), 1); err != nil {
		t.Fatal(err)
	}
	return dir
}

// beatsOf makes a table of beats; edit may change it.
func beatsOf(subjects []string, edit func(*schema.Frame)) *schema.Frame {
	f := schema.NewFrame(schema.BeatsTable(), 0)
	for _, s := range subjects {
		for beat := range 3 {
			row := f.AddRow()
			f.SetText(row, "subject_id", s)
			f.SetText(row, "visit_id", "v1")
			f.SetText(row, "recording_id", s+"_1")
			setInteger(f, row, "beat", beat+1)
			f.SetNumber(row, "onset_s", float64(beat)+0.25)
			f.SetBool(row, "accepted", beat != 1)
		}
	}
	if edit != nil {
		edit(f)
	}
	return f
}

func compared(t *testing.T, a, b string, o CompareOptions) (*Comparison, FileComparison) {
	t.Helper()
	c, err := Compare(context.Background(), a, b, o)
	if err != nil {
		t.Fatal(err)
	}
	return c, c.Files[0]
}

// Every kind of difference is found, told from the others, and nothing else is.
func TestCompareFindsWhatDiffers(t *testing.T) {
	people := []string{"S1", "S2", "S3"}
	plain := sealedWith(t, "x", beatsOf(people, nil))
	again := sealedWith(t, "x", beatsOf(people, nil))
	if c, _ := compared(t, plain, again, CompareOptions{}); !c.Equal() || c.Files[0].Verdict != SameBytes || c.Files[1].Verdict != SameBytes {
		t.Errorf("two equal folders: %+v", c.Files)
	}
	for _, k := range []struct {
		name    string
		people  []string
		edit    func(*schema.Frame)
		verdict string
		lines   []string
	}{
		{"a number", people, func(f *schema.Frame) { f.SetNumber(4, "onset_s", 1.5) }, Differs,
			[]string{"beats  subject_id=S2 visit_id=v1 recording_id=S2_1 beat=2  onset_s  1.25 → 1.5  (0.25)"}},
		{"a truth", people, func(f *schema.Frame) { f.SetBool(4, "accepted", true) }, Differs,
			[]string{"beats  subject_id=S2 visit_id=v1 recording_id=S2_1 beat=2  accepted  false → true  (1)"}},
		{"a missing number", people, func(f *schema.Frame) { f.SetNumber(8, "onset_s", math.NaN()) }, Differs,
			[]string{"beats  subject_id=S3 visit_id=v1 recording_id=S3_1 beat=3  onset_s  2.25 → missing"}},
		{"the last bit", people, func(f *schema.Frame) { f.SetNumber(0, "onset_s", math.Nextafter(0.25, 1)) }, SameDigits,
			[]string{"beats  subject_id=S1 visit_id=v1 recording_id=S1_1 beat=1  onset_s  0.25 → 0.25000000000000006  (5.551e-17)"}},
		{"a text", people, func(f *schema.Frame) { f.SetText(3, "reason", "noise") }, Differs,
			[]string{"beats  subject_id=S2 visit_id=v1 recording_id=S2_1 beat=1  reason  missing → noise"}},
		{"a key", people, func(f *schema.Frame) { f.SetNumber(5, "beat", 9) }, Differs,
			[]string{"beats  subject_id=S2 visit_id=v1 recording_id=S2_1 beat=3  only in A", "beats  subject_id=S2 visit_id=v1 recording_id=S2_1 beat=9  only in B"}},
		{"a person more", []string{"S1", "S10", "S2", "S3"}, nil, Differs, []string{
			"beats  subject_id=S10 visit_id=v1 recording_id=S10_1 beat=1  only in B",
			"beats  subject_id=S10 visit_id=v1 recording_id=S10_1 beat=2  only in B",
			"beats  subject_id=S10 visit_id=v1 recording_id=S10_1 beat=3  only in B"}},
		{"another order", people, func(f *schema.Frame) {
			for i := range f.Cols {
				if d := &f.Cols[i]; d.Num != nil {
					d.Num[0], d.Num[1] = d.Num[1], d.Num[0]
				}
			}
		}, SameValues, nil},
	} {
		other := sealedWith(t, "x", beatsOf(k.people, k.edit))
		c, f := compared(t, plain, other, CompareOptions{})
		var lines []string
		for _, d := range c.Differences {
			lines = append(lines, d.String())
		}
		if f.Verdict != k.verdict || !slices.Equal(lines, k.lines) {
			t.Errorf("%s: %s\n%s", k.name, f, strings.Join(lines, "\n"))
		}
		if c.Equal() != (k.verdict == SameValues) {
			t.Errorf("%s: equal is %v", k.name, c.Equal())
		}
		back, _ := compared(t, other, plain, CompareOptions{})
		if len(back.Differences) != len(k.lines) || back.Files[0].Verdict != k.verdict {
			t.Errorf("%s, seen from the other side: %v", k.name, back.Differences)
		}
	}
}

// Across builds numbers need to agree to the declared digits alone, and a file
// may name the program that made it.
func TestCompareAcrossBuilds(t *testing.T) {
	wave := func(by float32) *schema.Frame {
		f := schema.NewFrame(schema.WaveformsTable(), 1)
		row := f.AddRow()
		for _, id := range []string{"subject_id", "visit_id", "recording_id"} {
			f.SetText(row, id, "S1")
		}
		f.SetWave(row, "central_mmhg", []float32{80, 120.5 + by, 90})
		return f
	}
	first := sealedWith(t, "build-0001", wave(0))
	c, f := compared(t, first, sealedWith(t, "build-0002", wave(1e-5)), CompareOptions{})
	if c.Files[1].Verdict != SameDigits || c.Files[1].Within != 1 || !c.Equal() || f.Verdict != SameValues {
		t.Errorf("%+v", c.Files)
	}
	c, _ = compared(t, first, sealedWith(t, "build-0002", wave(1e-2)), CompareOptions{})
	if c.Files[1].Verdict != Differs || c.Equal() || math.Abs(*c.Differences[0].Difference-0.01) > 1e-5 {
		t.Errorf("%+v %+v", c.Files, c.Differences)
	}
	for _, k := range []struct {
		a, b string
		same bool
	}{
		{"p 0.034, n 12", "p 0.035, n 12", true}, // one in the last place
		{"p 0.034, n 12", "p 0.036, n 12", false},
		{"p 0.034, n 12", "p 0.034, n 13", false},
		{"1.25e-3 mmHg", "1.26e-3 mmHg", true},
		{"17.123456789", "17.1234567890123", true},
		{"a 1.5", "b 1.5", false},
		{"1.5 2.5", "1.5", false},
	} {
		if sameText(k.a, k.b) != k.same {
			t.Errorf("%q and %q: same is %v", k.a, k.b, !k.same)
		}
	}
}

// A text that names its build and the digests of other files is held to the rest.
func TestTextIsHeldToWhatIsNoDigest(t *testing.T) {
	build := func(s string) schema.Build {
		return schema.Build{Executable: strings.Repeat(s, 64), Architecture: "linux/amd64/" + s}
	}
	page := func(s, n string) string {
		return withoutBuild("report.html", []byte("made by linux/amd64/"+s+" "+strings.Repeat(s, 64)+", summary.csv "+strings.Repeat("0"+s, 32)+", n "+n), build(s))
	}
	if page("1", "579") != page("3", "579") {
		t.Error("two builds, the same numbers: differs")
	}
	if sameText(page("1", "579"), page("3", "578")) {
		t.Error("a count that differs was not seen")
	}
}

func TestCompareNeedsSealedFolders(t *testing.T) {
	plain := sealedWith(t, "x", beatsOf([]string{"S1"}, nil))
	if _, err := Compare(context.Background(), plain, t.TempDir(), CompareOptions{}); err == nil || !strings.Contains(err.Error(), "not sealed") {
		t.Error(err)
	}
	if _, err := Compare(context.Background(), filepath.Join(plain, "nothing"), plain, CompareOptions{}); !errors.Is(err, ErrNoFolder) {
		t.Error(err)
	}
	// Rows that do not stand in the order of the subjects are compared all the same.
	shuffled := sealedWith(t, "x", beatsOf([]string{"S2", "S1"}, nil))
	if _, f := compared(t, plain, shuffled, CompareOptions{}); f.Verdict != Differs || f.RowsOnlyB != 3 || f.Note != "" {
		t.Errorf("%+v", f)
	}
}

// Every key of the declared tables is made of columns that the table has.
func TestRowKeysNameColumns(t *testing.T) {
	for _, table := range []schema.Table{
		schema.BeatsTable(), schema.EstimatesTable(), schema.UncertaintyTable(), schema.ReviewsTable(), schema.ReadingsTable(),
		schema.ExclusionsTable(), schema.FlowTable(), schema.PrecisionTable(), schema.RecordingsTable(), schema.SubjectVisitsTable(nil),
		schema.SummaryTable([]string{"sex"}), schema.AgreementTable(), schema.DriftTable(), schema.RegressionTable(), schema.ComparisonTable(),
	} {
		for _, name := range rowKey(table.Name) {
			if table.Index(name) < 0 {
				t.Errorf("%s has no column %s", table.Name, name)
			}
		}
		if len(keyColumns(table)) == 0 {
			t.Errorf("%s has no key", table.Name)
		}
	}
}
