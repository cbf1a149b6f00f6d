//go:build objectstore

package main

import (
	"bytes"
	"io/fs"
	"net/http/httptest"
	"os"

	"github.com/johannesboyne/gofakes3"
	"github.com/johannesboyne/gofakes3/backend/s3mem"
)

func init() {
	serveFolder = func(dir string) (string, func(), error) {
		backend := s3mem.New()
		if err := backend.CreateBucket("cohort"); err != nil {
			return "", nil, err
		}
		files := os.DirFS(dir)
		err := fs.WalkDir(files, ".", func(name string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			data, err := fs.ReadFile(files, name)
			if err == nil {
				_, err = backend.PutObject("cohort", name, nil, bytes.NewReader(data), int64(len(data)), nil)
			}
			return err
		})
		if err != nil {
			return "", nil, err
		}
		s := httptest.NewServer(gofakes3.New(backend).Server())
		return s.URL, s.Close, nil
	}
}
