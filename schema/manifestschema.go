package schema

import _ "embed" // the JSON Schema of the manifest

//go:embed manifest.schema.json
var manifestSchema string

// ManifestSchema returns the JSON Schema (draft 2020-12) of manifest.json.
func ManifestSchema() string { return manifestSchema }
