package pipeline

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"

	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// Shard is part Number, from 1, of a study whose sorted subjects are divided into
// Of contiguous ranges; the zero Shard is the whole study.
type Shard struct{ Number, Of int }

// ParseShard reads I/N, with I from 1 to N.
func ParseShard(text string) (Shard, error) {
	number, of, ok := strings.Cut(text, "/")
	i, errI := strconv.Atoi(number)
	n, errN := strconv.Atoi(of)
	if !ok || errI != nil || errN != nil || i < 1 || i > n || n > mostShards {
		return Shard{}, fmt.Errorf("shard %q: I/N, with I from 1 to N and N up to %d", text, mostShards)
	}
	return Shard{i, n}, nil
}

// mostShards bounds the number of shards: each is a folder, and a task of a
// scheduler.
const mostShards = 1_000_000

func (s Shard) whole() bool { return s.Of == 0 }

// bounds is the range of the shard among n subjects.
func (s Shard) bounds(n int) (from, to int) {
	return (s.Number - 1) * n / s.Of, s.Number * n / s.Of
}

// shardFacts is the file beside the tables of a shard: what a merge needs to know
// of the study, which it does not read. What is said of the study as a whole, its
// tables' rows and their faults, is said by the first shard alone.
type shardFacts struct {
	Caution string             `json:"caution"`
	Columns []schema.Column    `json:"columns"` // of the study, that subject_visits carries
	Sources []schema.File      `json:"sources"` // inputs that are no recordings
	Tables  []study.TableCount `json:"tables,omitempty"`
	Left    []leftCount        `json:"left_out"`
	Issues  []schema.Issue     `json:"issues"`
}

// leftCount says how many things left the study by one way.
type leftCount struct {
	Unit   string `json:"unit"`
	Status string `json:"status"`
	Reason string `json:"reason"`
	N      int    `json:"n"`
}

// shardPath is where the facts stand: not JSON of the release, and restricted.
const shardPath = tablesFolder + "shard.json"

// maxFacts bounds what is read of a file of facts.
const maxFacts = 4 << 30

// takeShard leaves the subjects of the shard in the study. Ids have been replaced
// and exclusions dealt out before, so that neither depends on the shard.
func (r *run) takeShard() {
	part := r.options.Shard
	if part.whole() {
		return
	}
	all := r.study.Subjects
	from, to := part.bounds(len(all))
	r.study.Subjects = all[from:to]
	r.shard = &schema.Shard{Number: part.Number, Of: part.Of, First: from + 1, Total: len(all)}
	if from < to {
		r.shard.From, r.shard.To = all[from].ID, all[to-1].ID
	}
	if part.Number > 1 {
		r.left.orphans, r.study.Issues = nil, nil
		r.study.Withdrawn, r.study.Counts = 0, nil
	}
}

// closeShard writes what stands in a shard in place of statistics.
func (r *run) closeShard(context.Context) error {
	if err := r.keepOwnSets(r.study.OwnSets); err != nil {
		return err
	}
	r.manifest.Counts = r.tally.counts
	r.manifest.Counts.Withdrawn = r.study.Withdrawn
	if err := r.countIssues(); err != nil {
		return err
	}
	issues, err := r.issues.all()
	if err != nil {
		return err
	}
	facts := shardFacts{Caution: schema.Caution, Columns: r.study.Carried, Sources: r.sources,
		Tables: r.study.Counts, Left: r.tally.listed(), Issues: issues}
	out, err := writeFile(r.results, shardPath, true, func(w io.Writer) error {
		encoder := json.NewEncoder(w)
		encoder.SetEscapeHTML(false)
		return encoder.Encode(facts)
	})
	if err != nil {
		return err
	}
	r.manifest.Outputs = append(r.manifest.Outputs, out)
	return nil
}
