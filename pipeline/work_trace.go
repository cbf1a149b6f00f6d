package pipeline

import (
	"errors"
	"slices"
	"syscall"
	"time"

	"tonocohort/pipeline/store"
	"tonocohort/pipeline/study"
)

// tracedFiles gives the files of the study to one worker and notes what was
// read of each: the digest of its bytes, or why there were none. What a
// recording was computed from is that, whatever its reader looks at.
type tracedFiles struct {
	files Files
	log   []string
	fatal error               // what no recording is to blame for
	wait  func(time.Duration) // time.Sleep
}

// unsettled stands for a reading that need not come out the same again.
const unsettled = "?"

// ReadFile reads as store.Root does. What a mount that comes and goes refuses is
// asked for again; what the machine is short of ends the run, since otherwise it
// would be laid at the door of the recording.
func (t *tracedFiles) ReadFile(name string, buf []byte, limit int64) (data []byte, digest string, err error) {
	for _, pause := range []time.Duration{100 * time.Millisecond, time.Second, 0} {
		data, digest, err = t.files.ReadFile(name, buf, limit)
		if err == nil || pause == 0 || !passing(err) {
			break
		}
		t.wait(pause)
	}
	if exhausted(err) {
		t.fatal = err
	}
	t.log = append(t.log, traceOf(digest, err))
	return data, digest, err
}

// Names lists a folder; what is read because of it is noted when it is read.
func (t *tracedFiles) Names(dir string) ([]string, error) {
	names, err := t.files.Names(dir)
	if exhausted(err) {
		t.fatal = err
	}
	return names, err
}

func passing(err error) bool {
	return isAny(err, syscall.EIO, syscall.ESTALE, syscall.ETIMEDOUT, syscall.EAGAIN, syscall.EINTR, syscall.ENOTCONN, syscall.EHOSTDOWN)
}

func exhausted(err error) bool {
	return errors.Is(err, store.ErrUnavailable) || isAny(err, syscall.EMFILE, syscall.ENFILE, syscall.ENOMEM)
}

func isAny(err error, numbers ...syscall.Errno) bool {
	return slices.ContainsFunc(numbers, func(n syscall.Errno) bool { return errors.Is(err, n) })
}

// traceOf is what is noted of a reading. An error is noted by its code where it
// stands as long as the folder does.
func traceOf(digest string, err error) string {
	if err == nil {
		return digest
	}
	var e *store.Error
	if errors.As(err, &e) && slices.Contains([]string{store.CodeMissing, store.CodeNotRegular, store.CodePathLeaves, store.CodePathForm, store.CodePathEmpty}, e.Code) {
		return "!" + e.Code
	}
	return unsettled
}

// take returns what was noted since the last call.
func (t *tracedFiles) take() []string {
	log := slices.Clone(t.log)
	t.log = t.log[:0]
	return log
}

// unchanged reports whether a recording would be read as it was when the trace
// was taken. One file is hashed; where side files come into it, the reader itself
// is asked.
func (w *worker) unchanged(row *study.Recording, trace []string) bool {
	if len(trace) == 0 || slices.Contains(trace, unsettled) {
		return false
	}
	if row.Format != "wfdb" && row.Format != "bids" && len(trace) == 1 {
		d, err := w.files.files.Hash(row.File)
		if exhausted(err) {
			w.files.fatal = err
		}
		return traceOf(d.SHA256, err) == trace[0]
	}
	w.files.take()
	// Whether it can be read is not asked, only what from.
	_, _ = w.read(requestFor(row))
	return slices.Equal(w.files.take(), trace)
}

// traces are the traces of the recordings of a subject that were read, in order.
type traces [][]string

// stillHold reports whether every recording of a subject would be read as before.
func (w *worker) stillHold(s *study.Subject, t traces) bool {
	next := 0
	for i := range s.Visits {
		for k := range s.Visits[i].Recordings {
			row := &s.Visits[i].Recordings[k]
			if row.Fault != "" {
				continue
			}
			if next == len(t) || !w.unchanged(row, t[next]) {
				return false
			}
			next++
		}
	}
	return next == len(t)
}
