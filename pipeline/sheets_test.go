package pipeline_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"tonocohort/pipeline"
	"tonocohort/schema"
)

func sheetsOf(t *testing.T, results string, o pipeline.SheetsOptions) (*pipeline.SheetsBook, map[string]string) {
	t.Helper()
	o.Out, o.PerPage = filepath.Join(t.TempDir(), "book"), 20
	book, err := pipeline.MakeSheets(context.Background(), results, o)
	if err != nil {
		t.Fatal(err)
	}
	pages, err := filepath.Glob(filepath.Join(o.Out, "*.html"))
	if err != nil || len(pages) != book.Pages+1 {
		t.Fatalf("%d files for %d pages: %v", len(pages), book.Pages, err)
	}
	files := map[string]string{}
	for _, page := range pages {
		text, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		files[filepath.Base(page)] = string(text)
	}
	return book, files
}

// One small study serves the tests that follow, of which the last ones change it.
func TestSheets(t *testing.T) {
	results := smallStudy(t, "north-bay", "one", nil)
	study := filepath.Join(filepath.Dir(results), "study")
	t.Run("filter", func(t *testing.T) { filters(t, results) })
	t.Run("what the results were made from", func(t *testing.T) { sameBytesOrNoTrace(t, results, study) })
	t.Run("verdict changes the next run", func(t *testing.T) { verdictChangesRun(t, results, study) })
	t.Run("others write too", func(t *testing.T) { othersWriteToo(t, results, study) })
}

func allOf(files map[string]string) string {
	var b strings.Builder
	for _, text := range files {
		b.WriteString(text)
	}
	return b.String()
}

// A verdict goes into the study's own table and changes the next run, in which
// both verdicts stand; what others decided stays.
func verdictChangesRun(t *testing.T, results, study string) {
	before := table(t, results, "recordings")
	id := ""
	for row := range before.N {
		if before.TextAt(row, "status") == "used" && before.TextAt(row, "review") == "" {
			id = before.TextAt(row, "recording_id")
			break
		}
	}
	others := table(t, results, "reviews").N
	o := pipeline.SheetsOptions{Study: study}
	f, err := pipeline.OpenReviews(context.Background(), results, o)
	if err != nil {
		t.Fatal(err)
	}
	verdict := pipeline.Verdict{Recording: id, Reader: "R9", Decision: "reject", Reason: "=sensor, slipped", ReadOn: "2024-02-03"}
	if err := f.Change([]pipeline.Verdict{verdict, {Recording: id, Reader: "R8", Decision: "accept"}}); err != nil {
		t.Fatal(err)
	}
	if err := f.Change([]pipeline.Verdict{{Recording: id, Reader: "R8"}}); err != nil { // taken back
		t.Fatal(err)
	}
	if err := f.Change([]pipeline.Verdict{{Recording: "nobody", Decision: "accept"}}); err == nil {
		t.Error("a verdict on a recording that is not there is taken")
	}
	// The book made now tells of the verdict; the results do not know it yet.
	o.Only.IDs = []string{id}
	_, files := sheetsOf(t, results, o)
	if page := files["page-0001.html"]; !strings.Contains(page, "rejected by R9 on 2024-02-03: &#39;=sensor, slipped — written after these results") {
		t.Error("the page does not tell of the verdict")
	}
	again := filepath.Join(t.TempDir(), "again")
	if _, err := pipeline.Run(context.Background(), study, again, pipeline.Options{}); err != nil {
		t.Fatal(err)
	}
	reviews := table(t, again, "reviews")
	if reviews.N != others+1 {
		t.Errorf("%d reviews, expected %d", reviews.N, others+1)
	}
	found := false
	for row := range reviews.N {
		if reviews.TextAt(row, "recording_id") == id {
			found = reviews.TextAt(row, "decision") == "reject" && reviews.TextAt(row, "program_decision") == "accept" &&
				reviews.TextAt(row, "reader") == "R9" && reviews.TextAt(row, "read_on") == "2024-02-03" && reviews.TextAt(row, "reason") == "'=sensor, slipped"
		}
	}
	after := table(t, again, "recordings")
	for row := range after.N {
		if after.TextAt(row, "recording_id") == id && (after.TextAt(row, "reason") != "rejected_by_reader" || !found) {
			t.Errorf("the next run: %s %s, both verdicts: %v", after.TextAt(row, "status"), after.TextAt(row, "reason"), found)
		}
	}
}

// Somebody else writes the table in the meantime: nothing is lost.
func othersWriteToo(t *testing.T, results, study string) {
	f, err := pipeline.OpenReviews(context.Background(), results, pipeline.SheetsOptions{Study: study})
	if err != nil {
		t.Fatal(err)
	}
	id := table(t, results, "recordings").TextAt(0, "recording_id")
	text := "recording_id,decision,reason\n" + id + ",accept,by another\n"
	write(t, study, "reviews.csv", text)
	err = f.Change([]pipeline.Verdict{{Recording: id, Decision: "reject"}})
	if !errors.Is(err, pipeline.ErrReviewsChanged) {
		t.Errorf("%v", err)
	}
	if got, _ := os.ReadFile(filepath.Join(study, "reviews.csv")); string(got) != text || len(f.Verdicts()) != 0 {
		t.Errorf("written all the same: %s", got)
	}
}

// Traces are those that the results were made from, or none; the book is the
// same each time, and lies outside the results.
func sameBytesOrNoTrace(t *testing.T, results, study string) {
	with, files := sheetsOf(t, results, pipeline.SheetsOptions{Study: study})
	if _, again := sheetsOf(t, results, pipeline.SheetsOptions{Study: study}); allOfEqual(files, again) != "" {
		t.Errorf("%s differs from one time to the next", allOfEqual(files, again))
	}
	alone, bare := sheetsOf(t, results, pipeline.SheetsOptions{})
	if with.Traces == 0 || alone.Traces != 0 || with.Recordings != alone.Recordings || with.Recordings != table(t, results, "recordings").N {
		t.Errorf("%+v, without the study %+v", with, alone)
	}
	if !strings.Contains(allOf(bare), "the study was not given") || strings.Contains(allOf(files), "the study was not given") {
		t.Error("a page does not say what is missing")
	}
	waves, err := filepath.Glob(filepath.Join(study, "waves", "*_v1_1.csv"))
	if err != nil || len(waves) == 0 {
		t.Fatal("no waves", err)
	}
	text, err := os.ReadFile(waves[0])
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.SplitAfter(string(text), "\n")
	write(t, filepath.Dir(waves[0]), filepath.Base(waves[0]), strings.Join(lines[:len(lines)-2], ""))
	if less, files := sheetsOf(t, results, pipeline.SheetsOptions{Study: study}); less.Traces != with.Traces-1 || !strings.Contains(allOf(files), "its digest differs") {
		t.Errorf("%d traces of %d with one file changed", less.Traces, with.Traces)
	}
	write(t, filepath.Dir(waves[0]), filepath.Base(waves[0]), string(text))
	var usage *pipeline.SheetsUsageError
	if _, err := pipeline.MakeSheets(context.Background(), results, pipeline.SheetsOptions{Out: filepath.Join(results, "release", "book"), PerPage: 20}); !errors.As(err, &usage) {
		t.Errorf("a book in the results: %v", err)
	}
	if _, differ, err := pipeline.Verify(context.Background(), results); err != nil || len(differ) > 0 {
		t.Errorf("%v %v", differ, err)
	}
}

func allOfEqual(a, b map[string]string) string {
	for name := range a {
		if a[name] != b[name] {
			return name
		}
	}
	return ""
}

// Filters pick by grade, reason, id, centre and hash, all of them together.
func filters(t *testing.T, results string) {
	rec := table(t, results, "recordings")
	count := func(only func(row int) bool) (n int) {
		for row := range rec.N {
			if only(row) {
				n++
			}
		}
		return n
	}
	first := rec.TextAt(0, "subject_id")
	for name, c := range map[string]struct {
		only pipeline.SheetsFilter
		want int
	}{
		"grade":   {pipeline.SheetsFilter{Grades: []string{"usable"}}, count(func(r int) bool { return rec.TextAt(r, "quality") == "usable" })},
		"subject": {pipeline.SheetsFilter{IDs: []string{first}}, count(func(r int) bool { return rec.TextAt(r, "subject_id") == first })},
		"unread":  {pipeline.SheetsFilter{Unread: true}, count(func(r int) bool { return rec.TextAt(r, "review") == "" })},
		"both": {pipeline.SheetsFilter{Grades: []string{"usable"}, Operators: []string{rec.TextAt(0, "operator_id")}},
			count(func(r int) bool {
				return rec.TextAt(r, "quality") == "usable" && rec.TextAt(r, "operator_id") == rec.TextAt(0, "operator_id")
			})},
	} {
		if book, _ := sheetsOf(t, results, pipeline.SheetsOptions{Only: c.only}); book.Recordings != c.want || c.want == 0 {
			t.Errorf("%s: %d recordings, expected %d", name, book.Recordings, c.want)
		}
	}
	a, files := sheetsOf(t, results, pipeline.SheetsOptions{Only: pipeline.SheetsFilter{Sample: 0.5, SampleText: "50%"}})
	if a.Recordings == 0 || a.Recordings == rec.N || !strings.Contains(files["index.html"], "a sample of 50% by a hash") {
		t.Errorf("half of %d recordings: %d", rec.N, a.Recordings)
	}
	var usage *pipeline.SheetsUsageError
	for _, only := range []pipeline.SheetsFilter{{IDs: []string{"nobody"}}, {Reasons: []string{"boredom"}}} {
		if _, err := pipeline.MakeSheets(context.Background(), results, pipeline.SheetsOptions{Out: t.TempDir(), PerPage: 20, Only: only}); !errors.As(err, &usage) {
			t.Errorf("%v", err)
		}
	}
}

// With keyed ids a book shows pseudonyms alone, and a verdict on one of them
// reaches the table under the id of the study.
func TestSheetsKeepPrivacy(t *testing.T) {
	f := canaryStudy(t, "privacy: {ids: keyed, date_shift: keyed, age_top: 90}\n")
	results, _ := runPrivately(t, f)
	key := filepath.Join(t.TempDir(), "key")
	write(t, filepath.Dir(key), "key", "CanarySecret-0123456789abcdef0123456789abcdef\n")
	o := pipeline.SheetsOptions{Study: f.dir, KeyFile: key}
	book, files := sheetsOf(t, results, o)
	if book.Traces == 0 {
		t.Error("no traces")
	}
	for name, text := range files {
		if at := strings.Index(text, "Canary"); at >= 0 {
			t.Errorf("%s: …%s…", name, text[max(0, at-60):min(len(text), at+60)])
		}
		if strings.Contains(text, "2019-03") {
			t.Errorf("%s has a date", name)
		}
	}
	if _, err := pipeline.OpenReviews(context.Background(), results, pipeline.SheetsOptions{Reviews: filepath.Join(t.TempDir(), "r.csv")}); err == nil {
		t.Error("verdicts on pseudonyms go to a file that no run can read")
	}
	reviews, err := pipeline.OpenReviews(context.Background(), results, o)
	if err != nil {
		t.Fatal(err)
	}
	id := usedID(table(t, results, "recordings"))
	if err := reviews.Change([]pipeline.Verdict{{Recording: id, Reader: "R9", Decision: "reject", Reason: "slipped"}}); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(f.dir, "reviews.csv"))
	if err != nil || strings.Contains(string(text), id) || !strings.Contains(string(text), ",reject,slipped,R9,") || strings.Count(string(text), "CanaryReader") != 25 {
		t.Errorf("%v\n%s", err, text)
	}
	again := filepath.Join(t.TempDir(), "again")
	if _, err := pipeline.Run(context.Background(), f.dir, again, pipeline.Options{KeyFile: key}); err != nil {
		t.Fatal(err)
	}
	rec := table(t, again, "recordings")
	for row := range rec.N {
		if rec.TextAt(row, "recording_id") == id && rec.TextAt(row, "reason") != "rejected_by_reader" {
			t.Errorf("the next run: %s", rec.TextAt(row, "status"))
		}
	}
}

func usedID(rec *schema.Frame) string {
	for row := range rec.N {
		if rec.TextAt(row, "status") == "used" {
			return rec.TextAt(row, "recording_id")
		}
	}
	return ""
}
