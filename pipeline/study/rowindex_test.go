package study

import (
	"fmt"
	"math/rand/v2"
	"testing"
)

func TestRowIndexIsAMap(t *testing.T) {
	var keys []visitKey
	x := newRowIndex(func(row int32) visitKey { return keys[row] })
	want := map[visitKey]int32{}
	random := rand.New(rand.NewPCG(1, 2))
	twice := 0
	for range 40_000 {
		key := visitKey{random.Int32N(3000), fmt.Sprint("v", random.IntN(4))}
		at, found := x.find(key)
		if before, known := want[key]; known != found || known && at != before {
			t.Fatalf("%v stands at %d (%v), want %d (%v)", key, at, found, before, known)
		}
		if found {
			twice++
			continue
		}
		want[key] = int32(len(keys))
		keys = append(keys, key)
		x.add(want[key])
	}
	for key, row := range want {
		if at, found := x.find(key); !found || at != row {
			t.Fatalf("%v stands at %d (%v), want %d", key, at, found, row)
		}
	}
	if twice < 1000 || len(keys) < 10_000 {
		t.Fatalf("%d keys, %d twice: not enough to tell", len(keys), twice)
	}
	if bytes := 4 * len(x.rows); bytes > 12*len(keys) {
		t.Errorf("%d bytes for %d keys", bytes, len(keys))
	}
}
