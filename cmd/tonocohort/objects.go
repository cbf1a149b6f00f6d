//go:build objectstore

package main

import (
	"context"

	"tonocohort/pipeline/objects"
)

func init() {
	openRecordings = func(ctx context.Context, url string) (bucket, error) { return objects.Open(ctx, url) }
}
