package schema

import (
	"slices"
	"strings"
)

// The profiles of the Data Package standard, version 2 (datapackage.org).
const (
	packageProfile  = "https://datapackage.org/profiles/2.0/datapackage.json"
	resourceProfile = "https://datapackage.org/profiles/2.0/dataresource.json"
	tableProfile    = "https://datapackage.org/profiles/2.0/tableschema.json"
)

// DataPackage describes csv tables for readers that know nothing of this
// program.
type DataPackage struct {
	Schema      string         `json:"$schema"`
	Name        string         `json:"name"`
	Title       string         `json:"title,omitempty"`
	Description string         `json:"description,omitempty"`
	Resources   []DataResource `json:"resources"`
}

// DataResource describes one csv table.
type DataResource struct {
	Profile     string      `json:"$schema"`
	Name        string      `json:"name"`
	Type        string      `json:"type"`
	Path        string      `json:"path"`
	Format      string      `json:"format"`
	MediaType   string      `json:"mediatype"`
	Encoding    string      `json:"encoding"`
	Bytes       int64       `json:"bytes,omitempty"`
	Hash        string      `json:"hash,omitempty"` // sha256:hex
	Description string      `json:"description"`
	Schema      TableSchema `json:"schema"`
}

// TableSchema describes the columns of a table.
type TableSchema struct {
	Profile       string       `json:"$schema"`
	Fields        []TableField `json:"fields"`
	FieldsMatch   string       `json:"fieldsMatch,omitempty"`
	MissingValues []string     `json:"missingValues"`
	PrimaryKey    []string     `json:"primaryKey,omitempty"`
	ForeignKeys   []ForeignKey `json:"foreignKeys,omitempty"`
}

// TableField describes one column; Unit and Source are properties of our own.
type TableField struct {
	Name        string           `json:"name"`
	Type        string           `json:"type"`
	Description string           `json:"description,omitempty"`
	Unit        string           `json:"unit,omitempty"`
	Source      string           `json:"source,omitempty"`
	Categories  []string         `json:"categories,omitempty"`
	Constraints *FieldConstraint `json:"constraints,omitempty"`
}

// FieldConstraint is what the values of a column must be; both ends of a range
// are in.
type FieldConstraint struct {
	Required bool     `json:"required,omitempty"`
	Minimum  *float64 `json:"minimum,omitempty"`
	Maximum  *float64 `json:"maximum,omitempty"`
	Enum     []string `json:"enum,omitempty"`
}

// ForeignKey says in which table a key must stand.
type ForeignKey struct {
	Fields    []string     `json:"fields"`
	Reference KeyReference `json:"reference"`
}

// KeyReference names the columns that a foreign key points to.
type KeyReference struct {
	Resource string   `json:"resource"`
	Fields   []string `json:"fields"`
}

// NewDataPackage returns a package of the given tables; keys into a table that
// is not among them are left out. The name becomes one that the standard takes:
// lower case, letters, digits and . _ - alone.
func NewDataPackage(name, title, description string, resources []DataResource) DataPackage {
	plain := strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || strings.ContainsRune("._-", r) {
			return r
		}
		return '-'
	}, strings.ToLower(name))
	for i := range resources {
		s := &resources[i].Schema
		s.ForeignKeys = slices.DeleteFunc(s.ForeignKeys, func(k ForeignKey) bool {
			return !slices.ContainsFunc(resources, func(r DataResource) bool { return r.Name == k.Reference.Resource })
		})
	}
	return DataPackage{Schema: packageProfile, Name: plain, Title: title, Description: description, Resources: resources}
}

// ResultResource describes a table of results as it was written.
func ResultResource(t Table) DataResource {
	return resource(t, TableSchema{})
}

// InputResource describes a table of a study folder: columns that are not
// required may be absent, and covariates may stand beside them.
func InputResource(t Table) DataResource {
	s := TableSchema{FieldsMatch: "partial"}
	for _, c := range t.Columns {
		if c.Key && t.Name != "pairs" {
			s.PrimaryKey = append(s.PrimaryKey, c.Name)
		}
	}
	visit := []string{"subject_id", "visit_id"}
	switch t.Name {
	case "visits", "withdrawn":
		s.ForeignKeys = []ForeignKey{{visit[:1], KeyReference{"subjects", visit[:1]}}}
	case "cuff":
		s.ForeignKeys = []ForeignKey{{visit, KeyReference{"visits", visit}}}
	case "recordings":
		s.PrimaryKey = []string{"recording_id"}
		s.ForeignKeys = []ForeignKey{{visit, KeyReference{"visits", visit}}}
	case "reviews":
		s.PrimaryKey = nil // several readers may judge one recording
		s.ForeignKeys = []ForeignKey{{[]string{"recording_id"}, KeyReference{"recordings", []string{"recording_id"}}}}
	}
	return resource(t, s)
}

func resource(t Table, s TableSchema) DataResource {
	s.Profile, s.MissingValues = tableProfile, []string{""}
	s.Fields = make([]TableField, len(t.Columns))
	for i, c := range t.Columns {
		s.Fields[i] = tableField(c)
	}
	return DataResource{Profile: resourceProfile, Name: t.Name, Type: "table", Path: t.Name + ".csv", Format: "csv", MediaType: "text/csv", Encoding: "utf-8",
		Description: t.Meaning + "; one row per " + t.RowPer, Schema: s}
}

// tableField describes a column. A wave is text there: samples divided by
// blanks.
func tableField(c Column) TableField {
	f := TableField{Name: c.Name, Type: "string", Description: c.Meaning, Unit: c.Unit, Source: c.Source}
	switch c.Kind {
	case Number, Integer, Boolean, Date:
		f.Type = string(c.Kind)
	case Wave:
		f.Description += "; samples divided by blanks, NaN for a missing one"
	}
	limits := FieldConstraint{Required: c.Key, Minimum: c.Low, Maximum: c.High}
	if c.Kind == Category && len(c.Levels) > 0 {
		f.Categories, limits.Enum = slices.Clone(c.Levels), slices.Clone(c.Levels)
	}
	if limits.Required || limits.Minimum != nil || limits.Maximum != nil || limits.Enum != nil {
		f.Constraints = &limits
	}
	return f
}
