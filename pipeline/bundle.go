package pipeline

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"strings"

	"tonocohort/pipeline/store"
	"tonocohort/schema"
)

// The forms in which results can be handed on. Each is derived from the manifest
// and never read back: the manifest stays the truth.
const (
	AsCrate       = "ro-crate"     // RO-Crate 1.2, profile Process Run Crate 0.5
	AsBag         = "bagit"        // BagIt 1.0 (RFC 8493)
	AsDataPackage = "data-package" // Data Package 2.0 of csv tables
)

// BundleForms lists the forms.
func BundleForms() []string { return []string{AsCrate, AsBag, AsDataPackage} }

// BundleOptions says what is handed on.
type BundleOptions struct {
	As         string
	Restricted bool   // with the person-level tables and the manifest; else the release alone
	License    string // URL or words; "": it is said that none was stated
}

// ErrBundleExists says that the folder for a bundle is there already.
var ErrBundleExists = errors.New("the folder exists already")

// Bundle hands sealed results on in another form, in a folder of its own that
// appears whole or not at all. A file that is not as the manifest says stops it.
func Bundle(ctx context.Context, resultsDir, outDir string, o BundleOptions) (files int, err error) {
	results, err := openSealed(resultsDir)
	if err != nil {
		return 0, err
	}
	defer results.close()
	if err := onlyWhole(resultsDir, results.manifest); err != nil {
		return 0, err
	}
	if _, err := os.Lstat(outDir); err == nil {
		return 0, fmt.Errorf("%s: %w", outDir, ErrBundleExists)
	}
	parent := filepath.Dir(filepath.Clean(outDir))
	if err := os.MkdirAll(parent, 0o777); err != nil {
		return 0, err
	}
	stage, err := os.MkdirTemp(parent, "."+filepath.Base(outDir)+".partial-")
	if err != nil {
		return 0, err
	}
	defer os.RemoveAll(stage)
	if err := os.Chmod(stage, 0o755); err != nil {
		return 0, err
	}
	folder, err := store.OpenFolder(stage)
	if err != nil {
		return 0, err
	}
	defer folder.Close()
	b := &bundle{sealedFolder: results, options: o, folder: folder}
	switch o.As {
	case AsCrate:
		err = b.crate(ctx)
	case AsBag:
		err = b.bag(ctx)
	case AsDataPackage:
		err = b.dataPackage(ctx)
	default:
		err = fmt.Errorf("no form %q", o.As)
	}
	if err != nil {
		return 0, err
	}
	return b.written, os.Rename(stage, outDir)
}

// bundle is one on its way.
type bundle struct {
	*sealedFolder
	options BundleOptions
	folder  *store.Folder
	written int
}

// payload lists what is handed on, in the order of the manifest.
func (b *bundle) payload() []schema.Output {
	var list []schema.Output
	for _, out := range b.manifest.Outputs {
		if b.options.Restricted || !out.Restricted && strings.HasPrefix(out.Path, releaseFolder) {
			list = append(list, out)
		}
	}
	return list
}

// copyAll copies the payload below a folder, each file held to its digest, and
// the manifest with it where restricted data go.
func (b *bundle) copyAll(ctx context.Context, below string) ([]schema.File, error) {
	var files []schema.File
	for _, out := range b.payload() {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		f, err := b.copy(out.Path, path.Join(below, out.Path))
		if err != nil {
			return nil, err
		}
		if f.SHA256 != out.SHA256 {
			return nil, &DifferenceError{"the results", []Difference{differing(out.Path, "sha256", out.SHA256, f.SHA256)}}
		}
		files = append(files, f)
	}
	if b.options.Restricted {
		f, err := b.copy(ManifestName, path.Join(below, ManifestName))
		if err != nil {
			return nil, err
		}
		files = append(files, f)
	}
	return files, nil
}

func (b *bundle) copy(from, to string) (schema.File, error) {
	file, err := b.root.Open(from)
	if err != nil {
		return schema.File{}, err
	}
	defer file.Close()
	return b.write(to, func(w io.Writer) error {
		_, err := io.Copy(w, file)
		return err
	})
}

func (b *bundle) write(name string, content func(io.Writer) error) (schema.File, error) {
	d, err := b.folder.WriteAtomic(name, content)
	b.written++
	return schema.File{Path: name, Bytes: d.Bytes, SHA256: d.SHA256}, err
}

func (b *bundle) writeText(name, text string) (schema.File, error) {
	return b.write(name, func(w io.Writer) error {
		_, err := io.WriteString(w, text)
		return err
	})
}

// day is when the results were made, as a date; "" where the manifest has no
// times.
func (b *bundle) day() string {
	if b.manifest.Run == nil || len(b.manifest.Run.Ended) < len("2006-01-02") {
		return ""
	}
	return b.manifest.Run.Ended[:len("2006-01-02")]
}

// title names the study for a person.
func (b *bundle) title() string {
	if b.manifest.Study.Title != "" {
		return b.manifest.Study.Title
	}
	return b.manifest.Study.ID
}

// mediaType is the type of a file by its ending.
func mediaType(name string) string {
	switch path.Ext(name) {
	case ".parquet":
		return "application/vnd.apache.parquet"
	case ".csv":
		return "text/csv"
	case ".md":
		return "text/markdown"
	case ".json":
		return "application/json"
	case ".html":
		return "text/html"
	case ".svg":
		return "image/svg+xml"
	case ".png":
		return "image/png"
	case ".txt":
		return "text/plain"
	case ".yaml":
		return "application/yaml"
	}
	return "application/octet-stream"
}
