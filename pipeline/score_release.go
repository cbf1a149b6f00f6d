package pipeline

import (
	"encoding/json"
	"fmt"

	"tonocohort/pipeline/store"
	"tonocohort/schema"
)

// openRelease opens a release that stands alone and reads what it says of itself;
// ok is false for a folder that is none.
func openRelease(dir string) (root *store.Root, p provenance, ok bool, err error) {
	if root, err = openFolder(dir); err != nil {
		return nil, p, false, err
	}
	if root.Exists(ManifestName) || !root.Exists(provenanceName) {
		root.Close()
		return nil, p, false, nil
	}
	data, _, err := root.ReadFile(provenanceName, nil, maxText)
	if err == nil {
		err = json.Unmarshal(data, &p)
	}
	if err != nil {
		root.Close()
		return nil, p, false, fmt.Errorf("%s: %w", provenanceName, err)
	}
	return root, p, true, nil
}

// releasedParameters reads the parameters of centiles from a release, as its
// digests say; references that were hidden are left out. ok is false for a folder
// that is no release.
func releasedParameters(dir string) (f *schema.Frame, ok bool, err error) {
	root, p, ok, err := openRelease(dir)
	if err != nil || !ok {
		return nil, false, err
	}
	defer root.Close()
	name := schema.CentileParametersTable().Name + ".parquet"
	for _, file := range p.Files {
		if file.Path != name {
			continue
		}
		if found := verifyOutput(root, schema.Output{File: file}); len(found) > 0 {
			return nil, true, &DifferenceError{dir, found}
		}
		all, err := readOwnTable(root, name)
		if err != nil {
			return nil, true, fmt.Errorf("%s: %w", name, err)
		}
		shown := schema.NewFrame(all.Table, all.N)
		for row := range all.N {
			if all.TextAt(row, schema.Suppressed) != "all" {
				shown.CopyRow(shown.AddRow(), all, row)
			}
		}
		return shown, true, nil
	}
	return nil, true, fmt.Errorf("%s: %w", dir, ErrNoReference)
}
