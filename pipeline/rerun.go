package pipeline

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"

	"golang.org/x/sync/errgroup"

	"tonocohort/pipeline/store"
	"tonocohort/schema"
)

// What a rerun can start from.
const (
	FromStudy   = "study"   // everything is computed again
	FromTables  = "tables"  // the statistics are, from the person-level tables
	FromRelease = "release" // nothing is: digests, and whether the numbers fit together
)

// RerunOptions says how much is computed again.
type RerunOptions struct {
	Options
	From   string
	Sample float64 // share of the subjects, chosen by their ids; 0: everyone and the statistics
	Limit  int     // differences listed of each table; 0: all
}

// Stage is one part of the results and what a rerun found of it.
type Stage struct {
	Name    string `json:"name"`    // manifest, inputs, settings, recordings, statistics, release, consistency
	Verdict string `json:"verdict"` // same, same bytes, same values, same digits, differs, not recomputed
	Files   int    `json:"files"`
	Note    string `json:"note,omitempty"`
}

// The verdicts that a stage has beside those of a file.
const (
	Same          = "same"
	NotRecomputed = "not recomputed"
)

// Rerun is what came of computing results again.
type Rerun struct {
	From       string       `json:"from"`
	SameBuild  bool         `json:"same_build"`
	Then       string       `json:"then"` // program and architecture of the results
	Now        string       `json:"now"`
	Stages     []Stage      `json:"stages"`
	Inputs     []Difference `json:"inputs"`   // that are not what was read then
	Settings   []Change     `json:"settings"` // that study.yaml gives in this program and did not give then
	Comparison *Comparison  `json:"comparison,omitempty"`
	Findings   []Finding    `json:"findings"` // what does not fit together, of a release
	NotDone    []string     `json:"not_recomputed"`
	SampledOf  [2]int       `json:"sampled_of"` // subjects computed again, of how many
}

// Reproduced reports whether nothing was found to differ.
func (r *Rerun) Reproduced() bool {
	return !slices.ContainsFunc(r.Stages, func(s Stage) bool { return s.Verdict == Differs })
}

func (r *Rerun) add(name, verdict string, files int, note string) {
	r.Stages = append(r.Stages, Stage{name, verdict, files, note})
}

// RerunUsageError says that what was asked for does not go with the folder.
type RerunUsageError struct{ Message string }

func (e *RerunUsageError) Error() string { return e.Message }

// RerunResults computes a results folder again in a temporary place, from what
// o.From names, and compares. What the folder was made from is checked first, by
// digest; where it differs nothing is computed.
func RerunResults(ctx context.Context, resultsDir, studyDir string, o RerunOptions) (*Rerun, error) {
	if o.From == FromRelease {
		return rerunRelease(ctx, resultsDir)
	}
	old, err := openSealed(resultsDir)
	if err != nil {
		return nil, err
	}
	defer old.close()
	o.Options = o.filled()
	build := *o.build
	r := &Rerun{From: o.From, SameBuild: sameBuild(old.manifest.Build, build), Then: buildText(old.manifest.Build), Now: buildText(build),
		Inputs: []Difference{}, Settings: []Change{}, Findings: []Finding{}, NotDone: []string{}}
	if err := r.checkManifest(old); err != nil {
		return nil, err
	}
	if o.From == FromTables {
		return r, r.fromTables(ctx, resultsDir, old, o)
	}
	return r, r.fromStudy(ctx, studyDir, old, o)
}

func buildText(b schema.Build) string {
	return fmt.Sprintf("%s %s, %s, %s", b.Program, b.Version, b.Go, b.Architecture)
}

func (r *Rerun) checkManifest(old *sealedFolder) error {
	m, text, err := readManifestText(old.root)
	if err != nil {
		return err
	}
	digest, err := contentOf(text)
	if err != nil {
		return err
	}
	if digest != m.Content {
		r.add("manifest", Differs, 1, "its content digest is "+digest+", it says "+m.Content)
		return nil
	}
	r.add("manifest", Same, 1, "content "+digest)
	return nil
}

// checkInputs holds the study folder to the digests of the manifest. Where ids
// are hidden the manifest does not name the files of recordings: these are held
// to it when they have been read.
func (r *Rerun) checkInputs(ctx context.Context, studyDir string, m *schema.Manifest, o RerunOptions) error {
	root, err := openFolder(studyDir)
	if err != nil {
		return err
	}
	defer root.Close()
	recordings := filesOf(o.Storage, root)
	hidden := m.Settings.Privacy.IDs != "as_given"
	checked := 0
	var differ sync.Mutex
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(o.Jobs) // a storage takes its time for each file
	for _, in := range m.Inputs {
		files := recordings
		if isStudyTable(m.Settings, in.Path) {
			files = root
		} else if hidden || o.Sample > 0 {
			continue
		}
		checked++
		group.Go(func() error {
			if err := ctx.Err(); err != nil {
				return err
			}
			d, err := files.Hash(in.Path)
			if errors.Is(err, store.ErrUnavailable) {
				return err
			}
			found := d.SHA256
			if err != nil {
				found = err.Error()
			}
			if found != in.SHA256 {
				differ.Lock()
				defer differ.Unlock()
				r.Inputs = append(r.Inputs, differing(in.Path, "sha256", in.SHA256, found))
			}
			return nil
		})
	}
	if err := group.Wait(); err != nil {
		return err
	}
	slices.SortFunc(r.Inputs, func(a, b Difference) int { return cmp.Compare(a.Path, b.Path) })
	if len(r.Inputs) == 0 {
		r.add("inputs", Same, checked, "")
	} else {
		r.otherInputs("inputs", checked, m, o)
	}
	return nil
}

// otherInputs adds a stage for inputs that are not those of the manifest.
func (r *Rerun) otherInputs(stage string, checked int, m *schema.Manifest, o RerunOptions) {
	note := fmt.Sprintf("%d of %d files are not what was read then", len(r.Inputs), checked)
	if hint := elsewhere(m, o.Storage); hint != "" {
		note += "; " + hint
	}
	r.add(stage, Differs, checked, note)
}
