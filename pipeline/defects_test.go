package pipeline_test

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"path"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"tonocohort/pipeline"
	"tonocohort/schema"
)

// defect is a recording with something that users of readers report, or with
// something unusual that the format allows.
type defect struct {
	name    string
	files   map[string]string // by name within its folder; the first of main is the recording's
	file    string
	channel string
	hz      string
	unit    string
	reason  string // "": it is used
	says    string // words that its Issue must have
	note    string // code of a note that must be there
	other   bool   // used, but its samples are not those of the plain wave
}

// format is told by the ending of the file.
func (d *defect) format() string {
	switch ending := path.Ext(strings.TrimSuffix(d.file, ".gz")); ending {
	case ".hea", ".dat", ".atr", ".HEA":
		return "wfdb"
	case ".edf", ".bdf":
		return "edf"
	case ".tsv":
		return "bids"
	case ".parquet":
		return "parquet"
	}
	return "csv"
}

// plainWave is the wave of every defect, ten seconds of it.
func plainWave() []float64 { return gridWave("defects", 10) }

// judgeDefects puts the defects into one study with good neighbours, checks and
// runs it, and holds what is said and computed against what is expected.
func judgeDefects(t *testing.T, settings string, defects []defect) {
	t.Helper()
	n := withNeighbours(t, settings)
	f := n.f
	f.write("plain.csv", csvText(plainWave(), true, ",", "."))
	want := map[string]defect{"R-B-0": {name: "plain"}}
	f.person("B-0", "male", "40", "120", "70")
	f.recording("B-0", "plain.csv", "csv", "", "", "", "radial")
	for i, d := range defects {
		id, dir := fmt.Sprintf("D-%03d", i), fmt.Sprintf("d%03d/", i)
		for name, text := range d.files {
			f.write(dir+name, text)
		}
		f.person(id, "male", "40", "120", "70")
		f.recording(id, dir+d.file, d.format(), d.channel, d.hz, d.unit, "radial")
		want["R-"+id] = d
	}
	begin := time.Now()
	got, outcome := f.run()
	if took := time.Since(begin); took > time.Minute {
		t.Errorf("the run took %v", took)
	}
	n.unharmed(t, got)
	checked, err := pipeline.Check(context.Background(), f.dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	plain := rowOf(got, "R-B-0")
	for row := range got.N {
		id := got.TextAt(row, "recording_id")
		d, ours := want[id]
		if !ours {
			continue
		}
		if reason := got.TextAt(row, "reason"); reason != d.reason {
			t.Errorf("%s: %q, want %q: %s", d.name, reason, d.reason, issuesOf(outcome.Issues, id))
			continue
		}
		if d.reason == "" && !d.other {
			sameValues(t, d.name, got, row, plain)
		}
		judgeIssues(t, d, issuesOf(outcome.Issues, id))
		if a, b := issuesOf(outcome.Issues, id), issuesOf(checked, id); !slices.EqualFunc(a, b, func(a, b schema.Issue) bool { return a.String() == b.String() }) && d.reason != "" {
			t.Errorf("%s: run says %v, check %v", d.name, a, b)
		}
	}
	if got.N != len(defects)+3 {
		t.Errorf("%d recordings of %d", got.N, len(defects)+3)
	}
}

// judgeIssues sees that a refusal tells the file and a way out, and that what
// was accepted though it is unusual is noted.
func judgeIssues(t *testing.T, d defect, issues []schema.Issue) {
	t.Helper()
	if d.note != "" && !slices.ContainsFunc(issues, func(i schema.Issue) bool { return i.Code == d.note && i.Size == schema.SizeNote }) {
		t.Errorf("%s: no note %s: %v", d.name, d.note, issues)
	}
	if d.reason == "" {
		return
	}
	k := slices.IndexFunc(issues, func(i schema.Issue) bool { return i.Code == d.reason })
	if k < 0 {
		t.Errorf("%s: no Issue says why: %v", d.name, issues)
		return
	}
	i := issues[k]
	t.Logf("%-30s %s", d.name, i)
	switch text := i.String(); {
	case i.File == "" || i.Message == "":
		t.Errorf("%s: no place or no message: %s", d.name, text)
	case i.Hint == "":
		t.Errorf("%s: no way out: %s", d.name, text)
	case !strings.Contains(text, d.says):
		t.Errorf("%s: does not say %q: %s", d.name, d.says, text)
	}
}

func issuesOf(issues []schema.Issue, id string) []schema.Issue {
	return slices.DeleteFunc(slices.Clone(issues), func(i schema.Issue) bool { return i.RecordingID != id })
}

func rowOf(f *schema.Frame, id string) int {
	for row := range f.N {
		if f.TextAt(row, "recording_id") == id {
			return row
		}
	}
	return -1
}

func sameValues(t *testing.T, name string, f *schema.Frame, row, plain int) {
	t.Helper()
	for _, c := range schema.ValueColumns() {
		if a, b := f.Number(row, c.Name), f.Number(plain, c.Name); a != b && !(math.IsNaN(a) && math.IsNaN(b)) {
			t.Errorf("%s: %s is %v, of the plain wave %v", name, c.Name, a, b)
			return
		}
	}
}

// asWide writes text as UTF-16 with its mark.
func asWide(text string, order binary.ByteOrder) string {
	var b []byte
	for _, u := range utf16.Encode([]rune("\ufeff" + text)) {
		b = append(b, 0, 0)
		order.PutUint16(b[len(b)-2:], u)
	}
	return string(b)
}
