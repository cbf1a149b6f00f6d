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
	"reflect"
	"runtime"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"sync"

	"golang.org/x/sys/cpu"

	"tonocohort/pipeline/store"
	"tonocohort/schema"
)

// ManifestName is the file whose presence seals a results folder.
const ManifestName = "manifest.json"

// contentOf is the digest over everything in a manifest but itself and the
// times: the SHA-256 of the canonical JSON (RFC 8785) of the object without its
// members content and run. It is taken over the text, not over what this program
// understands of it, so that a manifest of an earlier version keeps its digest.
func contentOf(manifest []byte) (string, error) {
	var object map[string]json.RawMessage
	if err := json.Unmarshal(manifest, &object); err != nil {
		return "", err
	}
	delete(object, "content")
	delete(object, "run")
	data, err := canonical(object)
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:]), nil
}

// sealManifest sorts the lists, fills in the content digest and writes the
// manifest, which seals the folder. Its inputs are those that it has and the given.
func sealManifest(results *store.Folder, m *schema.Manifest, inputs *sorted[schema.File]) error {
	if err := inputs.add(m.Inputs...); err != nil {
		return err
	}
	slices.SortFunc(m.Outputs, func(a, b schema.Output) int { return cmp.Compare(a.Path, b.Path) })
	digest := sha256.New()
	if err := writeContent(digest, m, inputs); err != nil {
		return err
	}
	m.Content = hex.EncodeToString(digest.Sum(nil))
	// The manifest says that all of them are there.
	if err := results.Settle(); err != nil {
		return err
	}
	_, err := results.WriteAtomic(ManifestName, func(w io.Writer) error { return writeManifest(w, m, inputs) })
	return err
}

func byPath(a, b schema.File) int {
	return cmp.Or(cmp.Compare(a.Path, b.Path), cmp.Compare(a.SHA256, b.SHA256))
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
	m, _, err := readManifestText(root)
	return m, err
}

// ManifestError says that a results folder has no manifest that can be read: it
// is not sealed, or what seals it is damaged.
type ManifestError struct{ Err error }

func (e *ManifestError) Error() string { return e.Err.Error() }

func (e *ManifestError) Unwrap() error { return e.Err }

func unsealed(format string, args ...any) error {
	return &ManifestError{fmt.Errorf(format, args...)}
}

// readManifestText returns the manifest and its text. A setting that an earlier
// version did not know yet has its default.
func readManifestText(root *store.Root) (*schema.Manifest, []byte, error) {
	data, _, err := root.ReadFile(ManifestName, nil, maxManifest)
	if store.IsMissing(err) {
		return nil, nil, unsealed("no %s: the folder is not sealed (its run was stopped before the end) or holds no results", ManifestName)
	}
	if err != nil {
		return nil, nil, err
	}
	var m schema.Manifest
	if err := strictJSON(bytes.NewReader(data)).Decode(&m); err != nil {
		return nil, nil, unsealed("%s: %w", ManifestName, err)
	}
	if m.Format != schema.ManifestFormat {
		return nil, nil, unsealed("%s: format %d; this program reads format %d", ManifestName, m.Format, schema.ManifestFormat)
	}
	var text struct{ Settings json.RawMessage }
	if err := json.Unmarshal(data, &text); err != nil {
		return nil, nil, unsealed("%s: %w", ManifestName, err)
	}
	fillAbsent(reflect.ValueOf(&m.Settings).Elem(), reflect.ValueOf(schema.DefaultSettings()), text.Settings)
	return &m, data, nil
}

// readOutputs reads what a manifest lists that a run is to write over, in memory that
// does not grow with its inputs: the subjects of the study stand there already. It
// refuses what readManifest refuses.
func readOutputs(root *store.Root) ([]schema.Output, error) {
	file, err := root.Open(ManifestName)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	short := map[string]json.RawMessage{}
	err = eachMember(strictJSON(io.LimitReader(file, maxManifest)), func(name string, value *json.Decoder) error {
		if name == inputsMember {
			return passOver[schema.File](value)
		}
		var text json.RawMessage
		err := value.Decode(&text)
		short[name] = text
		return err
	})
	if err != nil {
		return nil, err
	}
	text, err := json.Marshal(short)
	if err != nil {
		return nil, err
	}
	var m schema.Manifest
	if err := strictJSON(bytes.NewReader(text)).Decode(&m); err != nil {
		return nil, err
	}
	if m.Format != schema.ManifestFormat {
		return nil, fmt.Errorf("format %d", m.Format)
	}
	return m.Outputs, nil
}

// passOver reads a list one by one and keeps none.
func passOver[T any](list *json.Decoder) error {
	open, err := list.Token()
	if err != nil || open == nil { // null
		return err
	}
	if open != json.Delim('[') {
		return fmt.Errorf("%v is no list", open)
	}
	for list.More() {
		var one T
		if err := list.Decode(&one); err != nil {
			return err
		}
	}
	_, err = list.Token()
	return err
}

// strictJSON decodes what has no members but those that are known.
func strictJSON(r io.Reader) *json.Decoder {
	decoder := json.NewDecoder(r)
	decoder.DisallowUnknownFields()
	return decoder
}

// fillAbsent gives the fields of a struct that its JSON text does not mention
// their defaults. A field that is left out where it is empty stays so.
func fillAbsent(into, defaults reflect.Value, text json.RawMessage) {
	var members map[string]json.RawMessage
	if json.Unmarshal(text, &members) != nil {
		return
	}
	for i := range into.NumField() {
		name, options, _ := strings.Cut(into.Type().Field(i).Tag.Get("json"), ",")
		value, there := members[name]
		switch {
		case there && into.Field(i).Kind() == reflect.Struct:
			fillAbsent(into.Field(i), defaults.Field(i), value)
		case !there && options != "omitempty":
			into.Field(i).Set(defaults.Field(i))
		}
	}
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
			case "-tags", "-race", "-gcflags", "-buildmode", "CGO_ENABLED", "GOEXPERIMENT", "vcs.revision", "vcs.modified":
				b.Flags[s.Key] = s.Value
			}
		}
	}
	// What the processor can do, and what it was told not to, moves last bits.
	if runtime.GOARCH == "amd64" {
		b.Flags["cpu.fma"] = strconv.FormatBool(cpu.X86.HasFMA)
	}
	if v := os.Getenv("GODEBUG"); strings.Contains(v, "cpu.") {
		b.Flags["GODEBUG"] = v
	}
	b.Executable = executableDigest()
	return b
}

// executableDigest is that of the running program, "" where it cannot be read.
var executableDigest = sync.OnceValue(func() string {
	path, err := os.Executable()
	if err != nil {
		return ""
	}
	d, err := store.HashFile(path)
	if err != nil {
		return ""
	}
	return d.SHA256
})
