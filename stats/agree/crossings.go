package agree

import (
	"cmp"
	"math"
	"slices"
)

// A pair of points has a slope below a level if the point further right has the
// smaller rest y − level·x. So the slopes below a level are the inversions of the
// rests in the order of x, which merging counts in n log n steps, and those between
// two levels are the pairs that change places between the rests of one and of the
// other. No pair beyond those is looked at.
//
// A slope is what division of the rounded differences gives, and that is to decide.
// Two rests that are further apart than the errors of them all are on the side on
// which the slope is; for the others the slope is asked.

// points are sorted by x and y.
type points struct {
	x, y []float64
	was  []int      // by place: where the point stood
	most [2]float64 // the largest x and y, without sign
}

func newPoints(x, y []float64) *points {
	p := &points{x: make([]float64, len(x)), y: make([]float64, len(x)), was: make([]int, len(x))}
	for i := range x {
		p.was[i] = i
	}
	slices.SortFunc(p.was, func(a, b int) int { return cmp.Or(cmp.Compare(x[a], x[b]), cmp.Compare(y[a], y[b])) })
	for k, i := range p.was {
		p.x[k], p.y[k] = x[i], y[i]
		p.most[0], p.most[1] = max(p.most[0], math.Abs(x[i])), max(p.most[1], math.Abs(y[i]))
	}
	return p
}

// slope is that of two points, by their places; as slopesWithin has it, down to the
// sign of a zero.
func (p *points) slope(a, b int) float64 {
	if p.was[a] > p.was[b] {
		a, b = b, a
	}
	return (p.y[a] - p.y[b]) / (p.x[a] - p.x[b])
}

// rest is that of a point, which stands at a place.
type rest struct {
	of float64
	at int32
}

// rests are those for a level, in the order of the points.
func (p *points) rests(level float64) []rest {
	list := make([]rest, len(p.x))
	for k, x := range p.x {
		list[k] = rest{p.y[k] - float64(level*x), int32(k)}
	}
	return list
}

// doubt is how far apart two rests must be to tell on which side of the level the slope
// is: thrice what rounding may do to rests, differences and quotient together, ten
// units of 2⁻⁵³ of the largest terms. It is NaN where they come near the ends of the
// range of numbers, where that does not hold.
func (p *points) doubt(level float64) float64 {
	const tiny, huge = 0x1p-900, 0x1p900
	size := p.most[1] + math.Abs(level)*p.most[0]
	if !(size > tiny && size < huge && math.Abs(level) > tiny) {
		return math.NaN()
	}
	return 0x1p-48 * size
}

// same reports two points that are one, of which no slope is asked.
func (p *points) same(a, b int32) bool { return p.x[a] == p.x[b] && p.y[a] == p.y[b] }

// clear reports that sorted rests leave no doubt about any pair.
func (p *points) clear(sorted []rest, doubt float64) bool {
	for k := 1; k < len(sorted); k++ {
		if a, b := sorted[k-1], sorted[k]; !(b.of-a.of > doubt) && !p.same(a.at, b.at) {
			return false
		}
	}
	return true
}

// inversions counts the pairs of which the second rest is the smaller one, and sorts
// the rests.
func inversions(list, spare []rest) int {
	if len(list) < 2 {
		return 0
	}
	half := len(list) / 2
	n := inversions(list[:half], spare) + inversions(list[half:], spare)
	left, right := spare[:copy(spare, list[:half])], list[half:]
	k := 0
	for len(left) > 0 && len(right) > 0 {
		if right[0].of < left[0].of {
			list[k], right = right[0], right[1:]
			n += len(left)
		} else {
			list[k], left = left[0], left[1:]
		}
		k++
	}
	copy(list[k:], left)
	return n
}

// crossings is slopesWithin, without looking at the slopes that lie outside; ok is
// false where some pairs are too near a bound to tell.
func crossings(x, y []float64, low, high float64, room int) (s slopes, ok bool) {
	p := newPoints(x, y)
	n := len(x)
	if math.IsNaN(p.doubt(low) + p.doubt(high) + p.doubt(-1)) {
		return s, false
	}
	lows, spare := p.rests(low), make([]rest, n)
	below := inversions(lows, spare)
	if !p.clear(lows, p.doubt(low)) {
		return s, false
	}
	offset, minusOne := p.belowMinusOne(spare)
	downwards, equal := p.upright()
	s = slopes{count: n*(n-1)/2 - minusOne - equal, offset: offset + downwards, below: below + downwards}
	if low > -1 {
		s.below -= minusOne
	}
	highs := spare
	for k, r := range lows {
		highs[k] = rest{p.y[r.at] - float64(high*p.x[r.at]), r.at}
	}
	s.near = p.between(highs, make([]float64, 0, room))
	return s, p.clear(highs, p.doubt(high))
}

// between sorts rests for the upper level, which come in the order of the lower one, by
// exchanging neighbours: each exchange is a slope between both, which it appends.
func (p *points) between(highs []rest, near []float64) []float64 {
	for k, r := range highs {
		x, y := p.x[r.at], p.y[r.at]
		for ; k > 0 && highs[k-1].of > r.of; k-- {
			over := highs[k-1]
			highs[k] = over
			v := (p.y[over.at] - y) / (p.x[over.at] - x)
			if v == 0 {
				v = p.slope(int(over.at), int(r.at))
			}
			if v != -1 {
				near = append(near, v)
			}
		}
		highs[k] = r
	}
	return near
}

// belowMinusOne counts the slopes below −1 and those of exactly −1, of points with
// another x. Many slopes are exactly −1 where values are whole numbers, so that those in
// doubt are asked one by one.
func (p *points) belowMinusOne(spare []rest) (below, exactly int) {
	list, doubt := p.rests(-1), p.doubt(-1)
	below = inversions(list, spare)
	for k, a := range list {
		for _, b := range list[k+1:] {
			if b.of-a.of > doubt {
				break
			}
			if p.x[a.at] == p.x[b.at] {
				continue
			}
			v := p.slope(int(a.at), int(b.at))
			below += is(v < -1) - is(a.of < b.of && a.at > b.at)
			exactly += is(v == -1)
		}
	}
	return below, exactly
}

// upright counts the pairs of the same x whose slope is infinite downwards, which is
// told by the point that came first, and those of equal points.
func (p *points) upright() (downwards, equal int) {
	for k, x := range p.x {
		for m := k + 1; m < len(p.x) && p.x[m] == x; m++ {
			v := p.slope(k, m)
			downwards += is(v < 0)
			equal += is(math.IsNaN(v))
		}
	}
	return downwards, equal
}
