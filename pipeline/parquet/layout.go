// Package parquet turns frames into Parquet files and CSV text, and reads
// Parquet back. It is the only importer of Apache Arrow, of which it uses the
// low-level column writers and readers: the high-level package links an RPC
// stack that a batch program has no use for.
//
// What is written: one optional column per declared column (required where it
// is a key), null for every missing cell and never NaN or an infinity, zstd,
// fixed row groups, a data dictionary under the file-level key "tonocohort",
// and unit and description as Arrow field metadata. The bytes depend on the
// rows alone, not on how they were handed over.
//
// What is read may come from anyone: see Read for what is checked.
package parquet

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"slices"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/ipc"
	pq "github.com/apache/arrow/go/v17/parquet"
	"github.com/apache/arrow/go/v17/parquet/metadata"
	pqschema "github.com/apache/arrow/go/v17/parquet/schema"
	"tonocohort/schema"
)

const (
	dictionaryKey = "tonocohort"   // our data dictionary
	arrowKey      = "ARROW:schema" // the name that Arrow readers look for

	caution = "Research use, not a diagnosis; defers to licensed clinicians and local guidance."
)

// dictionary is what stands under dictionaryKey.
type dictionary struct {
	Format int `json:"format"`
	schema.Table
	Missing string `json:"missing"`
	Caution string `json:"caution"`
}

// dictionaryJSON describes the table for every reader that shows file-level
// keys; Arrow field metadata reach Arrow readers only.
func dictionaryJSON(t schema.Table) (string, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(dictionary{Format: 1, Table: t, Missing: "null", Caution: caution}); err != nil {
		return "", fmt.Errorf("parquet: data dictionary of %s: %w", t.Name, err)
	}
	return string(bytes.TrimSpace(b.Bytes())), nil
}

// layout is the Parquet schema of a table. The root is required: with the
// library's default, a repeated root, strict readers refuse the file.
func layout(t schema.Table) (*pqschema.Schema, error) {
	fields := make(pqschema.FieldList, len(t.Columns))
	for i, c := range t.Columns {
		node, err := columnNode(c)
		if err != nil {
			return nil, fmt.Errorf("parquet: column %s: %w", c.Name, err)
		}
		fields[i] = node
	}
	root, err := pqschema.NewGroupNode("schema", pq.Repetitions.Required, fields, -1)
	if err != nil {
		return nil, fmt.Errorf("parquet: table %s: %w", t.Name, err)
	}
	return pqschema.NewSchema(root), nil
}

func columnNode(c schema.Column) (pqschema.Node, error) {
	repetition := pq.Repetitions.Optional
	if c.Key {
		repetition = pq.Repetitions.Required
	}
	switch c.Kind {
	case schema.Number:
		return pqschema.NewFloat64Node(c.Name, repetition, -1), nil
	case schema.Integer:
		return pqschema.NewInt64Node(c.Name, repetition, -1), nil
	case schema.Boolean:
		return pqschema.NewBooleanNode(c.Name, repetition, -1), nil
	case schema.Date:
		return pqschema.NewPrimitiveNodeLogical(c.Name, repetition, pqschema.DateLogicalType{}, pq.Types.Int32, -1, -1)
	case schema.Text, schema.Category:
		return pqschema.NewPrimitiveNodeLogical(c.Name, repetition, pqschema.StringLogicalType{}, pq.Types.ByteArray, -1, -1)
	case schema.Wave:
		if c.Key {
			return nil, fmt.Errorf("a wave cannot be a key")
		}
		// The element may be null, so that a gap in a wave has a place.
		element := pqschema.NewFloat32Node("element", pq.Repetitions.Optional, -1)
		return pqschema.ListOfWithName(c.Name, element, repetition, -1)
	}
	return nil, fmt.Errorf("unknown kind %q", c.Kind)
}

// arrowSchema is the value of ARROW:schema: the schema message of an Arrow
// stream, without the end-of-stream mark, in base64.
func arrowSchema(t schema.Table) (string, error) {
	fields := make([]arrow.Field, len(t.Columns))
	for i, c := range t.Columns {
		about := map[string]string{"description": c.Meaning}
		if c.Unit != "" {
			about["unit"] = c.Unit
		}
		fields[i] = arrow.Field{Name: c.Name, Type: arrowType(c.Kind), Nullable: !c.Key, Metadata: arrow.MetadataFrom(about)}
	}
	var b bytes.Buffer
	w := ipc.NewWriter(&b, ipc.WithSchema(arrow.NewSchema(fields, nil)))
	if err := w.Close(); err != nil {
		return "", fmt.Errorf("parquet: Arrow schema of %s: %w", t.Name, err)
	}
	const endOfStream = 8
	return base64.StdEncoding.EncodeToString(b.Bytes()[:b.Len()-endOfStream]), nil
}

func arrowType(k schema.Kind) arrow.DataType {
	switch k {
	case schema.Number:
		return arrow.PrimitiveTypes.Float64
	case schema.Integer:
		return arrow.PrimitiveTypes.Int64
	case schema.Boolean:
		return arrow.FixedWidthTypes.Boolean
	case schema.Date:
		return arrow.FixedWidthTypes.Date32
	case schema.Wave:
		return arrow.ListOfField(arrow.Field{Name: "element", Type: arrow.PrimitiveTypes.Float32, Nullable: true})
	}
	return arrow.BinaryTypes.String
}

// keyValues are the file-level keys in a fixed order.
func keyValues(t schema.Table, meta map[string]string) (metadata.KeyValueMetadata, error) {
	keys := metadata.NewKeyValueMetadata()
	about, err := dictionaryJSON(t)
	if err != nil {
		return nil, err
	}
	if err := keys.Append(dictionaryKey, about); err != nil {
		return nil, fmt.Errorf("parquet: data dictionary of %s: %w", t.Name, err)
	}
	names := make([]string, 0, len(meta))
	for name := range meta {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		if name == dictionaryKey || name == arrowKey {
			return nil, fmt.Errorf("parquet: the file-level key %s is taken", name)
		}
		if err := keys.Append(name, meta[name]); err != nil {
			return nil, fmt.Errorf("parquet: file-level key: %w", err)
		}
	}
	fields, err := arrowSchema(t)
	if err != nil {
		return nil, err
	}
	return keys, keys.Append(arrowKey, fields)
}
