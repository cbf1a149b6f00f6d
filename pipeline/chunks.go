package pipeline

import (
	"context"
	"slices"
	"strings"
	"sync/atomic"

	"golang.org/x/sync/errgroup"

	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// chunkSubjects is how many subjects are worked on before their rows are
// written: it bounds the memory, and the results do not depend on it.
const chunkSubjects = 64

// personTables are the tables that are written chunk by chunk.
type personTables struct {
	recordings, visits, beats, waveforms, estimates, uncertainty, reviews, readings, exclusions *openTable

	rows *chunkRows // of the chunk that is being written
}

func (p *personTables) all() []*openTable {
	return []*openTable{p.recordings, p.visits, p.beats, p.waveforms, p.estimates, p.uncertainty, p.reviews, p.readings, p.exclusions}
}

func (r *run) createPersonTables() (*personTables, error) {
	p := &personTables{rows: newChunkRows(r.study.Carried)}
	slots := []**openTable{&p.recordings, &p.visits, &p.beats, &p.waveforms, &p.estimates, &p.uncertainty, &p.reviews, &p.readings, &p.exclusions}
	for i, table := range personTableSchemas(r.study.Carried) {
		var err error
		if *slots[i], err = createTable(r.results, tablePath(table.Name), table, r.tableMeta); err != nil {
			return p, err
		}
	}
	return p, nil
}

// personTableSchemas declares the tables that are written chunk by chunk, in the
// order of all.
func personTableSchemas(carried []schema.Column) []schema.Table {
	return []schema.Table{schema.RecordingsTable(), schema.SubjectVisitsTable(carried), schema.BeatsTable(), schema.WaveformsTable(), schema.EstimatesTable(),
		schema.UncertaintyTable(), schema.ReviewsTable(), schema.ReadingsTable(), schema.ExclusionsTable()}
}

func tablePath(name string) string { return tablesFolder + name + ".parquet" }

// slot is the place of one subject in its chunk: computed, or taken from what an
// earlier run has sealed.
type slot struct {
	subject  *study.Subject
	computed subjectResult
	kept     *part // nil: computed
	file     string
}

// fill computes a subject, unless it stands sealed, its rows in the tables are
// the same and every file that it was computed from is.
func (w *worker) fill(s *study.Subject, sealed *work) (slot, error) {
	out := slot{subject: s}
	out.kept, out.file = sealed.find(s, func(p *part) bool { return w.stillHold(s, p.Trace) })
	if out.kept == nil {
		out.computed = w.subject(s)
	}
	return out, w.files.fatal
}

// computeRecordings is the one place with concurrency: within a chunk each
// worker writes only the slots it was given, and chunks are written in order
// while the next one is being computed.
func (r *run) computeRecordings(ctx context.Context) (err error) {
	if err := r.putSubjectsAside(); err != nil {
		return err
	}
	tables, err := r.createPersonTables()
	defer func() {
		for _, t := range tables.all() {
			if t != nil {
				t.abandon()
			}
		}
	}()
	if err != nil {
		return err
	}
	if err := tables.exclusions.append(r.left.withoutSubject()); err != nil {
		return err
	}
	group, ctx := errgroup.WithContext(ctx)
	done := make(chan []slot, 1)
	group.Go(func() error { return r.computeChunks(ctx, done) })
	group.Go(func() error {
		for slots := range done {
			if err := r.writeChunk(tables, slots); err != nil {
				return err
			}
		}
		return nil
	})
	if err := group.Wait(); err != nil {
		return err
	}
	for _, t := range tables.all() {
		out, err := t.seal()
		if err != nil {
			return err
		}
		r.manifest.Outputs = append(r.manifest.Outputs, out)
	}
	return nil
}

func (r *run) computeChunks(ctx context.Context, done chan<- []slot) error {
	defer close(done)
	methods, err := studyEstimators(r.study)
	if err != nil {
		return err
	}
	workers := make([]*worker, r.options.Jobs)
	for k := range workers {
		workers[k] = newWorker(r.study.Settings, r.recordings(), methods, r.disguise)
	}
	for next := r.subjects.chunks(&r.aside); ; {
		chunk, err := next()
		if err != nil {
			return err
		}
		if len(chunk) == 0 {
			return nil
		}
		slots := make([]slot, len(chunk))
		group, inner := errgroup.WithContext(ctx)
		var next atomic.Int64
		for _, w := range workers {
			// One goroutine a worker, not one a subject: each costs the waking of a thread.
			group.Go(func() error {
				for i := int(next.Add(1)) - 1; i < len(chunk); i = int(next.Add(1)) - 1 {
					if err := inner.Err(); err != nil {
						return err
					}
					var err error
					if slots[i], err = w.fill(&chunk[i], r.work); err != nil {
						return err
					}
				}
				return nil
			})
		}
		if err := group.Wait(); err != nil {
			return err
		}
		select {
		case done <- slots:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// writeChunk appends the rows of a chunk, counts what became of whom, and seals
// what was computed.
func (r *run) writeChunk(tables *personTables, slots []slot) error {
	rows := tables.rows
	frames := rows.frames()
	for _, f := range frames {
		f.Clear()
	}
	for i := range slots {
		s := &slots[i]
		r.left.add(rows.exclusions, s.subject.ID)
		p := s.kept
		if p != nil {
			if err := readRows(p.rows, frames); err != nil {
				return err
			}
			r.work.take(s.file)
		} else {
			from := rows.marks()
			rows.add(r.study.Settings, r.study.Carried, r.scheme, &s.computed)
			p = r.partOf(&s.computed)
			if err := r.work.keep(s.subject, p, frames, from); err != nil {
				return err
			}
		}
		r.tally.add(p.Counts)
		if err := r.inputs.add(p.Inputs...); err != nil {
			return err
		}
		if err := r.issues.add(p.Issues...); err != nil {
			return err
		}
	}
	for i, t := range tables.all() {
		if err := t.append(frames[i]); err != nil {
			return err
		}
	}
	if err := r.work.seal(); err != nil {
		return err
	}
	if r.options.Progress != nil {
		c := r.tally.counts.Recordings
		r.options.Progress(Progress{Done: c.Found, Failed: c.Failed, Total: r.tally.expected})
	}
	return nil
}

// partOf is what the manifest and the terminal need of a subject, and what a
// later run needs to know that it still holds.
func (r *run) partOf(s *subjectResult) *part {
	p := &part{Trace: s.trace, Counts: countsOf(s)}
	for i := range s.visits {
		for _, rec := range s.visits[i].recordings {
			for k, in := range rec.inputs {
				p.Inputs = append(p.Inputs, r.disguise.input(schema.File(in), rec.row.ID, k))
			}
			for _, issue := range rec.issues {
				issue.SubjectID, issue.VisitID = s.subject.ID, s.visits[i].visit.ID
				p.Issues = append(p.Issues, issue)
			}
		}
	}
	return p
}

// leftOut hands out what the tables' own faults took away, subject by subject,
// so that the exclusions table is in the order of the others.
type leftOut struct {
	bySubject map[string][]study.Exclusion
	orphans   []study.Exclusion // of no subject that is in the study
}

func newLeftOut(s *study.Study) *leftOut {
	l := &leftOut{bySubject: map[string][]study.Exclusion{}}
	for _, e := range s.Exclusions {
		_, known := slices.BinarySearchFunc(s.Subjects, e.SubjectID, func(p study.Subject, id string) int { return strings.Compare(p.ID, id) })
		if known {
			l.bySubject[e.SubjectID] = append(l.bySubject[e.SubjectID], e)
		} else {
			l.orphans = append(l.orphans, e)
		}
	}
	return l
}

func (l *leftOut) withoutSubject() *schema.Frame {
	rows := &chunkRows{exclusions: schema.NewFrame(schema.ExclusionsTable(), len(l.orphans))}
	for _, e := range l.orphans {
		rows.exclude(e.Level, e.SubjectID, e.VisitID, e.RecordingID, e.Stage, e.Reason, e.Issue.String())
	}
	return rows.exclusions
}

func (l *leftOut) add(f *schema.Frame, subjectID string) {
	rows := &chunkRows{exclusions: f}
	for _, e := range l.bySubject[subjectID] {
		rows.exclude(e.Level, e.SubjectID, e.VisitID, e.RecordingID, e.Stage, e.Reason, e.Issue.String())
	}
}
