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
	in    flags // by person
	event bool  // counts events: few of them are few, whatever is decided on missing values
}

// crowds is all of them, with those whose number is told.
type crowds struct {
	c      *checker
	within flags // by person: the stratum that is looked at; nil: everybody
	levels bool  // levels of characteristics and reasons of the flow are wanted, not given
	list   []crowd
	index  map[string]int
	read   map[string]bool // rows by what they tell
	told   []int           // by other tables
	wanted []claim         // by the tables of models, the most important first
	asked  map[claim]int   // place of its crowd
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

func (x *crowds) place(in []bool, event bool) int {
	own := make(flags, (len(in)+63)/64)
	for i, yes := range in {
		if yes && x.within.at(i) {
			own[i>>6] |= 1 << (i & 63)
		}
	}
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
	x.list[at].event = x.list[at].event || event
	return at
}

// tell notes a crowd of another table, and whether its number is shown.
func (x *crowds) tell(in []bool, event, shown bool) {
	at := x.place(in, event)
	if shown && !slices.Contains(x.told, at) {
		x.told = append(x.told, at)
	}
}

func (x *crowds) want(model, what string, in []bool) {
	k := claim{model, what}
	if _, asked := x.asked[k]; !asked {
		x.asked[k] = x.place(in, what == claimEvents)
		x.wanted = append(x.wanted, k)
	}
}

// publishedCrowds reads the numbers of whole sets out of the tables as they will
// be released.
func (c *checker) publishedCrowds() *crowds {
	if c.named != nil {
		return c.named
	}
	x := c.newCrowds(nil)
	c.named = x
	c.eachReleased(func(f *schema.Frame, row int) {
		if f.Table.Name == flowTable {
			x.readFlow(f, row)
		} else if g, ok := c.group(f, row); ok && g.whole() {
			x.readRow(f, row, g)
		}
	})
	return x
}

// newCrowds are those that the sets themselves name.
func (c *checker) newCrowds(within flags) *crowds {
	x := &crowds{c: c, within: within, index: map[string]int{}, read: map[string]bool{}, asked: map[claim]int{}}
	for s := range c.People.Sets {
		x.place(c.People.In[s], false)
	}
	return x
}

// whole reports a set that is not split.
func (g group) whole() bool {
	return g.beside == "" && !slices.ContainsFunc(g.labels, func(l string) bool { return l != everyLevel })
}

// eachReleased goes through the rows of the tables without models as they will be
// released.
func (c *checker) eachReleased(read func(f *schema.Frame, row int)) {
	log := c.log
	defer func() { c.log = log }()
	for _, f := range c.Tables {
		if f.Has("model") || !c.known(f) {
			continue
		}
		c.log = reporter{}
		released := c.release(f)
		for row := range released.N {
			read(released, row)
		}
	}
}

func (x *crowds) readFlow(f *schema.Frame, row int) {
	name, ok := strings.CutPrefix(f.TextAt(row, "stage"), setPrefix)
	if set := slices.Index(x.c.People.Sets, name); ok && set >= 0 {
		x.tell(x.c.People.In[set], false, !f.Missing(row, "out"))
		if reason := f.TextAt(row, "reason"); reason != "" && reason != otherReasons && !f.Missing(row, "n") {
			if left := x.c.leavers(name, reason); left == nil {
				return
			} else if x.levels {
				x.want(reason+"\x00"+name, claimReason, left)
			} else {
				x.tell(left, false, true)
			}
		}
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
	base := x.c.People.In[g.set]
	v, known := x.c.variable(name)
	if levelled {
		if label, ok := x.c.labels(name); ok {
			in := where(base, func(i int) bool { return label(i) == level || label(i) == "" && level == missingLevel })
			switch {
			case x.levels && given && level != missingLevel && !x.c.splits(g, name):
				x.want(levelKey(name, level, g), claimLevel, in)
			default:
				x.tell(in, false, given)
			}
		}
	}
	if !known {
		return
	}
	present := where(base, v.present.at)
	x.tell(present, false, shown)
	x.tell(where(base, func(i int) bool { return !v.present.at(i) }), false, some)
	x.tell(base, false, shown && some)
	if !share {
		return
	}
	if _, beyond, ok := x.c.thresholdOf(f, row); ok && beyond != nil {
		rows := x.c.People.Rows
		x.tell(where(present, func(i int) bool { return beyond(rows[i]) }), true, shown && given)
		x.tell(where(present, func(i int) bool { return !beyond(rows[i]) }), true, shown && given)
	}
}

func where(base []bool, holds func(i int) bool) []bool {
	out := make([]bool, len(base))
	for i, in := range base {
		out[i] = in && holds(i)
	}
	return out
}
