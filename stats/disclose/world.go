package disclose

// world is a set of counts that agrees with everything published.
type world struct {
	sign   int // 1: the hidden count is to rise; −1: to fall
	atoms  []int
	totals []int
	gain   int
}

func (s *search) newWorld(sign int) *world {
	return &world{sign: sign, atoms: make([]int, len(s.table.Atoms)), totals: make([]int, len(s.table.Domains))}
}

func (w *world) changes() []Change {
	var list []Change
	for a, by := range w.atoms {
		if by != 0 {
			list = append(list, Change{a, by})
		}
	}
	return list
}
