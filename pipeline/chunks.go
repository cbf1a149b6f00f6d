package pipeline

import (
	"context"

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
}

func (p *personTables) all() []*openTable {
	return []*openTable{p.recordings, p.visits, p.beats, p.waveforms, p.estimates, p.uncertainty, p.reviews, p.readings, p.exclusions}
}

func (r *run) createPersonTables() (*personTables, error) {
	p := &personTables{}
	for _, t := range []struct {
		slot  **openTable
		table schema.Table
	}{
		{&p.recordings, schema.RecordingsTable()},
		{&p.visits, schema.SubjectVisitsTable(r.study.Carried)},
		{&p.beats, schema.BeatsTable()},
		{&p.waveforms, schema.WaveformsTable()},
		{&p.estimates, schema.EstimatesTable()},
		{&p.uncertainty, schema.UncertaintyTable()},
		{&p.reviews, schema.ReviewsTable()},
		{&p.readings, schema.ReadingsTable()},
		{&p.exclusions, schema.ExclusionsTable()},
	} {
		var err error
		if *t.slot, err = createTable(r.results, tablePath(t.table.Name), t.table, r.tableMeta); err != nil {
			return p, err
		}
	}
	return p, nil
}

func tablePath(name string) string { return tablesFolder + name + ".parquet" }

// computeRecordings is the one place with concurrency: within a chunk each
// worker writes only the slots it was given, and chunks are written in order
// while the next one is being computed.
func (r *run) computeRecordings(ctx context.Context) (err error) {
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
	left := newLeftOut(r.study)
	if err := tables.exclusions.append(left.withoutSubject()); err != nil {
		return err
	}
	group, ctx := errgroup.WithContext(ctx)
	done := make(chan []subjectResult, 1)
	group.Go(func() error { return r.computeChunks(ctx, done) })
	group.Go(func() error {
		for slots := range done {
			if err := r.writeChunk(tables, left, slots); err != nil {
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

func (r *run) computeChunks(ctx context.Context, done chan<- []subjectResult) error {
	defer close(done)
	methods, err := studyEstimators(r.study)
	if err != nil {
		return err
	}
	workers := make(chan *worker, r.options.Jobs)
	for range r.options.Jobs {
		workers <- newWorker(r.study.Settings, r.layout, r.files, methods, r.disguise)
	}
	subjects := r.study.Subjects
	for start := 0; start < len(subjects); start += chunkSubjects {
		chunk := subjects[start:min(start+chunkSubjects, len(subjects))]
		slots := make([]subjectResult, len(chunk))
		group, inner := errgroup.WithContext(ctx)
		group.SetLimit(r.options.Jobs)
		for i := range chunk {
			group.Go(func() error {
				if err := inner.Err(); err != nil {
					return err
				}
				w := <-workers
				defer func() { workers <- w }()
				slots[i] = w.subject(&chunk[i])
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
	return nil
}

// writeChunk appends the rows of a chunk and counts what became of whom.
func (r *run) writeChunk(tables *personTables, left *leftOut, slots []subjectResult) error {
	rows := newChunkRows(r.study.Carried)
	for i := range slots {
		s := &slots[i]
		left.add(rows.exclusions, s.subject.ID)
		rows.add(r.study.Settings, r.layout, r.study.Carried, r.scheme, s)
		r.tally.add(s)
		r.collect(s)
	}
	for _, t := range []struct {
		table *openTable
		rows  *schema.Frame
	}{
		{tables.recordings, rows.recordings}, {tables.visits, rows.visits}, {tables.beats, rows.beats},
		{tables.waveforms, rows.waveforms}, {tables.estimates, rows.estimates}, {tables.uncertainty, rows.uncertainty},
		{tables.reviews, rows.reviews}, {tables.readings, rows.readings}, {tables.exclusions, rows.exclusions},
	} {
		if err := t.table.append(t.rows); err != nil {
			return err
		}
	}
	if r.options.Progress != nil {
		c := r.tally.counts.Recordings
		r.options.Progress(Progress{Done: c.Found, Failed: c.Failed, Total: r.tally.expected})
	}
	return nil
}

// collect takes over what the manifest and the terminal need of a subject.
func (r *run) collect(s *subjectResult) {
	for i := range s.visits {
		for _, rec := range s.visits[i].recordings {
			for k, in := range rec.inputs {
				r.manifest.Inputs = append(r.manifest.Inputs, r.disguise.input(schema.File(in), rec.row.ID, k))
			}
			for _, issue := range rec.issues {
				issue.SubjectID, issue.VisitID = s.subject.ID, s.visits[i].visit.ID
				r.issues = append(r.issues, issue)
			}
		}
	}
}

// leftOut hands out what the tables' own faults took away, subject by subject,
// so that the exclusions table is in the order of the others.
type leftOut struct {
	bySubject map[string][]study.Exclusion
	orphans   []study.Exclusion // of no subject that is in the study
}

func newLeftOut(s *study.Study) *leftOut {
	l := &leftOut{bySubject: map[string][]study.Exclusion{}}
	known := make(map[string]bool, len(s.Subjects))
	for i := range s.Subjects {
		known[s.Subjects[i].ID] = true
	}
	for _, e := range s.Exclusions {
		if known[e.SubjectID] {
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
