//go:build objectstore

package objects_test

import (
	"bytes"
	"context"
	"errors"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/johannesboyne/gofakes3"
	"github.com/johannesboyne/gofakes3/backend/s3mem"

	"tonocohort/pipeline"
	"tonocohort/pipeline/objects"
	"tonocohort/pipeline/simulate"
	"tonocohort/pipeline/store"
)

// server is a local S3 server with the bucket "cohort"; it counts requests and can
// be told to fail.
type server struct {
	*httptest.Server
	backend  gofakes3.Backend
	requests atomic.Int64
	broken   atomic.Bool
}

func serve(t *testing.T) *server {
	t.Helper()
	t.Setenv("AWS_ACCESS_KEY_ID", "x")
	t.Setenv("AWS_SECRET_ACCESS_KEY", "y")
	t.Setenv("AWS_MAX_ATTEMPTS", "1")
	s := &server{backend: s3mem.New()}
	if err := s.backend.CreateBucket("cohort"); err != nil {
		t.Fatal(err)
	}
	handler := gofakes3.New(s.backend).Server()
	s.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.requests.Add(1)
		if s.broken.Load() {
			http.Error(w, "", http.StatusServiceUnavailable)
			return
		}
		handler.ServeHTTP(w, r)
	}))
	t.Cleanup(s.Close)
	return s
}

func (s *server) url(prefix string) string {
	return "s3://cohort?region=us-east-1&use_path_style=true&endpoint=" + s.URL + "&prefix=" + prefix
}

func (s *server) put(t *testing.T, key string, data []byte) {
	t.Helper()
	if _, err := s.backend.PutObject("cohort", key, nil, bytes.NewReader(data), int64(len(data)), nil); err != nil {
		t.Fatal(err)
	}
}

func (s *server) open(t *testing.T, prefix string) *objects.Bucket {
	t.Helper()
	b, err := objects.Open(context.Background(), s.url(prefix))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b
}

// moved makes an invented study whose recordings lie in the bucket alone.
func moved(t *testing.T, s *server) (whole, tablesOnly string) {
	t.Helper()
	dir := t.TempDir()
	whole, tablesOnly = filepath.Join(dir, "whole"), filepath.Join(dir, "tables")
	if err := simulate.Write(whole, filepath.Join(dir, "truth.csv"), simulate.Options{Subjects: 24, Seed: "objects"}); err != nil {
		t.Fatal(err)
	}
	err := filepath.WalkDir(whole, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		rel, err := filepath.Rel(whole, name)
		if err != nil {
			return err
		}
		data, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		if !strings.Contains(rel, "/") { // study.yaml and the tables
			if err := os.MkdirAll(tablesOnly, 0o777); err != nil {
				return err
			}
			return os.WriteFile(filepath.Join(tablesOnly, rel), data, 0o666)
		}
		s.put(t, "north/"+filepath.ToSlash(rel), data)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return whole, tablesOnly
}

// Recordings from a bucket give the bytes that recordings from the folder give,
// with the same digests in the manifest.
func TestRunFromBucketIsRunFromFolder(t *testing.T) {
	s := serve(t)
	whole, tablesOnly := moved(t, s)
	results := filepath.Join(t.TempDir(), "folder")
	if _, err := pipeline.Run(context.Background(), whole, results, pipeline.Options{}); err != nil {
		t.Fatal(err)
	}
	again := filepath.Join(t.TempDir(), "bucket")
	outcome, err := pipeline.Run(context.Background(), tablesOnly, again, pipeline.Options{Files: s.open(t, "north/")})
	if err != nil {
		t.Fatal(err)
	}
	if n := outcome.Manifest.Counts.Recordings; n.Used < 20 {
		t.Fatalf("%+v", n)
	}
	compared := 0
	err = filepath.WalkDir(results, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || filepath.Base(name) == pipeline.ManifestName {
			return err
		}
		rel, err := filepath.Rel(results, name)
		if err != nil {
			return err
		}
		want, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		got, err := os.ReadFile(filepath.Join(again, rel))
		if err != nil || !bytes.Equal(got, want) {
			t.Errorf("%s differs (%v)", rel, err)
		}
		compared++
		return nil
	})
	if err != nil || compared < 20 {
		t.Errorf("%d files compared: %v", compared, err)
	}
	first, err := pipeline.ReadManifest(results)
	if err != nil {
		t.Fatal(err)
	}
	second, err := pipeline.ReadManifest(again)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(first.Inputs, second.Inputs) || first.Content != outcome.Manifest.Content {
		t.Error("the manifests differ")
	}
}

// A storage that fails ends the run; it costs no recording.
func TestBrokenStorageEndsTheRun(t *testing.T) {
	s := serve(t)
	_, tablesOnly := moved(t, s)
	files := s.open(t, "north/")
	s.broken.Store(true)
	results := filepath.Join(t.TempDir(), "results")
	_, err := pipeline.Run(context.Background(), tablesOnly, results, pipeline.Options{Files: files})
	if !errors.Is(err, store.ErrUnavailable) {
		t.Errorf("%v", err)
	}
	if _, err := pipeline.ReadManifest(results); err == nil {
		t.Error("the results are sealed")
	}
}

// The rules are those of a folder; a listing stays within a folder, and a large
// object is refused before it is fetched.
func TestBucketKeepsTheRules(t *testing.T) {
	s := serve(t)
	for _, key := range []string{"north/a.csv", "north/waves/b.csv", "north/waves/c.csv", "north/waves/deep/d.csv", "south/e.csv"} {
		s.put(t, key, []byte("pressure\n"+key+"\n"))
	}
	b := s.open(t, "north/")
	data, sum, err := b.ReadFile("waves/b.csv", make([]byte, 3), 100)
	if err != nil || string(data) != "pressure\nnorth/waves/b.csv\n" {
		t.Errorf("%q, %v", data, err)
	}
	if d, err := b.Hash("waves/b.csv"); err != nil || d.SHA256 != sum || d.Bytes != int64(len(data)) {
		t.Errorf("%+v, %v", d, err)
	}
	for _, c := range []struct {
		name  string
		limit int64
		code  string
	}{
		{"../south/e.csv", 100, store.CodePathLeaves},
		{"/north/a.csv", 100, store.CodePathLeaves},
		{"", 100, store.CodePathEmpty},
		{`waves\b.csv`, 100, store.CodePathForm},
		{"e.csv", 100, store.CodeMissing},
		{"waves", 100, store.CodeMissing},
		{"a.csv", 5, store.CodeTooLarge},
	} {
		_, _, err := b.ReadFile(c.name, nil, c.limit)
		var refused *store.Error
		if !errors.As(err, &refused) || refused.Code != c.code {
			t.Errorf("%q: %v, want %s", c.name, err, c.code)
		}
	}
	before := s.requests.Load()
	names, err := b.Names("waves")
	if err != nil || !slices.Equal(names, []string{"b.csv", "c.csv", "deep"}) || s.requests.Load() != before+1 {
		t.Errorf("%q, %v", names, err)
	}
	if names, err = b.Names("."); err != nil || !slices.Equal(names, []string{"a.csv", "waves"}) {
		t.Errorf("%q, %v", names, err)
	}
	if _, err := objects.Open(context.Background(), strings.Replace(s.url(""), "cohort", "nowhere", 1)); err == nil {
		t.Error("a bucket that is not there was opened")
	}
}

// file:// is for trying out, and for what is mounted.
func TestFolderByURL(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "a.csv"), []byte("pressure\n1\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	b, err := objects.Open(context.Background(), "file://"+dir)
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	if data, _, err := b.ReadFile("a.csv", nil, 100); err != nil || string(data) != "pressure\n1\n" {
		t.Errorf("%q, %v", data, err)
	}
}
