package pipeline

import (
	"fmt"

	"tonocohort/pipeline/store"
	"tonocohort/pipeline/tabulate"
	"tonocohort/schema"
)

// DifferenceError says that a results folder is not as its manifest says.
type DifferenceError struct {
	Dir         string
	Differences []Difference
}

func (e *DifferenceError) Error() string {
	return fmt.Sprintf("%s: %d differences from its manifest, the first: %s", e.Dir, len(e.Differences), e.Differences[0])
}

// source is a results folder that is read, each table checked against the
// manifest before.
type source struct {
	dir      string
	root     *store.Root
	manifest *schema.Manifest
	read     []schema.File // what has been read, by path within the folder
}

// openSource opens a sealed results folder and checks its manifest.
func openSource(dir string) (*source, error) {
	root, err := openFolder(dir)
	if err != nil {
		return nil, err
	}
	s := &source{dir: dir, root: root}
	var text []byte
	if s.manifest, text, err = readManifestText(root); err == nil {
		var sum string
		if sum, err = contentOf(text); err == nil && sum != s.manifest.Content {
			err = s.differs(differing(ManifestName, "content", s.manifest.Content, sum))
		}
	}
	if err != nil {
		root.Close()
		return nil, fmt.Errorf("%s: %w", dir, err)
	}
	return s, nil
}

func (s *source) differs(d ...Difference) error { return &DifferenceError{s.dir, d} }

func (s *source) identity() schema.Source {
	return schema.Source{Study: s.manifest.Study, Content: s.manifest.Content}
}

// check verifies a file that is about to be read.
func (s *source) check(path string) error {
	for _, out := range s.manifest.Outputs {
		if out.Path != path {
			continue
		}
		if found := verifyOutput(s.root, out); len(found) > 0 {
			return s.differs(found...)
		}
		s.read = append(s.read, out.File)
		return nil
	}
	return fmt.Errorf("%s has no %s: it holds statistics alone, or was made by another version", s.dir, path)
}

// has reports whether the manifest lists a file.
func (s *source) has(path string) bool {
	for _, out := range s.manifest.Outputs {
		if out.Path == path {
			return true
		}
	}
	return false
}

func (s *source) file(path string) ([]byte, error) {
	if err := s.check(path); err != nil {
		return nil, err
	}
	data, _, err := s.root.ReadFile(path, nil, maxPlan)
	return data, err
}

// frame reads a table as it declares itself.
func (s *source) frame(name string) (*schema.Frame, error) {
	path := tablePath(name)
	if err := s.check(path); err != nil {
		return nil, err
	}
	f, err := readOwnTable(s.root, path)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return f, nil
}

// visits reads the person-level table.
func (s *source) visits() (*schema.Frame, error) {
	f, err := s.frame("subject_visits")
	if err != nil {
		return nil, err
	}
	return f, s.hasKeys(f)
}

// lentVisits is visits with columns that are read when they are asked for; done
// closes the table.
func (s *source) lentVisits() (f *schema.Frame, done func(), err error) {
	path := tablePath("subject_visits")
	if err := s.check(path); err != nil {
		return nil, nil, err
	}
	if f, done, err = lendTable(s.root, path, nil, lentMemory); err != nil {
		return nil, nil, err
	}
	if err := s.hasKeys(f); err != nil {
		done()
		return nil, nil, err
	}
	return f, done, nil
}

// hasKeys reports whether the person-level table tells its rows apart.
func (s *source) hasKeys(visits *schema.Frame) error {
	for _, c := range schema.SubjectVisitsTable(nil).Columns {
		if c.Key && !visits.Has(c.Name) {
			return fmt.Errorf("%s: subject_visits has no column %s", s.dir, c.Name)
		}
	}
	return nil
}

// flow reads the stages before the statistics.
func (s *source) flow() (*schema.Frame, error) {
	f, err := s.frame("flow")
	if err != nil {
		return nil, err
	}
	before := schema.NewFrame(schema.FlowTable(), f.N)
	for row := range f.N {
		if f.TextAt(row, "stage") == tabulate.FirstStage {
			break
		}
		before.CopyRow(before.AddRow(), f, row)
	}
	return before, nil
}

// measured opens the tables that tell how good the measurements are, where the
// folder has them all. done closes them.
func (s *source) measured(visits *schema.Frame) (m tabulate.Measured, done func(), err error) {
	m = tabulate.Measured{Visits: visits}
	for _, need := range m.Needs() {
		if !s.has(tablePath(need.Table.Name)) {
			return m, func() {}, nil
		}
	}
	for _, need := range m.Needs() {
		if err := s.check(tablePath(need.Table.Name)); err != nil {
			return m, nil, err
		}
	}
	return lendMeasured(s.root, visits)
}
