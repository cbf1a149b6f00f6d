package pipeline

import (
	"encoding/gob"
	"errors"
	"io"
	"runtime"
	"slices"

	"tonocohort/pipeline/study"
)

// subjectsAside are the subjects of a study while its recordings are computed, for
// which a chunk of them is needed at a time: held in memory, a study would cost more
// than everything that is done with it.
type subjectsAside struct {
	n  int
	at stretch
}

// putSubjectsAside takes the subjects out of the study.
func (r *run) putSubjectsAside() (err error) {
	subjects := r.study.Subjects
	r.study.Subjects = nil
	r.subjects.n = len(subjects)
	r.subjects.at, err = r.aside.put(func(e *gob.Encoder) error {
		for chunk := range slices.Chunk(subjects, chunkSubjects) {
			if err := e.Encode(chunk); err != nil {
				return err
			}
		}
		return nil
	})
	// Else the collector, which goes by what it has found last time, would wait until
	// more is used than the tables took.
	runtime.GC()
	return err
}

// chunks returns a function that returns one chunk of subjects after the other, and
// none behind the last.
func (s *subjectsAside) chunks(a *aside) func() ([]study.Subject, error) {
	decoder := a.get(s.at)
	return func() ([]study.Subject, error) {
		var chunk []study.Subject
		err := decoder.Decode(&chunk)
		if errors.Is(err, io.EOF) {
			return nil, nil
		}
		return chunk, err
	}
}
