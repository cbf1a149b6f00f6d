package regress

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// chunkRows is how many rows one worker takes at a time. Chunks are bounded by
// row numbers alone and what they give is put together in their order, so that no
// digit depends on how many workers there are.
const chunkRows = 64 * blockRows

func chunkCount(n int) int { return (n + chunkRows - 1) / chunkRows }

// inChunks does the work for every chunk of n rows. worker is called once for
// each goroutine and returns, with memory of its own, what does one chunk: rows
// from … to−1.
func inChunks(n int, worker func() func(chunk, from, to int)) {
	chunks := chunkCount(n)
	var next atomic.Int64
	take := func() {
		do := worker()
		for {
			chunk := int(next.Add(1)) - 1
			if chunk >= chunks {
				return
			}
			do(chunk, chunk*chunkRows, min((chunk+1)*chunkRows, n))
		}
	}
	workers := min(chunks, runtime.GOMAXPROCS(0))
	var group sync.WaitGroup
	for range workers - 1 {
		group.Go(take)
	}
	if workers > 0 {
		take()
	}
	group.Wait()
}

// blocks calls visit for each block of rows from … to−1.
func blocks(from, to int, visit func(from, to int)) {
	for ; from < to; from += blockRows {
		visit(from, min(from+blockRows, to))
	}
}

// sum adds up what part gives for each block of rows.
func (f *Model) sum(part func(from, to int) float64) float64 {
	parts := make([]doubleDouble, chunkCount(f.N))
	inChunks(f.N, func() func(chunk, from, to int) {
		return func(chunk, from, to int) {
			var total doubleDouble
			blocks(from, to, func(from, to int) { total = total.addFloat(part(from, to)) })
			parts[chunk] = total
		}
	})
	var total doubleDouble
	for _, p := range parts {
		total = total.add(p)
	}
	return total.float()
}

// weightedAbout adds up weight·(x − centre) over the rows.
func (f *Model) weightedAbout(x []float64, centre float64) float64 {
	return f.sum(func(from, to int) float64 {
		var part float64
		if f.weights == nil {
			for _, v := range x[from:to] {
				part += v - centre
			}
			return part
		}
		for i := from; i < to; i++ {
			part += float64(f.weights[i] * (x[i] - centre))
		}
		return part
	})
}

// squaresAbout adds up weight·(x − centre)² over the rows.
func (f *Model) squaresAbout(x []float64, centre float64) float64 {
	return f.sum(func(from, to int) float64 {
		var part float64
		if f.weights == nil {
			for _, v := range x[from:to] {
				d := v - centre
				part += float64(d * d)
			}
			return part
		}
		for i := from; i < to; i++ {
			d := x[i] - centre
			part += float64(f.weights[i] * float64(d*d))
		}
		return part
	})
}

// totalWeight is the sum of the weights, or the number of rows.
func (f *Model) totalWeight() float64 {
	if f.weights == nil {
		return float64(f.N)
	}
	return f.sum(func(from, to int) float64 {
		var part float64
		for _, w := range f.weights[from:to] {
			part += w
		}
		return part
	})
}
