package pipeline

import (
	"context"
	"encoding/json"
	"io"
	"path"
	"strings"

	"tonocohort/pipeline/parquet"
	"tonocohort/schema"
)

// dataPackage writes tables as csv beside a datapackage.json that describes every
// column: those of the release, or the full ones where restricted data go.
func (b *bundle) dataPackage(ctx context.Context) error {
	folder := releaseFolder
	if b.options.Restricted {
		folder = tablesFolder
	}
	var resources []schema.DataResource
	for _, out := range b.payload() {
		name, ok := strings.CutSuffix(strings.TrimPrefix(out.Path, folder), ".parquet")
		if !ok || !strings.HasPrefix(out.Path, folder) || strings.Contains(name, "/") {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		if found := verifyOutput(b.root, out); len(found) > 0 {
			return &DifferenceError{"the results", found}
		}
		resource, err := b.csvTable(out.Path)
		if err != nil {
			return err
		}
		resources = append(resources, resource)
	}
	_, err := b.write("datapackage.json", func(w io.Writer) error {
		encoder := json.NewEncoder(w)
		encoder.SetEscapeHTML(false)
		encoder.SetIndent("", " ")
		return encoder.Encode(schema.NewDataPackage(b.manifest.Study.ID, b.manifest.Study.Title, b.manifest.Caution, resources))
	})
	return err
}

// csvTable writes one table, a row group at a time.
func (b *bundle) csvTable(name string) (schema.DataResource, error) {
	file, err := b.root.Open(name)
	if err != nil {
		return schema.DataResource{}, err
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		return schema.DataResource{}, err
	}
	table, err := parquet.TableOf(file, info.Size())
	if err != nil {
		return schema.DataResource{}, err
	}
	resource := schema.ResultResource(table)
	resource.Path = path.Base(strings.TrimSuffix(name, ".parquet") + ".csv")
	written, err := b.write(resource.Path, func(w io.Writer) error {
		csv := parquet.NewCSVWriter(w, table, parquet.CSVOptions{})
		if err := parquet.ReadGroups(file, info.Size(), table, csv.Append); err != nil {
			return err
		}
		return csv.Flush()
	})
	resource.Bytes, resource.Hash = written.Bytes, "sha256:"+written.SHA256
	return resource, err
}
