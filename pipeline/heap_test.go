package pipeline

import (
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"runtime/metrics"
	"strings"
	"testing"
	"time"
)

func TestGrowthKeepsToTheBudget(t *testing.T) {
	for live := uint64(1 << 16); live < 8<<30; live += live / 3 {
		percent := uint64(growth(live))
		goal := live + live*percent/100
		first := uint64(firstHeap) * percent / 100 // the least goal of the collector
		if most := max(heapBudget, live+live*leastGrowth/100); goal > most || first > heapBudget {
			t.Errorf("with %d bytes alive the next collection is at %d or %d, of %d", live, goal, first, most)
		}
		if limit := mapped(live, growth(live)); limit < int64(goal+goal/10) {
			t.Errorf("with %d bytes alive no more than %d are mapped, and the next collection is at %d", live, limit, goal)
		}
		// No collection that the budget leaves room for, but for the rounding of percent.
		if live > firstHeap && goal < min(heapBudget-live/100, 2*live) {
			t.Errorf("with %d bytes alive the next collection is at %d already", live, goal)
		}
	}
}

// followed, in the environment, names the test's own child.
const followed = "TONOCOHORT_TEST_HEAP"

// TestHeapBudget starts a process for each case, since the collector is of a whole
// process and what is left of its settings would rule other tests.
func TestHeapBudget(t *testing.T) {
	if asked := os.Getenv(followed); asked == inPieces {
		sayMapped(t)
		return
	} else if asked != "" {
		var mib uint64
		if _, err := fmt.Sscan(asked, &mib); err != nil {
			t.Fatal(err)
		}
		sayGoal(t, mib)
		return
	}
	const beside = 8 // MiB that the process holds beside what the test has it hold
	for _, c := range []struct {
		mib       uint64
		given     string
		low, high float64 // MiB
	}{
		{1, "", 0.8 * (heapBudget >> 20), heapBudget >> 20},
		{48, "", 0.9 * (heapBudget >> 20), heapBudget >> 20},
		{200, "", 200 * 1.25, (200 + beside) * 1.25},
		{48, "GOGC=50", 48 * 1.5, (48 + beside) * 1.5},
		{200, "GOMEMLIMIT=4GiB", 200 * 2, (200 + beside) * 2},
	} {
		if goal := said(t, "goal", fmt.Sprint(c.mib), c.given); goal < c.low || goal > c.high {
			t.Errorf("%d MiB alive, %q: the next collection is at %.0f MiB, want %.0f to %.0f", c.mib, c.given, goal, c.low, c.high)
		}
	}
	const most = heapBudget / 3 * 4 >> 20 // some more than the limit: a collection takes time, in which the heap grows
	if held := said(t, "mapped", inPieces, ""); held > most {
		t.Errorf("the process holds %.0f MiB, want at most %d", held, most)
	}
}

// said starts the test's child and returns what it says of a quantity.
func said(t *testing.T, quantity, asked, given string) float64 {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run=^TestHeapBudget$", "-test.v")
	cmd.Env = []string{followed + "=" + asked, "TMPDIR=" + t.TempDir()}
	if given != "" {
		cmd.Env = append(cmd.Env, given)
	}
	text, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	_, rest, _ := strings.Cut(string(text), quantity+" ")
	var value float64
	if _, err := fmt.Sscan(rest, &value); err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	return value
}

// inPieces asks the child to say how much it held at most, where what is freed does
// not fit what is asked for next.
const inPieces = "pieces"

func sayMapped(t *testing.T) {
	FollowHeapBudget()
	most := uint64(0)
	var alive [64][]byte
	for round := range 2000 {
		size := 1<<18 + (round*7919)%(1<<20) // up to 1.25 MiB: some 48 MiB live
		alive[round%len(alive)] = make([]byte, size)
		time.Sleep(200 * time.Microsecond) // for what follows a collection
		most = max(most, metric("/memory/classes/total:bytes")-metric("/memory/classes/heap/released:bytes"))
	}
	runtime.KeepAlive(alive)
	t.Logf("mapped %.1f", float64(most)/(1<<20))
}

// sayGoal says at how many MiB the heap is collected next while so many live, after
// another number did.
func sayGoal(t *testing.T, mib uint64) {
	FollowHeapBudget()
	for _, size := range []uint64{24, mib} {
		alive := make([]byte, size<<20)
		runtime.GC()
		// What follows a collection follows it soon, not at once.
		for range 50 {
			if growth(living()) == int(metric("/gc/gogc:percent")) {
				break
			}
			time.Sleep(20 * time.Millisecond)
		}
		if size == mib {
			t.Logf("goal %.1f", float64(metric("/gc/heap/goal:bytes"))/(1<<20))
		}
		runtime.KeepAlive(alive)
	}
}

func metric(name string) uint64 {
	one := []metrics.Sample{{Name: name}}
	metrics.Read(one)
	return one[0].Value.Uint64()
}
