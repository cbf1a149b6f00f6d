// Package objects gives recordings from object storage (S3, Google Cloud Storage,
// Azure Blob Storage) or from a folder, by URL. It is empty but in a build with the
// tag objectstore, whose modules stand in objectstore.mod here:
//
//	go build -modfile=pipeline/objects/objectstore.mod -tags objectstore ./cmd/tonocohort
//
// so that neither the default program nor its go.mod knows of clouds.
package objects
