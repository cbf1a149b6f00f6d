package pipeline

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path"
	"slices"
	"strings"

	"tonocohort/pipeline/parquet"
	"tonocohort/pipeline/store"
	"tonocohort/schema"
)

// Finding is something in a release that does not fit together.
type Finding struct {
	File   string `json:"file"`
	Row    Key    `json:"row,omitempty"`
	Rule   string `json:"rule"`
	Detail string `json:"detail"`
}

// String is the line that a person reads.
func (f Finding) String() string {
	return strings.Join(slices.DeleteFunc([]string{f.File, f.Row.String(), f.Rule, f.Detail}, func(s string) bool { return s == "" }), "  ")
}

const provenanceName = "provenance.json"

// rerunRelease looks at a release that stands alone: whether its files are those
// that were released, and whether its numbers fit together.
func rerunRelease(ctx context.Context, dir string) (*Rerun, error) {
	root, err := openFolder(dir)
	if err != nil {
		return nil, err
	}
	defer func() { root.Close() }()
	if !root.Exists(provenanceName) && root.Exists(releaseFolder+provenanceName) {
		root.Close()
		if root, err = openFolder(path.Join(dir, releaseFolder)); err != nil {
			return nil, err
		}
	}
	data, _, err := root.ReadFile(provenanceName, nil, maxText)
	if store.IsMissing(err) {
		return nil, fmt.Errorf("no %s: the folder holds no release", provenanceName)
	}
	if err != nil {
		return nil, err
	}
	var p provenance
	if err := json.Unmarshal(data, &p); err != nil {
		return nil, fmt.Errorf("%s: %w", provenanceName, err)
	}
	r := &Rerun{From: FromRelease, Then: buildText(p.Build), Inputs: []Difference{}, Settings: []Change{}, Findings: []Finding{}, NotDone: []string{}}
	if err := r.releaseFiles(ctx, root, p.Files); err != nil {
		return nil, err
	}
	c := &consistency{rerun: r, rounding: float64(p.Round)}
	for _, f := range p.Files {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if strings.HasSuffix(f.Path, ".parquet") {
			c.table(root, f.Path)
		}
	}
	verdict := Same
	if len(r.Findings) > 0 {
		verdict = Differs
	}
	r.add("consistency", verdict, 0, fmt.Sprintf("%d rules of rows and tables looked at, %d broken", c.looked, len(r.Findings)))
	r.skip("recordings", "statistics")
	return r, nil
}

// releaseFiles holds the files to their digests, and names those that nobody
// promised.
func (r *Rerun) releaseFiles(ctx context.Context, root *store.Root, files []schema.File) error {
	if len(files) == 0 {
		return errors.New(provenanceName + " lists no files: the release was made by an earlier version")
	}
	listed := map[string]bool{provenanceName: true}
	differ := 0
	for _, f := range files {
		if err := ctx.Err(); err != nil {
			return err
		}
		listed[f.Path] = true
		for _, d := range verifyOutput(root, schema.Output{File: f}) {
			differ++
			r.Findings = append(r.Findings, Finding{File: d.Path, Rule: "digest", Detail: strings.TrimPrefix(d.String(), d.Path+": ")})
		}
	}
	extra, err := unlisted(root, ".", listed)
	if err != nil {
		return err
	}
	for _, d := range extra {
		differ++
		r.Findings = append(r.Findings, Finding{File: d.Path, Rule: "digest", Detail: "not among the released files"})
	}
	verdict, note := Same, "as their digests say"
	if differ > 0 {
		verdict, note = Differs, fmt.Sprintf("%d differences from %s", differ, provenanceName)
	}
	r.add("release", verdict, len(files), note)
	return nil
}

// consistency looks at the tables of a release one by one.
type consistency struct {
	rerun    *Rerun
	looked   int
	rounding float64 // base to which counts were rounded; 0: they were not
	file     string
	frame    *schema.Frame
	keys     []int
}

func (c *consistency) find(row int, rule, format string, args ...any) {
	f := Finding{File: c.file, Rule: rule, Detail: fmt.Sprintf(format, args...)}
	if row >= 0 {
		f.Row = keyParts(c.frame, c.keys, row)
	}
	c.rerun.Findings = append(c.rerun.Findings, f)
}

func (c *consistency) table(root *store.Root, name string) {
	c.file, c.frame = name, nil
	f, err := readOwnTable(root, name)
	if err != nil {
		c.find(-1, "readable", "%v", err)
		return
	}
	c.frame, c.keys = f, keyColumns(f.Table)
	c.twins(root, strings.TrimSuffix(name, ".parquet"))
	if f.Has("in") && f.Has("out") && f.Has("n") {
		c.flow()
		return
	}
	if f.Has("statistic") && f.Has("estimate") {
		c.rows()
		c.groups()
		c.margins()
	}
}

// twins holds the text forms of a table to the table itself.
func (c *consistency) twins(root *store.Root, base string) {
	for _, twin := range []struct {
		ending string
		write  func(*bytes.Buffer) error
	}{
		{".csv", func(b *bytes.Buffer) error { return parquet.WriteCSV(b, c.frame, parquet.CSVOptions{}) }},
		{".md", func(b *bytes.Buffer) error { return writeMarkdown(b, c.frame) }},
	} {
		data, _, err := root.ReadFile(base+twin.ending, nil, maxText)
		if store.IsMissing(err) {
			continue
		}
		c.looked++
		var b bytes.Buffer
		if err == nil {
			err = twin.write(&b)
		}
		if err != nil || !bytes.Equal(b.Bytes(), data) {
			c.find(-1, "twin", "%s does not say what the table says", base+twin.ending)
		}
	}
}

// readOwnTable reads a table as it declares itself.
func readOwnTable(root *store.Root, name string) (f *schema.Frame, err error) {
	err = withFile(root, name, func(file *os.File, size int64) error {
		f, err = parquet.ReadAny(file, size)
		return err
	})
	return f, err
}
