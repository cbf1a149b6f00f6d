package pipeline

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"runtime"
	"runtime/debug"
	"slices"

	"tonocohort/pipeline/store"
	"tonocohort/schema"
)

// ManifestName is the file whose presence seals a results folder.
const ManifestName = "manifest.json"

// canonical encodes v as JSON with keys in a fixed order and no white space, so
// that equal values have equal bytes.
func canonical(v any) ([]byte, error) {
	var b bytes.Buffer
	encoder := json.NewEncoder(&b)
	encoder.SetEscapeHTML(false)
	if err := encoder.Encode(v); err != nil {
		return nil, err
	}
	return bytes.TrimRight(b.Bytes(), "\n"), nil
}

// content is the digest over everything in m but itself and the times.
func content(m schema.Manifest) (string, error) {
	m.Content, m.Run = "", nil
	data, err := canonical(m)
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:]), nil
}

// sealManifest sorts the lists, fills in the content digest and writes the
// manifest, which seals the folder.
func sealManifest(results *store.Folder, m *schema.Manifest) error {
	slices.SortFunc(m.Inputs, func(a, b schema.File) int { return cmp.Or(cmp.Compare(a.Path, b.Path), cmp.Compare(a.SHA256, b.SHA256)) })
	m.Inputs = slices.Compact(m.Inputs) // a side file serves many recordings
	slices.SortFunc(m.Outputs, func(a, b schema.Output) int { return cmp.Compare(a.Path, b.Path) })
	var err error
	if m.Content, err = content(*m); err != nil {
		return err
	}
	_, err = results.WriteAtomic(ManifestName, func(w io.Writer) error {
		encoder := json.NewEncoder(w)
		encoder.SetEscapeHTML(false)
		encoder.SetIndent("", " ")
		return encoder.Encode(m)
	})
	return err
}

// maxManifest bounds what is read of a manifest that may not be ours.
const maxManifest = 4 << 30

// ReadManifest reads the manifest of a results folder. A folder without one is
// not sealed: its run was stopped, or it is no results folder at all.
func ReadManifest(dir string) (*schema.Manifest, error) {
	root, err := openFolder(dir)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	return readManifest(root)
}

func readManifest(root *store.Root) (*schema.Manifest, error) {
	data, _, err := root.ReadFile(ManifestName, nil, maxManifest)
	if store.IsMissing(err) {
		return nil, fmt.Errorf("no %s: the folder is not sealed (its run was stopped before the end) or holds no results", ManifestName)
	}
	if err != nil {
		return nil, err
	}
	decoder := json.NewDecoder(bytes.NewReader(data))
	decoder.DisallowUnknownFields()
	var m schema.Manifest
	if err := decoder.Decode(&m); err != nil {
		return nil, fmt.Errorf("%s: %w", ManifestName, err)
	}
	if m.Format != schema.ManifestFormat {
		return nil, fmt.Errorf("%s: format %d; this program reads format %d", ManifestName, m.Format, schema.ManifestFormat)
	}
	return &m, nil
}

// CurrentBuild says which program is running: its version, libraries, flags,
// architecture and the digest of the executable itself.
func CurrentBuild(version string) schema.Build {
	b := schema.Build{
		Program: "tonocohort", Version: version, Go: runtime.Version(),
		Architecture: runtime.GOOS + "/" + runtime.GOARCH, Modules: []schema.Module{}, Flags: map[string]string{},
	}
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, d := range info.Deps {
			if d.Replace != nil {
				d = d.Replace
			}
			b.Modules = append(b.Modules, schema.Module{Path: d.Path, Version: d.Version, Sum: d.Sum})
		}
		for _, s := range info.Settings {
			switch s.Key {
			case "GOAMD64", "GOARM64":
				b.Architecture += "/" + s.Value
			case "-tags", "CGO_ENABLED", "-race", "vcs.revision", "vcs.modified":
				b.Flags[s.Key] = s.Value
			}
		}
	}
	if path, err := os.Executable(); err == nil {
		if d, err := store.HashFile(path); err == nil {
			b.Executable = d.SHA256
		}
	}
	return b
}
