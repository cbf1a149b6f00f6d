package pipeline

import (
	"cmp"
	"context"
	"fmt"
	"path"
	"slices"
	"strings"
	"time"

	"tonocohort/pipeline/store"
	"tonocohort/schema"
)

// shardFolder is a folder that holds a shard.
type shardFolder struct {
	dir      string
	manifest *schema.Manifest
}

func (s *shardFolder) number() int { return s.manifest.Shard.Number }

// identity is what shards of one study have in common.
type identity struct {
	Build    schema.Build      `json:"build"`
	Study    map[string]string `json:"inputs"` // digests by path, without recordings
	Settings schema.Settings   `json:"settings"`
	KeyID    string            `json:"key_id"`
	Of       int               `json:"shards"`
	Total    int               `json:"subjects"`
}

func (s *shardFolder) identity() identity {
	m := s.manifest
	id := identity{Study: map[string]string{}, Build: m.Build, Settings: m.Settings, KeyID: m.KeyID, Of: m.Shard.Of, Total: m.Shard.Total}
	for _, in := range m.Inputs {
		if isStudyTable(m.Settings, in.Path) {
			id.Study[in.Path] = in.SHA256
		}
	}
	return id
}

// checkShards reads the manifests of the folders, finds which of them belong
// together, holds every file to its digest and returns the shards by number.
func checkShards(ctx context.Context, dirs []string, o Options) ([]*shardFolder, error) {
	e := &MergeError{Again: []int{}, Faults: []ShardFault{}}
	shards, err := e.openShards(ctx, dirs, o)
	if err != nil {
		return nil, err
	}
	if len(shards) == 0 {
		return nil, e
	}
	shards, err = e.together(shards)
	if err != nil {
		return nil, err
	}
	if shards, err = e.whole(ctx, shards); err != nil {
		return nil, err
	}
	if err := e.sameProgram(shards, *o.build); err != nil {
		return nil, err
	}
	e.complete(shards)
	if len(e.Faults) > 0 {
		return nil, e
	}
	return shards, nil
}

// betweenLooks is how long a merge waits before it looks again for shards that
// were not sealed when it looked.
const betweenLooks = 2 * time.Second

// openShards reads the manifests. A shared file system may show another machine's
// files late, so what is not sealed is looked at again while o.Wait lasts; all of
// them wait at once.
func (e *MergeError) openShards(ctx context.Context, dirs []string, o Options) ([]*shardFolder, error) {
	found, faults := make([]*shardFolder, len(dirs)), make([]*ShardFault, len(dirs))
	for left := o.Wait; ; left -= betweenLooks {
		unsealed := false
		for i, dir := range dirs {
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			if found[i] == nil {
				found[i], faults[i] = openShard(dir)
				unsealed = unsealed || faults[i] != nil && faults[i].Code == ShardUnsealed
			}
		}
		if !unsealed || left <= 0 {
			break
		}
		o.sleep(min(left, betweenLooks))
	}
	var shards []*shardFolder
	for i, s := range found {
		if s == nil {
			e.Faults = append(e.Faults, *faults[i])
			continue
		}
		shards = append(shards, s)
	}
	return shards, nil
}

func openShard(dir string) (*shardFolder, *ShardFault) {
	s, err := openSource(dir)
	if err != nil {
		return nil, &ShardFault{Code: ShardUnsealed, Folder: dir, Detail: strings.TrimPrefix(err.Error(), dir+": ")}
	}
	defer s.root.Close()
	if s.manifest.Shard == nil {
		return nil, &ShardFault{Code: ShardNone, Folder: dir, Detail: "results of a whole study, or statistics"}
	}
	return &shardFolder{dir, s.manifest}, nil
}

// together keeps the shards that are of one build, study and division: of what
// most of them are, and of the first where it is even. Where they stand is given
// for the others.
func (e *MergeError) together(shards []*shardFolder) ([]*shardFolder, error) {
	groups := map[string][]*shardFolder{}
	var order []string
	for _, s := range shards {
		text, err := canonical(s.identity())
		if err != nil {
			return nil, err
		}
		if groups[string(text)] == nil {
			order = append(order, string(text))
		}
		groups[string(text)] = append(groups[string(text)], s)
	}
	slices.SortStableFunc(order, func(a, b string) int { return cmp.Compare(len(groups[b]), len(groups[a])) })
	kept := groups[order[0]]
	e.Of = kept[0].manifest.Shard.Of
	for _, other := range order[1:] {
		for _, s := range groups[other] {
			fault, err := foreign(kept[0].identity(), s)
			if err != nil {
				return nil, err
			}
			e.Faults = append(e.Faults, fault)
		}
	}
	return kept, nil
}

// foreign says what sets a shard apart from the others.
func foreign(others identity, s *shardFolder) (ShardFault, error) {
	differ, err := changes(others, s.identity())
	if err != nil {
		return ShardFault{}, err
	}
	fault := ShardFault{Code: ShardOtherParts, Shard: s.number(), Folder: s.dir, Detail: differ[0].String()}
	for _, kind := range []struct{ code, path string }{
		{ShardOtherStudy, "inputs"}, {ShardOtherStudy, "settings"}, {ShardOtherStudy, "key_id"}, {ShardOtherBuild, "build"},
	} {
		for _, c := range differ {
			if fault.Code == ShardOtherParts && strings.HasPrefix(c.Path, kind.path) {
				fault.Code, fault.Detail = kind.code, c.String()
			}
		}
	}
	if len(differ) > 1 {
		fault.Detail += fmt.Sprintf(" (and %d more)", len(differ)-1)
	}
	return fault, nil
}

// whole drops the shards that are given twice or are damaged.
func (e *MergeError) whole(ctx context.Context, shards []*shardFolder) ([]*shardFolder, error) {
	slices.SortStableFunc(shards, func(a, b *shardFolder) int { return cmp.Compare(a.number(), b.number()) })
	var kept []*shardFolder
	for _, s := range shards {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if n := len(kept); n > 0 && kept[n-1].number() == s.number() {
			e.Faults = append(e.Faults, ShardFault{Code: ShardDoubled, Shard: s.number(), Folder: s.dir, Detail: "it is also " + kept[n-1].dir})
			continue
		}
		if found := s.damage(); len(found) > 0 {
			e.Faults = append(e.Faults, ShardFault{Code: ShardDamaged, Shard: s.number(), Folder: s.dir, Detail: found[0].String()})
			continue
		}
		kept = append(kept, s)
	}
	return kept, nil
}

// damage holds the files of a shard to their digests.
func (s *shardFolder) damage() []Difference {
	root, err := openFolder(s.dir)
	if err != nil {
		return []Difference{differing(path.Base(s.dir), "sha256", "readable", err.Error())}
	}
	defer root.Close()
	for _, out := range s.manifest.Outputs {
		d, err := root.Hash(out.Path)
		if store.IsMissing(err) || err != nil || d.SHA256 != out.SHA256 || d.Bytes != out.Bytes {
			return verifyOutput(root, out) // which says where
		}
	}
	return nil
}

// sameProgram holds the shards to the program that is to merge them: it makes the
// statistics.
func (e *MergeError) sameProgram(shards []*shardFolder, program schema.Build) error {
	if len(shards) == 0 {
		return nil
	}
	differ, err := changes(shards[0].manifest.Build, program)
	if err != nil || len(differ) == 0 {
		return err
	}
	e.Faults = append(e.Faults, ShardFault{Code: ShardOtherBuild,
		Detail: "the shards, by " + buildText(shards[0].manifest.Build) + ", not by this program, " + buildText(program) + "; the first difference: " + differ[0].String() +
			". Merge them with the program that made them"})
	return nil
}

// complete names the numbers that no shard has, and holds those that are there to
// one another: every subject stands exactly once.
func (e *MergeError) complete(shards []*shardFolder) {
	named := map[int]bool{}
	for _, f := range e.Faults {
		if f.Code != ShardDoubled {
			named[f.Shard] = true
		}
	}
	next, last := 0, ""
	for number := 1; number <= e.Of; number++ {
		if next == len(shards) || shards[next].number() != number {
			e.Again = append(e.Again, number)
			if !named[number] {
				e.Faults = append(e.Faults, ShardFault{Code: ShardMissing, Shard: number, Detail: fmt.Sprintf("of %d", e.Of)})
			}
			continue
		}
		s := shards[next]
		next++
		from, to := Shard{number, e.Of}.bounds(s.manifest.Shard.Total)
		about := s.manifest.Shard
		if about.First != from+1 || s.manifest.Counts.Subjects.Found != to-from || from < to && about.From <= last || about.From > about.To {
			e.Again = append(e.Again, number)
			e.Faults = append(e.Faults, ShardFault{Code: ShardOtherParts, Shard: number, Folder: s.dir,
				Detail: fmt.Sprintf("it has %d subjects from the %dth on, which are not those of its number", s.manifest.Counts.Subjects.Found, about.First)})
		}
		if from < to {
			last = about.To
		}
	}
}
