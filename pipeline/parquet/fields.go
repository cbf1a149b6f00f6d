package parquet

import (
	"fmt"

	pq "github.com/apache/arrow/go/v17/parquet"
	pqschema "github.com/apache/arrow/go/v17/parquet/schema"
	"tonocohort/schema"
)

// field is one top-level column of a file: what kind of cell it holds, and
// which leaf of the file's schema has it.
type field struct {
	name   string
	kind   schema.Kind // kind of the cells; "" where they cannot be read
	why    string      // why they cannot be read
	leaf   int
	column *pqschema.Column
	list   int16 // of a wave: the definition level from which on there is a sample

	series *Series // where the samples of a wave are wanted as float64; nil: as float32
}

// fieldsOf lists the top-level columns of a file in order.
func fieldsOf(sc *pqschema.Schema) ([]field, error) {
	root := sc.Root()
	fields := make([]field, root.NumFields())
	leaves := make([]int, root.NumFields())
	seen := make(map[string]bool, root.NumFields())
	for i := range fields {
		name := root.Field(i).Name()
		if seen[name] {
			return nil, fmt.Errorf("two columns are called %q", name)
		}
		seen[name] = true
		fields[i] = field{name: name, why: "it has no values"}
	}
	for leaf := range sc.NumColumns() {
		at := root.FieldIndexByField(sc.ColumnRoot(leaf))
		if at < 0 {
			return nil, fmt.Errorf("leaf %d stands under no column", leaf)
		}
		if leaves[at]++; leaves[at] > 1 {
			fields[at] = field{name: fields[at].name, why: "it is nested"}
			continue
		}
		f := &fields[at]
		f.leaf, f.column = leaf, sc.Column(leaf)
		f.kind, f.why = kindOf(root.Field(at), f.column)
		if f.kind == schema.Wave {
			f.list = listLevel(f.column)
		}
	}
	return fields, nil
}

// kindOf derives the kind of a column from its type in the file.
func kindOf(top pqschema.Node, c *pqschema.Column) (kind schema.Kind, why string) {
	kind, why = leafKind(c)
	switch {
	case kind == "":
		return "", why
	case c.MaxRepetitionLevel() > 1:
		return "", "it holds lists of lists"
	case c.MaxRepetitionLevel() == 1:
		if kind != schema.Number && kind != schema.Integer {
			return "", "it holds lists of something that is not a number"
		}
		return schema.Wave, ""
	case top.Type() == pqschema.Group:
		return "", "it is nested"
	}
	return kind, ""
}

func leafKind(c *pqschema.Column) (schema.Kind, string) {
	switch t := c.LogicalType().(type) {
	case pqschema.StringLogicalType, pqschema.EnumLogicalType, pqschema.JSONLogicalType, pqschema.UUIDLogicalType,
		*pqschema.TimestampLogicalType, *pqschema.TimeLogicalType:
		return schema.Text, ""
	case pqschema.DateLogicalType:
		return schema.Date, ""
	case *pqschema.DecimalLogicalType, pqschema.Float16LogicalType:
		return schema.Number, ""
	case *pqschema.IntLogicalType:
		return schema.Integer, ""
	case pqschema.NoLogicalType, pqschema.UnknownLogicalType, pqschema.NullLogicalType, nil:
		return physicalKind(c)
	default:
		return "", fmt.Sprintf("its type %s is not supported", t)
	}
}

func physicalKind(c *pqschema.Column) (schema.Kind, string) {
	switch t := c.PhysicalType(); t {
	case pq.Types.Double, pq.Types.Float:
		return schema.Number, ""
	case pq.Types.Int32, pq.Types.Int64:
		return schema.Integer, ""
	case pq.Types.Boolean:
		return schema.Boolean, ""
	case pq.Types.ByteArray, pq.Types.Int96: // bytes are read as text, Int96 is an old form of time
		return schema.Text, ""
	default:
		return "", fmt.Sprintf("its type %s is not supported", t)
	}
}

// listLevel is the definition level of the repeated group: at or above it there
// is a sample, one below it the list is empty, further below there is none.
func listLevel(c *pqschema.Column) int16 {
	level := c.MaxDefinitionLevel()
	for n := pqschema.Node(c.SchemaNode()); n != nil && n.RepetitionType() != pq.Repetitions.Repeated; n = n.Parent() {
		if n.RepetitionType() == pq.Repetitions.Optional {
			level--
		}
	}
	return level
}

// fits reports whether cells of a file can be taken for the declared kind.
func fits(held, declared schema.Kind) bool {
	switch declared {
	case schema.Number, schema.Integer:
		return held == schema.Number || held == schema.Integer
	case schema.Text, schema.Category:
		return held == schema.Text || held == schema.Date
	}
	return held == declared
}
