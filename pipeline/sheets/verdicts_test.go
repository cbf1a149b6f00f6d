package sheets

import (
	"encoding/csv"
	"slices"
	"strings"
	"testing"

	"tonocohort/schema"
)

var iso = Form{',', "yyyy-mm-dd"}

// The columns are those of the contract.
func TestVerdictColumnsAreTheContract(t *testing.T) {
	if names := schema.ReviewsInput().Names(); !slices.Equal(names, verdictColumns) {
		t.Errorf("%v, the contract has %v", verdictColumns, names)
	}
}

func TestMergeKeepsWhatOthersSay(t *testing.T) {
	table := "\ufeffreader,recording_id,room,decision,reason\r\nada,R1,\"4, north\",accept,clear\r\nben,R1,5,accept,\"he said \"\"fine\"\"\"\r\nada,R2,4,reject\r\n"
	got, done, err := Merge([]byte(table), iso, []Verdict{
		{"R1", "ada", "reject", "=1+1", "2024-02-03"}, {"R3", "ada", "accept", "a, b", "2024-02-03"}, {"R2", "", "accept", "", ""}})
	if err != nil {
		t.Fatal(err)
	}
	want := "\ufeffreader,recording_id,room,decision,reason,read_on\r\nada,R1,\"4, north\",reject,=1+1,2024-02-03\r\nben,R1,5,accept,\"he said \"\"fine\"\"\",\r\nada,R2,4,reject,,\r\n" +
		",R2,,accept,,\r\nada,R3,,accept,\"a, b\",2024-02-03\r\n"
	if string(got) != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	if done != (Merged{Added: 2, Replaced: 1, Kept: 2}) {
		t.Errorf("%+v", done)
	}
	again, _, err := Merge(got, iso, nil)
	if err != nil || string(again) != want {
		t.Errorf("a merge of nothing changes the table: %v", err)
	}
}

func TestMergeIntoNothingAndIntoWhatIsNoTable(t *testing.T) {
	got, _, err := Merge(nil, Form{';', "dd.mm.yyyy"}, []Verdict{{"R2", "b", "accept", "x;y", "2024-02-03"}, {"R10", "b", "reject", "", ""}})
	if want := "recording_id;decision;reason;reader;read_on\nR10;reject;;b;\nR2;accept;\"x;y\";b;03.02.2024\n"; err != nil || string(got) != want {
		t.Errorf("%v\n%s", err, got)
	}
	for _, table := range []string{"id,decision\n", "recording_id,decision,reason\nR1,\"open\n"} {
		if _, _, err := Merge([]byte(table), iso, nil); err == nil {
			t.Errorf("%q passes as a reviews table", table)
		}
	}
}

// What a spreadsheet would run gets an apostrophe (CWE-1236), a line break a
// blank; what is no verdict is refused.
func TestClean(t *testing.T) {
	for reason, want := range map[string]string{
		"=HYPERLINK(1)": "'=HYPERLINK(1)", "+1": "'+1", "-x": "'-x", "@x": "'@x", "\t=1": "'=1", "\x00=1": "'=1", "two\r\nlines": "two  lines", "clear": "clear", "a=b": "a=b",
		strings.Repeat("ü", 600): strings.Repeat("ü", 500),
	} {
		if v, err := (Verdict{Recording: "R1", Decision: "accept", Reason: reason}).Clean(); err != nil || v.Reason != want {
			t.Errorf("%q: %q, %v", reason, v.Reason, err)
		}
	}
	for _, v := range []Verdict{{Recording: "", Decision: "accept"}, {Recording: "=R1", Decision: "accept"}, {Recording: "R1", Decision: "maybe"},
		{Recording: "R1", Decision: "accept", Reader: "=cmd"}, {Recording: "R1", Decision: "accept", ReadOn: "2024-02-30"}} {
		if _, err := v.Clean(); err == nil {
			t.Errorf("%+v is taken", v)
		}
	}
}

// A downloaded table reads back as the verdicts that were made.
func TestVerdictsReadBack(t *testing.T) {
	list := []Verdict{{"R1", "ada", "reject", "'=1", "2024-02-03"}, {"R2", "", "accept", "a \"b\", c", ""}}
	for _, f := range []Form{iso, {';', "dd/mm/yyyy"}, {'\t', "mm/dd/yyyy"}} {
		text, _, err := Merge(nil, f, list)
		if err != nil {
			t.Fatal(err)
		}
		got, err := Verdicts(text, f)
		if err != nil || !slices.Equal(got, list) {
			t.Errorf("%+v, %v", got, err)
		}
		r := csv.NewReader(strings.NewReader(string(text)))
		r.Comma = f.Delimiter
		if rows, err := r.ReadAll(); err != nil || len(rows) != 3 {
			t.Errorf("%v, %v", rows, err)
		}
	}
	if _, err := Verdicts([]byte("recording_id,decision,reason\nR1,,\n"), iso); err == nil {
		t.Error("a row without a decision is taken")
	}
}
