package release

import (
	"fmt"
	"slices"
	"strings"

	"tonocohort/schema"
)

// Groups of people that lie across one another are taken as they are: what is told
// of some of them is given, what others would tell is wanted, one number after
// another, unless with it the number of a group of few would follow (refused.go).

// crowd is a group of people that some table names.
type crowd struct {
	in    flags // by member
	event bool  // counts events: few of them are few, whatever is decided on missing values
}

// crowds is all of them, with those whose number is told.
type crowds struct {
	c       *checker
	of      *kinds
	members []int32 // the kinds that are looked at
	levels  bool    // levels of characteristics and reasons of the flow are wanted, not given
	list    []crowd
	named   map[string]int  // place in the list by what the crowd is of
	index   map[string]int  // the same by who is in it
	read    map[string]bool // rows by what they tell
	told    []int           // by other tables
	wanted  []claim         // by the tables of models, the most important first
	asked   map[claim]int   // place of its crowd
}

// claim is a number that a table of models would tell.
type claim struct {
	model, what string // what: people, events, or the column that is missing
}

const (
	claimPeople = "\x00people"
	claimEvents = "\x00events"
	claimLevel  = "\x00level"  // of the level that model is the key of
	claimReason = "\x00reason" // of the flow, before the set in model
)

// place finds the place of those members of whom holds is true; name says who they are.
func (x *crowds) place(name string, holds func(kind int32) bool, event bool) int {
	at, known := x.named[name]
	if !known {
		own := make(flags, (len(x.members)+63)/64)
		for i, kind := range x.members {
			if holds(kind) {
				own[i>>6] |= 1 << (i & 63)
			}
		}
		at = x.number(own)
		x.named[name] = at
	}
	x.list[at].event = x.list[at].event || event
	return at
}

// number finds the place of a crowd, which may have another name.
func (x *crowds) number(own flags) int {
	key := own.digest()
	at, known := x.index[key]
	for known && !slices.Equal(x.list[at].in, own) {
		key += "'" // another crowd of the same digest
		at, known = x.index[key]
	}
	if !known {
		at = len(x.list)
		x.index[key] = at
		x.list = append(x.list, crowd{in: own})
	}
	return at
}

// size is the number of people in a crowd.
func (x *crowds) size(of crowd) int {
	n := 0
	for i, kind := range x.members {
		if of.in.at(i) {
			n += x.of.sizes[kind]
		}
	}
	return n
}

// tell notes a crowd of another table, and whether its number is shown.
func (x *crowds) tell(name string, holds func(kind int32) bool, event, shown bool) {
	at := x.place(name, holds, event)
	if shown && !slices.Contains(x.told, at) {
		x.told = append(x.told, at)
	}
}

func (x *crowds) want(k claim, name string, holds func(kind int32) bool) {
	if _, asked := x.asked[k]; !asked {
		x.asked[k] = x.place(name, holds, k.what == claimEvents)
		x.wanted = append(x.wanted, k)
	}
}

// publishedCrowds reads the numbers of whole sets out of the tables as they will be
// released. The claims of models come first, before the crowds are read for another
// purpose: people are told apart by them too.
func (c *checker) publishedCrowds(claims ...sought) *crowds {
	if c.named != nil {
		return c.named
	}
	tables := c.releasedNow(group.whole)
	k := c.newKinds(tables)
	for _, s := range claims {
		if !k.tells(s.fact()) {
			if in := s.in(); in != nil {
				k.addFlag(s.fact(), func(i int) bool { return in[i] })
			}
		}
	}
	k.count(c.People)
	x := c.newCrowds(k, k.everybody())
	c.named = x
	eachRow(tables, func(f *schema.Frame, row int) {
		if f.Table.Name == flowTable {
			x.readFlow(f, row)
		} else if g, ok := c.group(f, row); ok && g.whole() {
			x.readRow(f, row, g)
		}
	})
	for _, s := range claims {
		if k.tells(s.fact()) {
			x.want(s.claim, s.fact(), k.flag(s.fact()))
		}
	}
	return x
}

// sought is a claim with those who are in it, by person; nil where nobody can tell.
type sought struct {
	claim
	in func() []bool
}

func (s sought) fact() string { return "claim\x00" + s.model + "\x00" + s.what }

// newCrowds are those that the sets themselves name.
func (c *checker) newCrowds(k *kinds, members []int32) *crowds {
	x := &crowds{c: c, of: k, members: members, named: map[string]int{}, index: map[string]int{}, read: map[string]bool{}, asked: map[claim]int{}}
	for s := range c.People.Sets {
		x.place(setFact(s), k.flag(setFact(s)), false)
	}
	return x
}

// ofPlan reports a stratum of the plan, or a whole set.
func (g group) ofPlan() bool { return g.beside == "" }

// whole reports a set that is not split.
func (g group) whole() bool {
	return g.ofPlan() && !slices.ContainsFunc(g.labels, func(l string) bool { return l != everyLevel })
}

// releasedNow makes the flow and the rows about some groups of the tables without models
// as they would be released if nothing more were hidden.
func (c *checker) releasedNow(asked func(g group) bool) []*schema.Frame {
	log := c.log
	defer func() { c.log = log }()
	var tables []*schema.Frame
	for _, f := range c.Tables {
		if f.Has("model") || !c.known(f) {
			continue
		}
		c.log = reporter{}
		if f.Table.Name == flowTable {
			tables = append(tables, c.release(f))
		} else {
			tables = append(tables, c.releaseOf(f, asked))
		}
	}
	return tables
}

func eachRow(tables []*schema.Frame, read func(f *schema.Frame, row int)) {
	for _, f := range tables {
		for row := range f.N {
			read(f, row)
		}
	}
}

func (x *crowds) readFlow(f *schema.Frame, row int) {
	name, ok := strings.CutPrefix(f.TextAt(row, "stage"), setPrefix)
	set := slices.Index(x.c.People.Sets, name)
	if !ok || set < 0 {
		return
	}
	x.tell(setFact(set), x.of.flag(setFact(set)), false, !f.Missing(row, "out"))
	reason, fact := f.TextAt(row, "reason"), factReason+name
	if reason == "" || reason == otherReasons || f.Missing(row, "n") || !x.of.hasText(fact, reason) {
		return
	}
	left := x.of.text(fact, func(text string) bool { return text == reason })
	if crowd := fact + "\x00" + reason; x.levels {
		x.want(claim{reason + "\x00" + name, claimReason}, crowd, left)
	} else {
		x.tell(crowd, left, false, true)
	}
}

// readRow takes the numbers of people out of a row about a group.
func (x *crowds) readRow(f *schema.Frame, row int, g group) {
	name, statistic := x.c.needing(f, row), f.TextAt(row, "statistic")
	shown, some, given := !f.Missing(row, "n"), !f.Missing(row, "n_missing"), !f.Missing(row, "estimate")
	level, levelled := levelOf(statistic)
	share := isShare(statistic)
	if !levelled && !share {
		statistic = "" // it tells of the people what the others do
	}
	if key := fmt.Sprint(name, "\x00", g.key(), "\x00", statistic, shown, some, given && (levelled || share)); x.read[key] {
		return
	} else {
		x.read[key] = true
	}
	set := setFact(g.set)
	base := x.of.flag(set)
	_, known := x.c.variable(name)
	if levelled && x.of.tells(factLevel+name) {
		crowd := set + "\x00" + factLevel + name + "\x00" + level
		in := both(base, x.of.text(factLevel+name, func(text string) bool { return text == level || text == "" && level == missingLevel }))
		switch {
		case x.levels && given && level != missingLevel && !x.c.splits(g, name):
			x.want(claim{levelKey(name, level, g), claimLevel}, crowd, in)
		default:
			x.tell(crowd, in, false, given)
		}
	}
	if !known {
		return
	}
	has := x.of.flag(factPresent + name)
	crowd, present := set+"\x00"+factPresent+name, both(base, has)
	x.tell(crowd, present, false, shown)
	x.tell(crowd+"\x00not", both(base, not(has)), false, some)
	x.tell(set, base, false, shown && some)
	if !share {
		return
	}
	if t, beyond, ok := x.c.thresholdOf(f, row); ok && beyond != nil {
		side := x.of.flag(beyondFact(t))
		crowd += "\x00" + beyondFact(t)
		x.tell(crowd, both(present, side), true, shown && given)
		x.tell(crowd+"\x00not", both(present, not(side)), true, shown && given)
	}
}
