// Package schema is the contract: every column that is read or written, every
// setting with its default, the list of problems and the manifest. It imports
// the standard library alone, so that every other package can build on it.
package schema

import "math"

// Kind says what a cell of a column holds.
type Kind string

// The kinds of column. A Category is text from a closed list of levels; a Wave
// is a list of float32 samples.
const (
	Text     Kind = "text"
	Category Kind = "category"
	Number   Kind = "number"
	Integer  Kind = "integer"
	Boolean  Kind = "boolean"
	Date     Kind = "date"
	Wave     Kind = "wave"
)

// Column declares one column once. The CSV reader, the Parquet schema, the
// data dictionary and the schema command all come from it.
type Column struct {
	Name     string   `json:"name"`
	Kind     Kind     `json:"kind"`
	Unit     string   `json:"unit,omitempty"`
	Low      *float64 `json:"low,omitempty"`  // smallest plausible value, inclusive; nil: none
	High     *float64 `json:"high,omitempty"` // largest plausible value, inclusive; nil: none
	Levels   []string `json:"levels,omitempty"`
	Required bool     `json:"required,omitempty"` // the column must stand in the table
	Key      bool     `json:"key,omitempty"`      // a row without it cannot be placed
	Meaning  string   `json:"meaning"`
	Source   string   `json:"source,omitempty"` // where the definition or the range comes from
}

// Between returns c with a plausible range, both ends included.
func (c Column) Between(low, high float64) Column {
	c.Low, c.High = &low, &high
	return c
}

// From returns c with the source of its definition.
func (c Column) From(source string) Column {
	c.Source = source
	return c
}

// InRange reports whether v lies in the plausible range of c; NaN does not.
func (c Column) InRange(v float64) bool {
	if math.IsNaN(v) {
		return false
	}
	return (c.Low == nil || v >= *c.Low) && (c.High == nil || v <= *c.High)
}

// Numeric reports whether the cells of c are held as float64.
func (c Column) Numeric() bool { return c.Kind.numeric() }

func (k Kind) numeric() bool { return k == Number || k == Integer || k == Boolean }

// Textual reports whether the cells of c are held as strings.
func (c Column) Textual() bool { return c.Kind.textual() }

func (k Kind) textual() bool { return k == Text || k == Category || k == Date }

// Table declares one table: its columns in order, and what one row is.
type Table struct {
	Name       string   `json:"name"`
	RowPer     string   `json:"row_per"`
	Meaning    string   `json:"meaning"`
	Columns    []Column `json:"columns"`
	Restricted bool     `json:"restricted"` // holds single persons: stays with the study
}

// Index returns the position of the named column, or -1.
func (t Table) Index(name string) int {
	for i := range t.Columns {
		if t.Columns[i].Name == name {
			return i
		}
	}
	return -1
}

// Names lists the column names in order.
func (t Table) Names() []string {
	names := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		names[i] = c.Name
	}
	return names
}

// Constructors for the declarations in this package.

func number(name, unit, meaning string) Column {
	return Column{Name: name, Kind: Number, Unit: unit, Meaning: meaning}
}

func integer(name, meaning string) Column {
	return Column{Name: name, Kind: Integer, Meaning: meaning}
}

func text(name, meaning string) Column {
	return Column{Name: name, Kind: Text, Meaning: meaning}
}

func category(name, meaning string, levels ...string) Column {
	return Column{Name: name, Kind: Category, Levels: levels, Meaning: meaning}
}

func boolean(name, meaning string) Column {
	return Column{Name: name, Kind: Boolean, Meaning: meaning}
}

func date(name, meaning string) Column {
	return Column{Name: name, Kind: Date, Meaning: meaning}
}

func wave(name, unit, meaning string) Column {
	return Column{Name: name, Kind: Wave, Unit: unit, Meaning: meaning}
}

func key(c Column) Column {
	c.Required, c.Key = true, true
	return c
}

func required(c Column) Column {
	c.Required = true
	return c
}
