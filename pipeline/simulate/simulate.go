// Package simulate writes the demonstration cohort: a study folder of invented
// people, exactly as a real study would lay it out, and beside it what was true.
//
// # The scenario
//
// The Tern Quay survey recruits adults of 20 to 85 years by quotas of sex and
// decade at two centres. Quayside listens to the cuff, writes even numbers and
// records at 256 Hz into csv, plain or compressed; hilltop has an oscillometric
// cuff and records at 128 Hz into WFDB or csv. Some people come back after
// years, many visits have two recordings, some of them by two operators, and two
// readers look at some recordings; the zero of one device creeps. Some people
// drank coffee, crossed their legs or did not rest, and now and then a file is
// missing or broken, a number mistyped, a cell empty. Nobody in it exists.
//
// # The physics
//
// Every person has a circulation of their own: a flow, an aorta that is a tube
// with a three-element windkessel at its end, and an arm that is another. The
// impedance of the aorta is set so that the brachial artery has the person's
// pressure; the cuff misreads that pressure by published amounts, and the
// sensor at the wrist shows the radial wave with an unknown gain and zero. An
// estimator with population values is therefore wrong about every single
// person, as in life. Parameters come from published values where there are
// any; see physiology.go for each source and for what was fitted.
//
// # Repeatable
//
// Every number is drawn from a stream named by the seed, the person and its
// purpose. The same options write the same bytes, whatever the number of
// workers; and a person of a small cohort is the same in a larger one.
package simulate

import (
	"bytes"
	_ "embed"
	"encoding/csv"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"

	"golang.org/x/sync/errgroup"
)

// Options of the demonstration cohort.
type Options struct {
	Subjects int    // people; 0 means 600
	Seed     string // any text; empty means "tern-quay"
	Workers  int    // goroutines that write; 0 means one per processor. Changes no byte
}

//go:embed study.yaml
var settings []byte

// Write writes the study folder studyDir and the file truthPath beside it. The
// study folder must not exist or be empty: an error wrapping fs.ErrExist says
// otherwise. The tables and study.yaml come after the recordings, so that a
// folder whose writing was cut short is not taken for a study.
func Write(studyDir, truthPath string, o Options) error {
	o = o.withDefaults()
	if err := emptyFolder(studyDir); err != nil {
		return err
	}
	targets := publishedNorms()
	people := make([]participant, o.Subjects)
	var group errgroup.Group
	for first := range o.Workers {
		group.Go(func() error {
			w := &worker{seed: o.Seed, targets: targets, solver: newSteady(), pressures: newRenderer(), files: waveWriter{folder: studyDir}}
			for i := first; i < len(people); i += o.Workers {
				var err error
				if people[i], err = w.invent(i); err != nil {
					return fmt.Errorf("simulated participant %d: %w", i+1, err)
				}
			}
			return nil
		})
	}
	if err := group.Wait(); err != nil {
		return err
	}
	return writeTables(studyDir, truthPath, people)
}

func (o Options) withDefaults() Options {
	if o.Subjects == 0 {
		o.Subjects = 600
	}
	if o.Seed == "" {
		o.Seed = "tern-quay"
	}
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	return o
}

func emptyFolder(dir string) error {
	entries, err := os.ReadDir(dir)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if len(entries) > 0 {
		return fmt.Errorf("%s is not empty: %w", dir, os.ErrExist)
	}
	return os.MkdirAll(filepath.Join(dir, "waves"), 0o755)
}

// participant holds the lines of one person in every table.
type participant struct {
	subject, withdrawn         []string
	visits, cuff               [][]string
	recordings, reviews, truth [][]string
}

// worker is what one goroutine needs to invent people.
type worker struct {
	seed      string
	targets   norms
	solver    *steady
	pressures *renderer
	files     waveWriter
}

// invent makes participant number i, from 0, and writes their recordings.
func (w *worker) invent(i int) (participant, error) {
	p := newPerson(w.seed, i, w.targets)
	out := participant{subject: p.row(w.seed)}
	if s := newStream(w.seed, p.id, "consent"); s.chance(0.010) {
		out.withdrawn = []string{p.id, firstDay().AddDate(0, 0, 600+s.IntN(400)).Format("2006-01-02")}
	}
	for _, v := range visitsOf(w.seed, p, w.solver) {
		out.visits = append(out.visits, v.row(w.seed, p))
		out.cuff = append(out.cuff, v.readings(w.seed, p)...)
		s, err := w.record(p, v)
		if err != nil {
			return out, err
		}
		out.recordings = append(out.recordings, s.recordings...)
		out.reviews = append(out.reviews, s.reviews...)
		out.truth = append(out.truth, s.truth...)
	}
	return out, nil
}

// writeTables joins the lines of all people in the order of their numbers.
func writeTables(studyDir, truthPath string, people []participant) error {
	var subjects, withdrawn, visits, cuff, recordings, reviews, truth [][]string
	for _, p := range people {
		subjects = append(subjects, p.subject)
		if p.withdrawn != nil {
			withdrawn = append(withdrawn, p.withdrawn)
		}
		visits = append(visits, p.visits...)
		cuff = append(cuff, p.cuff...)
		recordings = append(recordings, p.recordings...)
		reviews = append(reviews, p.reviews...)
		truth = append(truth, p.truth...)
	}
	tables := []struct {
		path   string
		header []string
		rows   [][]string
	}{
		{truthPath, truthHeader(), truth},
		{filepath.Join(studyDir, "subjects.csv"), subjectsHeader(), subjects},
		{filepath.Join(studyDir, "visits.csv"), visitsHeader(), visits},
		{filepath.Join(studyDir, "cuff.csv"), cuffHeader(), cuff},
		{filepath.Join(studyDir, "recordings.csv"), recordingsHeader(), recordings},
		{filepath.Join(studyDir, "reviews.csv"), reviewsHeader(), reviews},
		{filepath.Join(studyDir, "withdrawn.csv"), []string{"subject_id", "on"}, withdrawn},
	}
	for _, t := range tables {
		var text bytes.Buffer
		w := csv.NewWriter(&text)
		if err := w.WriteAll(append([][]string{t.header}, t.rows...)); err != nil {
			return err
		}
		if err := os.WriteFile(t.path, text.Bytes(), 0o644); err != nil {
			return err
		}
	}
	return os.WriteFile(filepath.Join(studyDir, "study.yaml"), settings, 0o644)
}
