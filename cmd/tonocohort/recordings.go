package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"tonocohort/pipeline"
)

// openRecordings opens a bucket that holds the recordings of a study; nil in a build
// without the tag objectstore.
var openRecordings func(ctx context.Context, url string) (bucket, error)

type bucket interface {
	pipeline.Storage
	Close() error
}

// recordingsOption is --recordings of every command that reads the recordings of a
// study. Without the tag objectstore no help page shows it.
type recordingsOption struct{ url string }

func (r *recordingsOption) addTo(cmd *cobra.Command) {
	const name = "recordings"
	cmd.Flags().StringVar(&r.url, name, "", "URL of a bucket that holds the recordings: s3://, gs://, azblob:// or file://")
	if openRecordings == nil {
		_ = cmd.Flags().MarkHidden(name) // an error where there is no such option
	}
}

// open gives the storage that was asked for, nil where none was; done releases it.
func (r *recordingsOption) open(ctx context.Context) (storage pipeline.Storage, done func(), err error) {
	if r.url == "" {
		return nil, func() {}, nil
	}
	if openRecordings == nil {
		return nil, nil, usageError(errors.New("--recordings: this build knows no object storage; one that does: go build -modfile=pipeline/objects/objectstore.mod -tags objectstore ./cmd/tonocohort"))
	}
	files, err := openRecordings(ctx, r.url)
	if err != nil {
		return nil, nil, usageError(fmt.Errorf("--recordings: %w", err))
	}
	return files, func() { files.Close() }, nil
}
