package main

import (
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"tonocohort/pipeline"
)

// servedBook serves a book of one page over a small study.
func servedBook(t *testing.T) (*bookServer, string) {
	t.Helper()
	dir := t.TempDir()
	study, results, book := filepath.Join(dir, "study"), filepath.Join(dir, "results"), filepath.Join(dir, "book")
	for name, text := range map[string]string{
		"study.yaml":     "format: 1\nstudy: {id: pebble-cove}\ntables: {subjects: subjects.csv, visits: visits.csv, cuff: cuff.csv, recordings: recordings.csv}\n",
		"subjects.csv":   "subject_id,sex\nS1,female\n",
		"visits.csv":     "subject_id,visit_id,age_years\nS1,v1,40\n",
		"cuff.csv":       "subject_id,visit_id,reading,sbp_mmhg,dbp_mmhg\nS1,v1,1,120,80\n",
		"recordings.csv": "recording_id,subject_id,visit_id,file,format,sampling_hz\nR1,S1,v1,gone.csv,csv,256\n",
	} {
		if err := os.MkdirAll(study, 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(study, name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	ctx := context.Background()
	if _, err := pipeline.Run(ctx, study, results, pipeline.Options{}); err != nil {
		t.Fatal(err)
	}
	o := pipeline.SheetsOptions{Out: book, Study: study, PerPage: 20}
	if _, err := pipeline.MakeSheets(ctx, results, o); err != nil {
		t.Fatal(err)
	}
	reviews, err := pipeline.OpenReviews(ctx, results, o)
	if err != nil {
		t.Fatal(err)
	}
	root, err := os.OpenRoot(book)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { root.Close() })
	return &bookServer{host: "127.0.0.1:4711", token: "secret-of-this-book", book: root, reviews: reviews}, filepath.Join(study, "reviews.csv")
}

// asked sends a request as a browser would from the book, changed by edit.
func asked(s *bookServer, method, target, body string, edit func(*http.Request)) *http.Response {
	r := httptest.NewRequest(method, "http://"+s.host+target, strings.NewReader(body))
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	if method == http.MethodPost {
		r.Header.Set("Origin", "http://"+s.host)
		r.Header.Set("Content-Type", "application/json")
	}
	if edit != nil {
		edit(r)
	}
	w := httptest.NewRecorder()
	s.ServeHTTP(w, r)
	return w.Result()
}

const rejected = `{"changes":[{"recording":"R1","reader":"ada","decision":"reject","reason":"slipped","read_on":"2024-02-03"}]}`

func TestServedBookTakesVerdictsFromItselfAlone(t *testing.T) {
	s, table := servedBook(t)
	post := "/" + s.token + "/decisions"
	for name, edit := range map[string]func(*http.Request){
		"a name made to point here (DNS rebinding)": func(r *http.Request) { r.Host = "evil.example:4711" },
		"localhost by name":                         func(r *http.Request) { r.Host = "localhost:4711" },
		"another port":                              func(r *http.Request) { r.Host = "127.0.0.1:80" },
		"another origin":                            func(r *http.Request) { r.Header.Set("Origin", "http://evil.example") },
		"no origin":                                 func(r *http.Request) { r.Header.Del("Origin") },
		"origin null":                               func(r *http.Request) { r.Header.Set("Origin", "null") },
		"another site":                              func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") },
		"another port of this site":                 func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "same-site") },
		"a form":                                    func(r *http.Request) { r.Header.Set("Content-Type", "text/plain") },
		"no token":                                  func(r *http.Request) { r.URL.Path = "/decisions" },
		"half the token":                            func(r *http.Request) { r.URL.Path = "/secret-of/decisions" },
	} {
		if got := asked(s, "POST", post, rejected, edit); got.StatusCode != http.StatusForbidden {
			t.Errorf("%s: status %d", name, got.StatusCode)
		}
	}
	for body, want := range map[string]int{"{": 400, `{"changes":[],"path":"/etc"}`: 400, `{"changes":[{"recording":"R9","decision":"accept"}]}`: 400,
		`{"changes":[{"recording":"R1","decision":"accept","reader":"=cmd"}]}`: 400, `{"changes":[{"recording":"` + strings.Repeat("x", 2<<20) + `"}]}`: 400} {
		if got := asked(s, "POST", post, body, nil); got.StatusCode != want {
			t.Errorf("%.60s: status %d, expected %d", body, got.StatusCode, want)
		}
	}
	if _, err := os.Stat(table); !os.IsNotExist(err) {
		t.Fatalf("something was written: %v", err)
	}
	if got := asked(s, "POST", post, rejected, nil); got.StatusCode != http.StatusNoContent {
		t.Fatalf("status %d", got.StatusCode)
	}
	text, err := os.ReadFile(table)
	if want := "recording_id,decision,reason,reader,read_on\nR1,reject,slipped,ada,2024-02-03\n"; err != nil || string(text) != want {
		t.Errorf("%v\n%s", err, text)
	}
	got := asked(s, "GET", post, "", nil)
	if body, _ := io.ReadAll(got.Body); !strings.Contains(string(body), `"reason":"slipped"`) {
		t.Errorf("%s", body)
	}
	if err := os.WriteFile(table, []byte("recording_id,decision,reason\nR1,accept,by another\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if got := asked(s, "POST", post, rejected, nil); got.StatusCode != http.StatusConflict {
		t.Errorf("over another's: status %d", got.StatusCode)
	}
}

func TestServedPages(t *testing.T) {
	s, _ := servedBook(t)
	base := "/" + s.token + "/"
	for path, want := range map[string]int{base + "index.html": 200, base + "page-0001.html": 200, base: 303, base + "page-0002.html": 404, base + "../results/manifest.json": 404,
		base + "manifest.json": 404, "/": 403, "/index.html": 403, "/" + s.token: 403, "/x/index.html": 403} {
		got := asked(s, "GET", path, "", nil)
		if got.StatusCode != want {
			t.Errorf("%s: status %d, expected %d", path, got.StatusCode, want)
		}
		for name, part := range map[string]string{"Cache-Control": "no-store", "Content-Security-Policy": "default-src 'none'", "Referrer-Policy": "no-referrer", "X-Content-Type-Options": "nosniff"} {
			if !strings.Contains(got.Header.Get(name), part) {
				t.Errorf("%s: %s is %q", path, name, got.Header.Get(name))
			}
		}
	}
	for method, want := range map[string]int{"POST": 405, "PUT": 405, "DELETE": 405} {
		if got := asked(s, method, base+"index.html", "", nil); got.StatusCode != want {
			t.Errorf("%s: status %d", method, got.StatusCode)
		}
	}
	if got := asked(s, "GET", base+"index.html", "", func(r *http.Request) { r.Host = "evil.example:4711" }); got.StatusCode != 403 {
		t.Errorf("by another name: status %d", got.StatusCode)
	}
	if got := asked(s, "GET", base+"decisions", "", func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") }); got.StatusCode != 403 {
		t.Errorf("from another site: status %d", got.StatusCode)
	}
}
