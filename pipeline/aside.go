package pipeline

import (
	"bufio"
	"container/heap"
	"encoding/gob"
	"errors"
	"io"
	"slices"

	"tonocohort/pipeline/store"
)

// aside is where a run puts what it has as much of as recordings and needs later,
// so that its memory does not grow with the study: a file on the disk of the
// results folder that is made when it is first needed. Its zero value with a folder
// is ready.
type aside struct {
	dir     string
	scratch *store.Scratch
}

// stretch is a part of the file, written at one go.
type stretch struct{ from, bytes int64 }

// put writes a stretch by way of an encoder of its own.
func (a *aside) put(encode func(*gob.Encoder) error) (stretch, error) {
	if a.scratch == nil {
		var err error
		if a.scratch, err = store.NewScratch(a.dir); err != nil {
			return stretch{}, err
		}
	}
	from := a.scratch.Len()
	buffer := bufio.NewWriterSize(a.scratch, 1<<16)
	if err := encode(gob.NewEncoder(buffer)); err != nil {
		return stretch{}, err
	}
	err := buffer.Flush()
	return stretch{from, a.scratch.Len() - from}, err
}

// get reads a stretch.
func (a *aside) get(s stretch) *gob.Decoder {
	return gob.NewDecoder(bufio.NewReaderSize(io.NewSectionReader(a.scratch, s.from, s.bytes), 1<<14))
}

func (a *aside) close() {
	if a.scratch != nil {
		a.scratch.Close()
		a.scratch = nil
	}
}

// sorted holds things until all of them are there and hands them out in order, those
// that compare equal in the order in which they came. Some thousands stand in
// memory, the others aside in sorted runs.
type sorted[T any] struct {
	aside   *aside
	compare func(a, b T) int
	recent  []T // not yet in a run
	runs    []stretch
	n       int
}

// mostRecent bounds what stands in memory.
const mostRecent = 1 << 12

func (s *sorted[T]) add(things ...T) error {
	for len(things) > 0 {
		room := min(mostRecent-len(s.recent), len(things))
		s.recent = append(s.recent, things[:room]...)
		s.n += room
		things = things[room:]
		if len(s.recent) == mostRecent {
			if err := s.putRun(); err != nil {
				return err
			}
		}
	}
	return nil
}

func (s *sorted[T]) putRun() error {
	slices.SortStableFunc(s.recent, s.compare)
	run, err := s.aside.put(func(e *gob.Encoder) error {
		for i := range s.recent {
			if err := e.Encode(&s.recent[i]); err != nil {
				return err
			}
		}
		return nil
	})
	clear(s.recent)
	s.recent = s.recent[:0]
	s.runs = append(s.runs, run)
	return err
}

// each visits all in order; it may be called again, and more may be added then.
func (s *sorted[T]) each(visit func(T) error) error {
	slices.SortStableFunc(s.recent, s.compare)
	queue := &runQueue[T]{compare: s.compare}
	for i, run := range s.runs {
		decoder := s.aside.get(run)
		queue.heads = append(queue.heads, &runHead[T]{place: i, next: func(into *T) error { return decoder.Decode(into) }})
	}
	recent := s.recent
	queue.heads = append(queue.heads, &runHead[T]{place: len(s.runs), next: func(into *T) error {
		if len(recent) == 0 {
			return io.EOF
		}
		*into, recent = recent[0], recent[1:]
		return nil
	}})
	return queue.each(visit)
}

// all returns all in order, in memory.
func (s *sorted[T]) all() ([]T, error) {
	list := make([]T, 0, s.n)
	err := s.each(func(v T) error {
		list = append(list, v)
		return nil
	})
	return list, err
}

// runHead is the first of a run that has not been handed out.
type runHead[T any] struct {
	first T
	place int // of the run among all: the earlier goes first
	next  func(into *T) error
}

// move goes to the next of the run; false behind the last.
func (h *runHead[T]) move() (bool, error) {
	var next T // a field that is zero is not written, and would stay
	err := h.next(&next)
	h.first = next
	if errors.Is(err, io.EOF) {
		return false, nil
	}
	return err == nil, err
}

// runQueue merges runs: a heap whose root has what comes next.
type runQueue[T any] struct {
	compare func(a, b T) int
	heads   []*runHead[T]
}

func (q *runQueue[T]) Len() int      { return len(q.heads) }
func (q *runQueue[T]) Swap(i, j int) { q.heads[i], q.heads[j] = q.heads[j], q.heads[i] }
func (q *runQueue[T]) Less(i, j int) bool {
	a, b := q.heads[i], q.heads[j]
	by := q.compare(a.first, b.first)
	return by < 0 || by == 0 && a.place < b.place
}
func (q *runQueue[T]) Push(any) {} // heads are only taken out
func (q *runQueue[T]) Pop() any {
	last := q.heads[len(q.heads)-1]
	q.heads = q.heads[:len(q.heads)-1]
	return last
}

func (q *runQueue[T]) each(visit func(T) error) error {
	all := q.heads
	q.heads = nil
	for _, h := range all {
		more, err := h.move()
		if err != nil {
			return err
		}
		if more {
			q.heads = append(q.heads, h)
		}
	}
	heap.Init(q)
	for len(q.heads) > 0 {
		h := q.heads[0]
		if err := visit(h.first); err != nil {
			return err
		}
		more, err := h.move()
		switch {
		case err != nil:
			return err
		case more:
			heap.Fix(q, 0)
		default:
			heap.Pop(q)
		}
	}
	return nil
}
