package pipeline

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"tonocohort/pipeline/store"
	"tonocohort/schema"
)

// The verdicts on a file of two results folders, from the best to the worst.
const (
	SameBytes  = "same bytes"
	SameValues = "same values" // a table whose cells are equal to the last bit, or a file that differs only in naming its build
	SameDigits = "same digits" // a table whose numbers agree to schema.DeclaredDigits
	Differs    = "differs"
	OnlyInA    = "only in A"
	OnlyInB    = "only in B"
	Unreadable = "unreadable"
)

// CellDifference is one cell that is not the same, or one row that has no
// partner: then Column is empty and Old or New says "no row".
type CellDifference struct {
	File       string   `json:"-"`
	Table      string   `json:"table"`
	Key        Key      `json:"key"`
	Column     string   `json:"column,omitempty"`
	Old        string   `json:"old"`
	New        string   `json:"new"`
	Difference *float64 `json:"difference,omitempty"` // new − old; of a wave the largest of its samples
}

// FileComparison is what became of one file.
type FileComparison struct {
	Path         string   `json:"path"`
	Verdict      string   `json:"verdict"`
	RowsA        int      `json:"rows_a,omitempty"`
	RowsB        int      `json:"rows_b,omitempty"`
	Cells        int      `json:"cells,omitempty"`       // that differ; across builds, by more than the declared digits
	Within       int      `json:"within,omitempty"`      // across builds: that differ within the declared digits
	RowsOnlyA    int      `json:"rows_only_a,omitempty"` // without a partner
	RowsOnlyB    int      `json:"rows_only_b,omitempty"`
	ColumnsOnlyA []string `json:"columns_only_a,omitempty"`
	ColumnsOnlyB []string `json:"columns_only_b,omitempty"`
	Columns      []string `json:"columns,omitempty"` // in which a cell differs, in the order of the table
	Note         string   `json:"note,omitempty"`
}

// Comparison is two results folders side by side.
type Comparison struct {
	SameBuild   bool             `json:"same_build"` // then nothing but equal bits is equal
	Digits      int              `json:"digits"`     // that are promised across builds
	Files       []FileComparison `json:"files"`
	Differences []CellDifference `json:"differences"` // at most Limit of each table
}

// Equal reports whether nothing differs: to the last bit within a build, to the
// declared digits across builds.
func (c *Comparison) Equal() bool {
	return !slices.ContainsFunc(c.Files, func(f FileComparison) bool { return !c.Reproduced(f) })
}

// Reproduced reports whether a file counts as equal.
func (c *Comparison) Reproduced(f FileComparison) bool {
	return f.Verdict == SameBytes || f.Verdict == SameValues || f.Verdict == SameDigits && !c.SameBuild
}

// CompareOptions bounds what a comparison lists, and what it looks at.
type CompareOptions struct {
	Limit   int               // cells listed of each table; 0: all
	Subject func(string) bool // nil, or the subjects whose rows are compared
}

// Compare puts two sealed results folders side by side: tables cell by cell by
// their keys, everything else by digest.
func Compare(ctx context.Context, a, b string, o CompareOptions) (*Comparison, error) {
	left, err := openSealed(a)
	if err != nil {
		return nil, err
	}
	defer left.close()
	right, err := openSealed(b)
	if err != nil {
		return nil, err
	}
	defer right.close()
	if err := sameParts(a, b, left.manifest, right.manifest); err != nil {
		return nil, err
	}
	return compareFiles(ctx, left, right, nil, o)
}

// sealedFolder is a results folder with its manifest.
type sealedFolder struct {
	root     *store.Root
	manifest *schema.Manifest
}

func openSealed(dir string) (*sealedFolder, error) {
	root, err := openFolder(dir)
	if err != nil {
		return nil, err
	}
	m, err := readManifest(root)
	if err != nil {
		root.Close()
		return nil, fmt.Errorf("%s: %w", dir, err)
	}
	return &sealedFolder{root, m}, nil
}

func (s *sealedFolder) close() { s.root.Close() }

func (s *sealedFolder) has(path string) bool {
	return slices.ContainsFunc(s.manifest.Outputs, func(o schema.Output) bool { return o.Path == path })
}

// compareFiles compares the files that the manifests list; with wanted set, only
// those that it keeps.
func compareFiles(ctx context.Context, a, b *sealedFolder, wanted func(path string) bool, o CompareOptions) (*Comparison, error) {
	var paths []string
	for _, m := range []*schema.Manifest{a.manifest, b.manifest} {
		for _, out := range m.Outputs {
			if wanted == nil || wanted(out.Path) {
				paths = append(paths, out.Path)
			}
		}
	}
	slices.Sort(paths)
	c := &Comparison{SameBuild: sameBuild(a.manifest.Build, b.manifest.Build), Digits: schema.DeclaredDigits, Differences: []CellDifference{}}
	for _, path := range slices.Compact(paths) {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		f := FileComparison{Path: path}
		switch {
		case !b.has(path):
			f.Verdict = OnlyInA
		case !a.has(path):
			f.Verdict = OnlyInB
		default:
			f = c.file(a, b, path, o)
		}
		c.Files = append(c.Files, f)
	}
	return c, nil
}

// sameBuild reports whether two builds promise the same bits: one executable on
// one kind of processor.
func sameBuild(a, b schema.Build) bool {
	return a.Executable != "" && a.Executable == b.Executable && a.Architecture == b.Architecture && maps.Equal(a.Flags, b.Flags)
}

func (c *Comparison) file(a, b *sealedFolder, path string, o CompareOptions) FileComparison {
	f := FileComparison{Path: path}
	left, errA := a.root.Hash(path)
	right, errB := b.root.Hash(path)
	switch {
	case errA != nil:
		f.Verdict, f.Note = Unreadable, inFolder("first", errA).Error()
	case errB != nil:
		f.Verdict, f.Note = Unreadable, inFolder("second", errB).Error()
	case left.SHA256 == right.SHA256 && o.Subject == nil:
		f.Verdict = SameBytes
	case strings.HasSuffix(path, ".parquet"):
		c.tables(&f, a, b, o)
	default:
		f.Verdict = Differs
		if !c.SameBuild {
			f.Verdict, f.Note = acrossBuilds(a, b, path)
		}
	}
	return f
}
