package pipeline

import (
	"cmp"
	"errors"
	"fmt"
	"slices"

	"tonocohort/schema"
)

// ShardError says that a command wants a whole study and was given a part of one,
// or two parts that are not the same.
type ShardError struct{ Message string }

func (e *ShardError) Error() string { return e.Message }

// AboutShard says which part of a study a results folder holds; "" where it is
// the whole.
func AboutShard(m *schema.Manifest) string {
	s := m.Shard
	switch {
	case s == nil:
		return ""
	case m.Counts.Subjects.Found == 0:
		return fmt.Sprintf("shard %d of %d, which has none of %d subjects", s.Number, s.Of, s.Total)
	}
	return fmt.Sprintf("shard %d of %d, subjects %d to %d of %d", s.Number, s.Of, s.First, s.First+m.Counts.Subjects.Found-1, s.Total)
}

// onlyWhole refuses a part of a study.
func onlyWhole(dir string, m *schema.Manifest) error {
	if m.Shard == nil {
		return nil
	}
	return &ShardError{fmt.Sprintf("%s is %s: it has no statistics and no release until the shards are merged (tonocohort merge)", dir, AboutShard(m))}
}

// openWhole opens sealed results of a whole study.
func openWhole(dir string) (*source, error) {
	s, err := openSource(dir)
	if err != nil {
		return nil, err
	}
	if err := onlyWhole(dir, s.manifest); err != nil {
		s.root.Close()
		return nil, err
	}
	return s, nil
}

// sameParts refuses to put two different parts of a study side by side.
func sameParts(a, b string, left, right *schema.Manifest) error {
	x, y := cmp.Or(AboutShard(left), "the whole of a study"), cmp.Or(AboutShard(right), "the whole of a study")
	if (left.Shard == nil) != (right.Shard == nil) || left.Shard != nil && (left.Shard.Number != right.Shard.Number || left.Shard.Of != right.Shard.Of) {
		return &ShardError{fmt.Sprintf("%s is %s, %s is %s: compare the same part, or merge first", a, x, b, y)}
	}
	return nil
}

// errStands says that the shard is finished already and would come out the same.
var errStands = errors.New("the shard is finished already")

// stands finds out whether the results folder holds the shard, sealed, undamaged
// and from the same bytes. Every recording is read for it and none computed. A
// scheduler that starts a finished task again then finds its work done.
func (r *run) stands() (bool, error) {
	sealed, err := openSource(r.dir)
	if err != nil {
		return false, nil // whatever it is, it is not that
	}
	defer sealed.root.Close()
	then, now := &shardFolder{r.dir, sealed.manifest}, &shardFolder{r.dir, &r.manifest}
	if then.manifest.Shard == nil || *then.manifest.Shard != *r.shard {
		return false, nil
	}
	differ, err := changes(then.identity(), now.identity())
	if err != nil || len(differ) > 0 || len(then.damage()) > 0 {
		return false, err
	}
	inputs, err := r.inputsNow()
	if err != nil || !slices.Equal(inputs, sealed.manifest.Inputs) {
		return false, err
	}
	r.manifest = *sealed.manifest
	return true, nil
}

// inputsNow reads what the run would read and lists it as the manifest would.
func (r *run) inputsNow() ([]schema.File, error) {
	methods, err := studyEstimators(r.study)
	if err != nil {
		return nil, err
	}
	w := newWorker(r.study.Settings, r.recordings(), methods, r.disguise)
	inputs := slices.Clone(r.manifest.Inputs)
	for i := range r.study.Subjects {
		for _, v := range r.study.Subjects[i].Visits {
			for k := range v.Recordings {
				row := &v.Recordings[k]
				if row.Fault != "" {
					continue
				}
				// Whether it can be read is not asked, only what from.
				read, _ := w.read(requestFor(row))
				for n, in := range read.Inputs {
					inputs = append(inputs, r.disguise.input(schema.File(in), row.ID, n))
				}
				if w.files.fatal != nil {
					return nil, w.files.fatal
				}
			}
		}
	}
	slices.SortFunc(inputs, byPath)
	return slices.Compact(inputs), nil
}
