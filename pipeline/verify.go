package pipeline

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"tonocohort/pipeline/parquet"
	"tonocohort/pipeline/store"
	"tonocohort/schema"
)

// Difference is one thing in a results folder that is not as the manifest says.
type Difference struct {
	Path     string `json:"path"`
	What     string `json:"what"` // content, rows, row_digest, bytes, sha256, missing, extra, counts
	Expected string `json:"expected,omitempty"`
	Found    string `json:"found,omitempty"`
	Part     string `json:"part,omitempty"` // of a table: the row group, or the footer, in which the bytes differ
}

func differing(path, what, expected, found string) Difference {
	return Difference{Path: path, What: what, Expected: expected, Found: found}
}

// String is the line a person reads.
func (d Difference) String() string {
	switch d.What {
	case "missing":
		return d.Path + ": missing"
	case "extra":
		return d.Path + ": not in the manifest"
	}
	at := d.Path
	if d.Part != "" {
		at += ", " + d.Part
	}
	return fmt.Sprintf("%s: %s is %s, the manifest says %s", at, d.What, d.Found, d.Expected)
}

// Verify recomputes every digest of a results folder, decodes every table and
// recomputes its row digest, and adds up the counts. It returns the differences,
// sorted by path; none means that the folder is as its run left it.
func Verify(ctx context.Context, dir string) (*schema.Manifest, []Difference, error) {
	root, err := openFolder(dir)
	if err != nil {
		return nil, nil, err
	}
	defer root.Close()
	m, text, err := readManifestText(root)
	if err != nil {
		return nil, nil, err
	}
	var found []Difference
	sum, err := contentOf(text)
	if err != nil {
		return nil, nil, err
	}
	if sum != m.Content {
		found = append(found, differing(ManifestName, "content", m.Content, sum))
	}
	found = append(found, addUp(m.Counts)...)
	listed := map[string]bool{ManifestName: true}
	for _, out := range m.Outputs {
		if err := ctx.Err(); err != nil {
			return nil, nil, err
		}
		listed[out.Path] = true
		found = append(found, verifyOutput(root, out)...)
	}
	extra, err := unlisted(root, ".", listed)
	if err != nil {
		return nil, nil, err
	}
	found = append(found, extra...)
	slices.SortFunc(found, func(a, b Difference) int {
		return strings.Compare(a.Path+"\x00"+a.What, b.Path+"\x00"+b.What)
	})
	return m, found, nil
}

func verifyOutput(root *store.Root, out schema.Output) []Difference {
	digest, err := root.Hash(out.Path)
	if store.IsMissing(err) {
		return []Difference{{Path: out.Path, What: "missing"}}
	}
	if err != nil {
		return []Difference{differing(out.Path, "sha256", out.SHA256, err.Error())}
	}
	var found []Difference
	if digest.Bytes != out.Bytes {
		found = append(found, differing(out.Path, "bytes", fmt.Sprint(out.Bytes), fmt.Sprint(digest.Bytes)))
	}
	if digest.SHA256 != out.SHA256 {
		whole, groups := differing(out.Path, "sha256", out.SHA256, digest.SHA256), damagedGroups(root, out)
		if out.Rows != nil && len(groups) == 0 && (len(out.RowGroups) > 0 || *out.Rows == 0) {
			whole.Part = "footer" // or the marks at both ends: all but the rows
		}
		found = append(append(found, whole), groups...)
	}
	if out.RowDigest == "" {
		return found
	}
	rows, sum, err := rowDigest(root, out.Path)
	switch {
	case err != nil:
		found = append(found, differing(out.Path, "row_digest", out.RowDigest, err.Error()))
	case out.Rows != nil && rows != *out.Rows:
		found = append(found, differing(out.Path, "rows", fmt.Sprint(*out.Rows), fmt.Sprint(rows)))
	case sum != out.RowDigest:
		found = append(found, differing(out.Path, "row_digest", out.RowDigest, sum))
	}
	return found
}

// damagedGroups names the row groups of a table whose bytes differ.
func damagedGroups(root *store.Root, out schema.Output) []Difference {
	file, err := root.Open(out.Path)
	if err != nil {
		return []Difference{differing(out.Path, "row_groups", fmt.Sprint(len(out.RowGroups)), err.Error())}
	}
	defer file.Close()
	var found []Difference
	first := int64(0)
	for i, g := range out.RowGroups {
		digest := sha256.New()
		n, err := io.Copy(digest, io.NewSectionReader(file, g.Offset, g.Bytes))
		sum := hex.EncodeToString(digest.Sum(nil))
		if err != nil || n != g.Bytes || sum != g.SHA256 {
			d := differing(out.Path, "sha256", g.SHA256, sum)
			d.Part = fmt.Sprintf("row group %d (rows %d to %d)", i, first+1, first+g.Rows)
			found = append(found, d)
		}
		first += g.Rows
	}
	return found
}

func rowDigest(root *store.Root, path string) (rows int64, sum string, err error) {
	err = withFile(root, path, func(file *os.File, size int64) error {
		table, err := parquet.TableOf(file, size)
		if err != nil {
			return err
		}
		digester := parquet.NewDigester(table)
		if err := parquet.ReadGroups(file, size, table, digester.Add); err != nil {
			return err
		}
		rows, sum = int64(digester.Rows()), digester.Sum()
		return nil
	})
	return rows, sum, err
}

// unlisted walks the folder and names the files that the manifest does not.
func unlisted(root *store.Root, dir string, listed map[string]bool) ([]Difference, error) {
	names, err := root.Names(dir)
	if err != nil {
		return nil, err
	}
	var found []Difference
	for _, name := range names {
		path := name
		if dir != "." {
			path = dir + "/" + name
		}
		switch {
		case listed[path] || path == store.LockName || path+"/" == workFolder:
		case root.Exists(path):
			found = append(found, Difference{Path: path, What: "extra"})
		default:
			below, err := unlisted(root, path, listed)
			if err != nil {
				return nil, err
			}
			found = append(found, below...)
		}
	}
	return found, nil
}

// addUp checks that everything found became something.
func addUp(c schema.Counts) []Difference {
	var found []Difference
	for _, level := range []struct {
		name  string
		tally schema.Tally
	}{{"subjects", c.Subjects}, {"subject_visits", c.Visits}, {"recordings", c.Recordings}} {
		sum := level.tally.Used + level.tally.Excluded + level.tally.Failed
		if sum != level.tally.Found {
			found = append(found, differing(ManifestName, "counts", fmt.Sprint(level.tally.Found), fmt.Sprintf("%d %s", sum, level.name)))
		}
	}
	return found
}
