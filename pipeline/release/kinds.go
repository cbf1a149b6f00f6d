package release

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"tonocohort/schema"
)

// kinds are people of whom every table tells the same: in the same sets and strata, with
// values of the same variables, on the same side of every threshold, at the same levels,
// leaving a set for the same reason. Every group that a table counts is made of some of
// them, and there are far fewer of them than people.
type kinds struct {
	sizes []int               // by kind: people
	facts map[string][]int32  // by name, by kind
	texts map[string][]string // of a fact that is a text: by its code
	of    []int32             // by person, until all facts are told

	told    []told    // until then facts are by the kinds that there were when they were told
	parents [][]int32 // each time that kinds were parted, by kind: the one that it was part of
	number  int       // how many kinds there are
}

// told is a fact and how often kinds had been parted when it was told.
type told struct {
	fact   string
	parted int
}

// Names of facts, with what they are about behind them.
const (
	factAtom    = "atom"                // number of the atom
	factSet     = "set\x00"             // by the number of a set: whether they are in it
	factPresent = "present\x00"         // by variable: whether they have a value
	factLevel   = "level\x00"           // by variable: the text of the level
	factBeyond  = "beyond\x00"          // by variable and limit: whether the value is
	factReason  = "reason to leave\x00" // by set: why they leave it, "" where they are in it
)

// newKinds tells people apart by all that tables count as they will be released now: of
// what another rule hides later nothing is asked.
func (c *checker) newKinds(tables []*schema.Frame) *kinds {
	k := &kinds{facts: map[string][]int32{}, texts: map[string][]string{}, of: make([]int32, len(c.People.Rows))}
	k.add(factAtom, func(i int) int32 { return c.layout.atomOf[i] })
	for s, name := range c.People.Sets {
		in := c.People.In[s]
		k.addFlag(setFact(s), func(i int) bool { return in[i] })
		if reason := c.reasonToLeave(name); reason != nil {
			k.addText(factReason+name, reason)
		}
	}
	read := map[string]bool{}
	eachRow(tables, func(f *schema.Frame, row int) {
		if f.Table.Name == flowTable {
			return
		}
		if _, ok := c.group(f, row); ok {
			c.addFacts(k, f, row, read)
		}
	})
	return k
}

func setFact(set int) string { return factSet + strconv.Itoa(set) }

func beyondFact(t threshold) string { return factBeyond + t.variable + "\x00" + t.limit }

// addFacts tells people apart by what a row counts; read holds the rows that did.
func (c *checker) addFacts(k *kinds, f *schema.Frame, row int, read map[string]bool) {
	name, statistic := c.needing(f, row), f.TextAt(row, "statistic")
	_, levelled := levelOf(statistic)
	share := isShare(statistic)
	if !levelled && !share {
		statistic = ""
	}
	key := name + "\x00" + statistic
	if share && f.Has("published_estimate") {
		key += "\x00" + f.TextAt(row, "published") + fmt.Sprint(f.Number(row, "published_estimate"))
	}
	if read[key] {
		return
	}
	read[key] = true
	if levelled && !k.tells(factLevel+name) {
		if label, ok := c.labels(name); ok {
			k.addText(factLevel+name, label)
		}
	}
	v, known := c.variable(name)
	if !known {
		return
	}
	if !k.tells(factPresent + name) {
		k.addFlag(factPresent+name, v.present.at)
	}
	if !share {
		return
	}
	if t, beyond, ok := c.thresholdOf(f, row); ok && beyond != nil && !k.tells(beyondFact(t)) {
		rows := c.People.Rows
		k.addFlag(beyondFact(t), func(i int) bool { return beyond(rows[i]) })
	}
}

func (k *kinds) tells(fact string) bool { return k.facts[fact] != nil }

// add parts every kind by a fact. Kinds are numbered by their first person.
func (k *kinds) add(fact string, code func(i int) int32) {
	own := make([]int32, len(k.of)) // by person
	first := []int32{}              // by kind: the code of its first person
	parted := false
	for i, kind := range k.of {
		own[i] = code(i)
		if int(kind) == len(first) {
			first = append(first, own[i])
		}
		parted = parted || own[i] != first[kind]
	}
	if !parted { // most facts, once there are as many kinds as differ in anything
		k.note(fact, first)
		return
	}
	numbers := make(map[uint64]int32, len(first))
	var parents, codes []int32
	last, number := uint64(0), int32(-1)
	for i, parent := range k.of {
		if key := uint64(parent)<<32 | uint64(uint32(own[i])); number < 0 || key != last {
			known := false
			if number, known = numbers[key]; !known {
				number = int32(len(parents))
				numbers[key] = number
				parents, codes = append(parents, parent), append(codes, own[i])
			}
			last = key
		}
		k.of[i] = number
	}
	k.parents = append(k.parents, parents)
	k.note(fact, codes)
}

func (k *kinds) note(fact string, codes []int32) {
	k.facts[fact], k.number = codes, len(codes)
	k.told = append(k.told, told{fact, len(k.parents)})
}

func (k *kinds) addFlag(fact string, holds func(i int) bool) {
	k.add(fact, func(i int) int32 {
		if holds(i) {
			return 1
		}
		return 0
	})
}

func (k *kinds) addText(fact string, text func(i int) string) {
	codes := map[string]int32{}
	last, code := "", int32(-1)
	k.add(fact, func(i int) int32 {
		if t := text(i); code < 0 || t != last {
			known := false
			if code, known = codes[t]; !known {
				code = int32(len(k.texts[fact]))
				codes[t] = code
				k.texts[fact] = append(k.texts[fact], t)
			}
			last = t
		}
		return code
	})
}

// count ends the telling of facts and counts the people of each kind.
func (k *kinds) count(p People) *kinds {
	k.settle()
	k.sizes = make([]int, k.number)
	for i, kind := range k.of {
		k.sizes[kind] += p.times(i)
	}
	k.of = nil
	return k
}

// settle carries each fact on to the kinds that there are at last: once, not whenever
// kinds are parted, of which there are as many as people in a small study.
func (k *kinds) settle() {
	as := make([]int32, k.number) // by kind: the one that it was when the fact was told
	for kind := range as {
		as[kind] = int32(kind)
	}
	parted := len(k.parents)
	for i := len(k.told) - 1; i >= 0; i-- {
		for ; parted > k.told[i].parted; parted-- {
			for kind, at := range as {
				as[kind] = k.parents[parted-1][at]
			}
		}
		codes := make([]int32, len(as))
		for kind, at := range as {
			codes[kind] = k.facts[k.told[i].fact][at]
		}
		k.facts[k.told[i].fact] = codes
	}
	k.told, k.parents = nil, nil
}

// fact returns what is told of each kind. That it is told is certain from the rows of
// the same tables: a group that was passed over would be one that nobody protects.
func (k *kinds) fact(name string) []int32 {
	codes := k.facts[name]
	if codes == nil {
		panic("release: people were not told apart by " + strings.ReplaceAll(name, "\x00", " "))
	}
	return codes
}

// flag is a fact that holds or does not.
func (k *kinds) flag(name string) func(kind int32) bool {
	codes := k.fact(name)
	return func(kind int32) bool { return codes[kind] == 1 }
}

// text is the fact that is one of some texts.
func (k *kinds) text(name string, is func(text string) bool) func(kind int32) bool {
	codes := k.fact(name)
	holds := make([]bool, len(k.texts[name]))
	for code, text := range k.texts[name] {
		holds[code] = is(text)
	}
	return func(kind int32) bool { return holds[codes[kind]] }
}

// everybody lists all kinds.
func (k *kinds) everybody() []int32 {
	list := make([]int32, len(k.sizes))
	for kind := range list {
		list[kind] = int32(kind)
	}
	return list
}

// both holds where two facts hold.
func both(a, b func(kind int32) bool) func(kind int32) bool {
	return func(kind int32) bool { return a(kind) && b(kind) }
}

func not(a func(kind int32) bool) func(kind int32) bool {
	return func(kind int32) bool { return !a(kind) }
}

// hasText reports whether some kind has a text.
func (k *kinds) hasText(name, text string) bool { return slices.Contains(k.texts[name], text) }
