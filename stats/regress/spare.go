package regress

import (
	"sync"
	"weak"
)

// spare is one piece of memory that is handed on from use to use, as long as the
// collector has not come by. A sync.Pool keeps one for each processor: twice as much.
type spare[T any] struct {
	mu     sync.Mutex
	memory weak.Pointer[T]
}

// take returns the memory that was given last, else new memory.
func (s *spare[T]) take() *T {
	s.mu.Lock()
	defer s.mu.Unlock()
	memory := s.memory.Value()
	s.memory = weak.Pointer[T]{}
	if memory == nil {
		memory = new(T)
	}
	return memory
}

// give hands memory on; who gives it does not use it any more.
func (s *spare[T]) give(memory *T) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.memory = weak.Make(memory)
}
