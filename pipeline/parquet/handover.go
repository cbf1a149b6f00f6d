package parquet

import (
	"sync"

	pq "github.com/apache/arrow/go/v17/parquet"
)

// handover is the room that the columns of a row group need in turn to be handed to
// the library. No writer has one of its own: a run has many open, which write one
// after the other. It goes back when the last column is closed, since until then the
// library's statistics point into it.
type handover struct {
	def, rep []int16
	samples  []float32
	plain    []pq.ByteArray
	texts    textDictionary
}

var handovers = sync.Pool{New: func() any { return &handover{texts: textDictionary{numbers: map[string]int32{}}} }}
