package release

import (
	"fmt"
	"math/rand/v2"
	"testing"
)

// Every kind has the facts of its people, no two have the same, and nobody is lost.
func TestKindsHaveTheFactsOfTheirPeople(t *testing.T) {
	random := rand.New(rand.NewPCG(30, 1))
	for _, n := range []int{0, 1, 500} {
		p := People{Rows: make([]int32, n), Times: make([]int, n)}
		atom, in, level := make([]int32, n), make([]bool, n), make([]string, n)
		total := 0
		for i := range n {
			atom[i], in[i], level[i] = int32(random.IntN(4)), random.IntN(3) == 0, []string{"", "never", "former", "current"}[random.IntN(4)]
			p.Times[i] = 1 + random.IntN(3)
			total += p.Times[i]
		}
		k := &kinds{facts: map[string][]int32{}, texts: map[string][]string{}, of: make([]int32, n)}
		k.add(factAtom, func(i int) int32 { return atom[i] })
		k.addFlag(setFact(1), func(i int) bool { return in[i] })
		k.addText(factLevel+"smoker", func(i int) string { return level[i] })
		of := k.of
		k.count(p)
		text := func(kind int32) string { return k.texts[factLevel+"smoker"][k.fact(factLevel + "smoker")[kind]] }
		for i, kind := range of {
			if k.fact(factAtom)[kind] != atom[i] || k.flag(setFact(1))(kind) != in[i] || text(kind) != level[i] {
				t.Fatalf("person %d is of a kind with other facts", i)
			}
		}
		seen := map[string]bool{}
		people := 0
		for _, kind := range k.everybody() {
			key := fmt.Sprint(k.fact(factAtom)[kind], k.flag(setFact(1))(kind), text(kind))
			if seen[key] {
				t.Errorf("two kinds with the facts %s", key)
			}
			seen[key] = true
			people += k.sizes[kind]
		}
		if people != total {
			t.Errorf("%d people of %d", people, total)
		}
	}
}

// A fact that nobody told is no fact that holds for nobody.
func TestFactThatWasNotTold(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("people were told apart by a fact that is not there")
		}
	}()
	(&kinds{}).flag(factPresent + "height_cm")
}
