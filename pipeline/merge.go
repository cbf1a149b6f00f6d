package pipeline

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"

	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// Merge puts the shards of a study together, in whatever order they are given:
// what it leaves in outDir is what one run of the whole study leaves there, byte
// for byte. Shards that are missing, damaged or not of one build and study are a
// *MergeError, and nothing is written. A table is read and written a row group at
// a time.
func Merge(ctx context.Context, dirs []string, outDir string, o Options) (*Outcome, error) {
	o = o.filled()
	started := o.Now()
	o.Step("checking the shards")
	shards, err := checkShards(ctx, dirs, o)
	if err != nil {
		return nil, err
	}
	m := &merge{output: output{dir: outDir, fs: o.fs, listed: o.Listed, shards: len(shards)}, shards: shards, tally: newTally()}
	defer m.close()
	if err := m.open(o.Replace, dirs...); err != nil {
		return nil, err
	}
	if err := m.gather(*o.build); err != nil {
		return nil, err
	}
	o.Step("writing the tables")
	if err := m.concatenate(ctx); err != nil {
		return nil, err
	}
	own, err := m.ownSets()
	if err != nil {
		return nil, err
	}
	o.Step("computing the statistics")
	m.manifest.Counts = m.tally.counts
	if err := m.fromWritten(m.columns, own, m.tally.flow(m.tables)); err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if err := m.seal(started, o.Now(), 1); err != nil {
		return nil, err
	}
	outcome, err := m.outcome()
	if err != nil {
		return nil, err
	}
	outcome.Reasons = m.tally.reasons()
	return outcome, nil
}

// merge carries what the steps hand on to each other.
type merge struct {
	output
	shards  []*shardFolder // by number
	tally   *tally
	columns []schema.Column
	tables  []study.TableCount
}

// gather adds up what the shards say beside their tables.
func (m *merge) gather(build schema.Build) error {
	for _, s := range m.shards {
		facts, err := s.facts()
		if err != nil {
			return err
		}
		if s.number() == 1 {
			m.begin(s.manifest.Settings, build, facts.Sources)
			m.manifest.KeyID = s.manifest.KeyID
			m.columns, m.tables = facts.Columns, facts.Tables
		}
		if err := m.issues.add(facts.Issues...); err != nil {
			return err
		}
		m.tally.merge(s.manifest.Counts, facts.Left)
		if err := m.inputs.add(s.manifest.Inputs...); err != nil {
			return err
		}
		if times := s.manifest.Run; times != nil {
			m.places = append(m.places, times.Recordings...)
		}
		s.manifest.Inputs = nil // as many as recordings: kept once
	}
	slices.Sort(m.places)
	m.places = slices.Compact(m.places)
	return nil
}

// concatenate writes the person-level tables.
func (m *merge) concatenate(ctx context.Context) error {
	for _, table := range personTableSchemas(m.columns) {
		out, err := createTable(m.results, tablePath(table.Name), table, m.tableMeta)
		if err != nil {
			return err
		}
		for _, s := range m.shards {
			if err = ctx.Err(); err == nil {
				err = s.appendTo(out, table)
			}
			if err != nil {
				out.abandon()
				return err
			}
		}
		sealed, err := out.seal()
		if err != nil {
			return err
		}
		m.manifest.Outputs = append(m.manifest.Outputs, sealed)
	}
	return nil
}

// ownSets reads the published sets of the study's own, which every shard has.
func (m *merge) ownSets() ([]study.NamedFile, error) {
	root, err := openFolder(m.shards[0].dir)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	var sets []study.NamedFile
	for _, own := range study.OwnSets(m.manifest.Settings.Analysis) {
		data, _, err := root.ReadFile(ownFolder+own.File, nil, maxPlan)
		if err != nil {
			return nil, err
		}
		sets = append(sets, study.NamedFile{Path: own.File, Name: own.Name, Data: data})
	}
	return sets, nil
}

// facts reads the file beside the tables.
func (s *shardFolder) facts() (*shardFacts, error) {
	root, err := openFolder(s.dir)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	data, _, err := root.ReadFile(shardPath, nil, maxFacts)
	if err != nil {
		return nil, err
	}
	var facts shardFacts
	if err := json.Unmarshal(data, &facts); err != nil {
		return nil, fmt.Errorf("%s: %s: %w", s.dir, shardPath, err)
	}
	return &facts, nil
}

// appendTo adds the rows of a table of the shard. They must be of its subjects and
// in their order; what the study's own tables lost stands without any.
func (s *shardFolder) appendTo(out *openTable, table schema.Table) error {
	root, err := openFolder(s.dir)
	if err != nil {
		return err
	}
	defer root.Close()
	err = readGroups(root, tablePath(table.Name), table, func(f *schema.Frame) error {
		if table.Name != "exclusions" {
			if err := s.inOrder(f); err != nil {
				return err
			}
		}
		return out.append(f)
	})
	if err != nil {
		return fmt.Errorf("%s: %w", tablePath(table.Name), err)
	}
	return nil
}

func (s *shardFolder) inOrder(f *schema.Frame) error {
	ids := f.Texts("subject_id")
	if len(ids) == 0 {
		return nil
	}
	if !slices.IsSorted(ids) || ids[0] < s.manifest.Shard.From || ids[len(ids)-1] > s.manifest.Shard.To {
		return fmt.Errorf("%s: the table %s has rows of other subjects, or not in their order", s.dir, f.Table.Name)
	}
	return nil
}
