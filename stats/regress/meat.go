package regress

// heteroscedasticMeat returns Σ e²·q·qᵀ over the rows q of the orthonormal
// factor, with e adjusted as kind says, and the rows of leverage one.
func (f *Model) heteroscedasticMeat(kind string) (meat [][]float64, ones []int) {
	found := make([][]int, chunkCount(f.N))
	known := f.leverageMemory() // in passing: who asks for HC3 often asks for leverages, too
	meat = f.weightedProducts(func(chunk, from int, leverage, e []float64) {
		for i, h := range leverage {
			known[from+i] = min(h, 1)
			r := f.working[from+i]
			square := float64(r * r)
			if f.weights != nil {
				square = float64(square * f.weights[from+i])
			}
			if h > leverageOne {
				found[chunk] = append(found[chunk], from+i)
				if kind == HC2 || kind == HC3 {
					square = 0
				}
			} else if kind == HC2 {
				square /= 1 - h
			} else if kind == HC3 {
				square /= float64((1 - h) * (1 - h))
			}
			e[i] = square
		}
	})
	f.leverages = known
	for _, rows := range found {
		ones = append(ones, rows...)
	}
	if kind == HC1 {
		scale(meat, float64(f.N)/float64(f.DF))
	}
	return meat, ones
}

// weightedProducts returns Σ e·q·qᵀ over the rows q of the orthonormal factor;
// weigh fills in e for the rows from… of a block, whose leverages it is given.
func (f *Model) weightedProducts(weigh func(chunk, from int, leverage, e []float64)) [][]float64 {
	parts := make([][][]float64, chunkCount(f.N))
	f.eachBlock(func() func(chunk, from int, q [][]float64, leverage []float64) {
		weights, scratch := make([]float64, blockRows), make([]float64, blockRows)
		return func(chunk, from int, q [][]float64, leverage []float64) {
			if parts[chunk] == nil {
				parts[chunk] = newSquare(f.Rank)
			}
			e := weights[:len(leverage)]
			weigh(chunk, from, leverage, e)
			addWeightedProducts(parts[chunk], q, e, scratch)
		}
	})
	total := parts[0]
	for _, part := range parts[1:] {
		for i := range total {
			axpy(1, part[i], total[i])
		}
	}
	return total
}

// addWeightedProducts adds Σ e·q·qᵀ over the rows of a block to meat.
func addWeightedProducts(meat, q [][]float64, e, scratch []float64) {
	scaled := scratch[:len(e)]
	for a := range q {
		for i, v := range q[a] {
			scaled[i] = float64(v * e[i])
		}
		for b := range a + 1 {
			s := dot(scaled, q[b])
			meat[a][b] += s
			if a != b {
				meat[b][a] += s
			}
		}
	}
}

// eachBlock visits the rows of the orthonormal factor block by block with their
// leverages; the slices are reused between visits. worker is called once for each
// goroutine and returns the visitor of its blocks.
func (f *Model) eachBlock(worker func() func(chunk, from int, q [][]float64, leverage []float64)) {
	inChunks(f.N, func() func(chunk, from, to int) {
		visit, orthonormal := worker(), f.orthonormal()
		return func(chunk, from, to int) {
			blocks(from, to, func(from, to int) {
				q, leverage := orthonormal(from, to)
				visit(chunk, from, q, leverage)
			})
		}
	})
}

// orthonormal returns what computes a block of rows of the orthonormal factor and
// their leverages, in memory that it uses again.
func (f *Model) orthonormal() func(from, to int) (q [][]float64, leverage []float64) {
	block, work := newBlock(f.Rank, blockRows), newBlock(f.Rank, blockRows)
	room, r := make([]float64, blockRows), f.design.reader()
	return func(from, to int) (q [][]float64, leverage []float64) {
		leverage = room[:to-from]
		clear(leverage)
		if f.Rank > 0 {
			q = f.inverse.product(f.load(r, block, f.active, f.scales, from, to), work)
		}
		for _, column := range q {
			for i, v := range column {
				leverage[i] += float64(v * v)
			}
		}
		return q, leverage
	}
}

// Leverages returns the diagonal of the hat matrix: how much each outcome
// counts in its own fitted value, from 0 to 1. They are the fit's own.
func (f *Model) Leverages() []float64 {
	if f.leverages != nil {
		return f.leverages
	}
	h := f.leverageMemory()
	f.eachBlock(func() func(chunk, from int, q [][]float64, leverage []float64) {
		return func(_, from int, _ [][]float64, leverage []float64) {
			for i, v := range leverage {
				h[from+i] = min(v, 1)
			}
		}
	})
	f.leverages = h
	return h
}
