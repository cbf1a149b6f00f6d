package pipeline

import (
	"cmp"
	"context"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"tonocohort/pipeline/store"
	"tonocohort/pipeline/study"
)

// Preview says what a run would do, and why, before it does it.
type Preview struct {
	Subjects   int             `json:"subjects"`
	Recordings int             `json:"recordings"`
	Sealed     bool            `json:"sealed"`  // the results folder holds a finished run
	Kept       int             `json:"kept"`    // subjects that an earlier run computed and that still hold
	Reasons    []PreviewReason `json:"reasons"` // why the others are computed, most frequent first
	Changes    []Change        `json:"changes"` // settings, build and key that every kept subject rests on, old → new
}

// PreviewReason is one reason to compute subjects; Examples names some.
type PreviewReason struct {
	Reason     string   `json:"reason"`
	Subjects   int      `json:"subjects"`
	Recordings int      `json:"recordings"`
	Examples   []string `json:"examples"`
}

// The reasons to compute a subject.
const (
	NeverDone    = "not computed yet"
	OtherBasis   = "a setting that reaches every recording, the program or the key has changed"
	OtherRows    = "what the tables say of the subject has changed"
	OtherInput   = "a file has changed"
	DamagedWork  = "what was kept is damaged"
	mostExamples = 5
)

// PreviewRun reads the study and looks at every file that kept results rest on;
// it computes and writes nothing.
func PreviewRun(ctx context.Context, studyDir, outDir string, o Options) (*Preview, error) {
	r := &run{output: output{dir: outDir}, options: o.filled(), studyDir: studyDir, tally: newTally()}
	defer r.close()
	if err := r.readStudy(ctx); err != nil {
		return nil, err
	}
	r.fillManifest()
	p := &Preview{Subjects: len(r.study.Subjects), Recordings: r.tally.expected, Reasons: []PreviewReason{}, Changes: []Change{}}
	root, err := store.OpenRoot(outDir)
	if store.IsMissing(err) {
		p.count(r.study.Subjects, func(*study.Subject) string { return NeverDone })
		return p, nil
	}
	if err != nil {
		return nil, err
	}
	defer root.Close()
	p.Sealed = root.Exists(ManifestName)
	v := &previewer{run: r, root: root, kept: map[string][]keptPart{}}
	if err := v.look(p); err != nil {
		return nil, err
	}
	methods, err := studyEstimators(r.study)
	if err != nil {
		return nil, err
	}
	v.worker = newWorker(r.study.Settings, r.recordings(), methods, r.disguise)
	p.count(r.study.Subjects, func(s *study.Subject) string {
		if err == nil {
			err = cmp.Or(ctx.Err(), v.worker.files.fatal)
		}
		if err != nil {
			return NeverDone
		}
		return v.reason(s)
	})
	return p, err
}

// keptPart is a part of a subject in the work folder, of whatever basis.
type keptPart struct {
	place
	basis string
}

type previewer struct {
	*run
	root   *store.Root
	worker *worker
	basis  string // of the run that is looked ahead to
	kept   map[string][]keptPart
}

// look finds what is kept, and what sets the basis of the newest apart.
func (v *previewer) look(p *Preview) error {
	now, err := v.run.basis()
	if err != nil {
		return err
	}
	digest, err := now.sum()
	if err != nil {
		return err
	}
	v.basis = hex.EncodeToString(digest[:])
	others := map[string]basis{}
	err = eachIndex(v.root, func(file string, index *sealedIndex) error {
		if index.Sum != v.basis {
			others[index.Sum] = index.Basis
		}
		for _, e := range index.Parts {
			if at, ok := e.place(file); ok {
				v.kept[e.Subject] = append(v.kept[e.Subject], keptPart{at, index.Sum})
			}
		}
		return nil
	})
	if err != nil || len(others) != 1 {
		return err // with several, none of them is the one before
	}
	for _, before := range others {
		p.Changes, err = changes(before, now)
	}
	return err
}

// reason says why a subject is computed; "" where it is not.
func (v *previewer) reason(s *study.Subject) string {
	reason, key := NeverDone, subjectKey(s)
	// The nearer a part comes to serving, the more its failing tells.
	nearer := func(why string, than ...string) {
		if slices.Contains(than, reason) {
			reason = why
		}
	}
	for _, k := range v.kept[s.ID] {
		switch {
		case k.basis != v.basis:
			nearer(OtherBasis, NeverDone)
			continue
		case k.key != key:
			nearer(OtherRows, NeverDone, OtherBasis)
			continue
		}
		p, err := readPart(v.root, k.place)
		switch {
		case err != nil:
			nearer(DamagedWork, NeverDone, OtherBasis, OtherRows)
		case v.worker.stillHold(s, p.Trace):
			return ""
		default:
			reason = OtherInput
		}
	}
	return reason
}

// count sorts the subjects by the reason why they are computed.
func (p *Preview) count(subjects []study.Subject, why func(*study.Subject) string) {
	at := map[string]int{}
	for i := range subjects {
		s := &subjects[i]
		reason := why(s)
		if reason == "" {
			p.Kept++
			continue
		}
		k, ok := at[reason]
		if !ok {
			k = len(p.Reasons)
			at[reason] = k
			p.Reasons = append(p.Reasons, PreviewReason{Reason: reason})
		}
		r := &p.Reasons[k]
		r.Subjects++
		for j := range s.Visits {
			r.Recordings += len(s.Visits[j].Recordings)
		}
		if len(r.Examples) < mostExamples {
			r.Examples = append(r.Examples, s.ID)
		}
	}
	slices.SortStableFunc(p.Reasons, func(a, b PreviewReason) int { return cmp.Compare(b.Subjects, a.Subjects) })
}

// Lines is the preview for a person.
func (p *Preview) Lines() []string {
	lines := []string{fmt.Sprintf("study: %d subjects, %d recordings", p.Subjects, p.Recordings)}
	if p.Sealed {
		lines = append(lines, "the results folder holds a finished run: --replace writes over it")
	}
	lines = append(lines, fmt.Sprintf("kept: %d subjects were computed by an earlier run and still hold", p.Kept))
	for _, r := range p.Reasons {
		lines = append(lines, fmt.Sprintf("to compute: %d subjects, %d recordings: %s (%s)", r.Subjects, r.Recordings, r.Reason, examples(r)))
	}
	for _, c := range p.Changes {
		lines = append(lines, "  "+c.String())
	}
	return append(lines, "statistics and release: always made from the tables anew")
}

func examples(r PreviewReason) string {
	text := strings.Join(r.Examples, ", ")
	if r.Subjects > len(r.Examples) {
		text += ", …"
	}
	return text
}
