package pipeline

import (
	"os"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
)

// One budget rules how far the heap of the process grows between two collections. What
// lives in it is mostly a small part: then there is no hurry, and a study of some
// thousand people pays for few collections. The more lives, the less may be added,
// so that the peak stays where it is however large the study; what lives beyond the
// budget grows by the least share before it is looked at again.
const (
	heapBudget  = 96 << 20
	leastGrowth = 25      // percent of what lives
	firstHeap   = 4 << 20 // at 100 percent the collector never starts below it, at others in proportion
)

// FollowHeapBudget has the collector keep to the budget from now on. Where the
// environment says how it is to work (GOGC, GOMEMLIMIT) nothing is done.
func FollowHeapBudget() {
	for _, given := range []string{"GOGC", "GOMEMLIMIT"} {
		if os.Getenv(given) != "" {
			return
		}
	}
	followCollections()
}

// followCollections sets the percentage by what lives, and again as soon as the next
// collection has told it anew: the library has no call for that, but tells when an
// object is gone.
func followCollections() {
	live := living()
	percent := growth(live)
	debug.SetGCPercent(percent)
	debug.SetMemoryLimit(mapped(live, percent))
	collected := new([sizeOfItsOwn]byte)
	runtime.AddCleanup(collected, func(struct{}) { followCollections() }, struct{}{})
}

// sizeOfItsOwn is above that of objects which share a place with others, and may not
// be collected by themselves.
const sizeOfItsOwn = 32

// living is what the percentage is of: what the last collection found on the heap, on
// stacks and in global variables.
func living() uint64 {
	parts := []metrics.Sample{{Name: "/gc/heap/live:bytes"}, {Name: "/gc/scan/stack:bytes"}, {Name: "/gc/scan/globals:bytes"}}
	metrics.Read(parts)
	sum := uint64(0)
	for _, part := range parts {
		sum += part.Value.Uint64()
	}
	return sum
}

// mapped is what the process may hold of the system's memory, which is more than its
// heap: what was freed in pieces that do not fit what is asked for next is given
// back before more is taken. It is above what the percentage allows, so that it calls
// for a collection only where more lives all at once, before the percentage is set anew.
func mapped(live uint64, percent int) int64 {
	goal := int64(max(heapBudget, live+live*uint64(percent)/100))
	return goal + goal/8
}

// growth is the percentage by which a heap may grow in which so many bytes live.
func growth(live uint64) int {
	const most = 100 * (heapBudget / firstHeap) // more would put even the first collection beyond the budget
	if live >= heapBudget {
		return leastGrowth
	}
	return int(max(leastGrowth, min(most, 100*(heapBudget-live)/max(live, 1))))
}
