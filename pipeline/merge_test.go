package pipeline

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// dividedStudy is a study with reviews, withdrawn persons, excluded values, a row
// of nobody and a published set of its own.
func dividedStudy(t testing.TB, subjects int, privacy string) string {
	t.Helper()
	dir := smallStudy(t, subjects)
	settings := filepath.Join(dir, study.SettingsFile)
	edited(t, settings, "compare_with: []", "compare_with: [ours.csv]")
	appendTo(t, settings, privacy)
	appendTo(t, filepath.Join(dir, "cuff.csv"), ",v1,1,120,80,,,left,auscultatory\nTQ00002,v1,9,12000,80,,,left,auscultatory\n")
	appendTo(t, filepath.Join(dir, "ours.csv"), "# source: an earlier wave\n# reading: computed by the study\n# selection: any\n# ages: 18-90\n"+
		"variable,sex,age_band,n,mean,sd,status,note\ncentral_pp_mmhg,male,all,300,38,9,read,\n")
	appendTo(t, filepath.Join(dir, "reviews.csv"), "TQ00001_v1_1,reject,a twisted wrist,R9,2022-01-01\n")
	appendTo(t, filepath.Join(dir, "withdrawn.csv"), "TQ00003,2024-01-01\n")
	edited(t, filepath.Join(dir, "waves", "TQ00005_v1_1.csv"), "\n", "\nx,y\n") // a recording that cannot be read
	return dir
}

func appendTo(t testing.TB, name, text string) {
	t.Helper()
	data, err := os.ReadFile(name)
	if err != nil && !os.IsNotExist(err) {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, append(data, text...), 0o644); err != nil {
		t.Fatal(err)
	}
}

// ranInParts runs a study in shards.
func ranInParts(t testing.TB, studyDir, into string, of int, o Options) []string {
	t.Helper()
	var dirs []string
	for i := range of {
		o.Shard = Shard{i + 1, of}
		dirs = append(dirs, filepath.Join(into, fmt.Sprintf("shard=%d", i+1)))
		ranInto(t, studyDir, dirs[i], o)
	}
	return dirs
}

func merged(t testing.TB, dirs []string, into string) *Outcome {
	t.Helper()
	outcome, err := Merge(context.Background(), dirs, into, Options{fs: openUnsynced})
	if err != nil {
		t.Fatal(err)
	}
	return outcome
}

// Whatever the number of shards, more than there are subjects among them, and
// however ids are shown, what is merged is what one run leaves: every file and
// the content of the manifest.
func TestMergedIsOneRun(t *testing.T) {
	for _, c := range []struct {
		privacy string
		parts   []int
	}{
		{"", []int{1, 2, 7, 64}},
		{"privacy: {ids: keyed, date_shift: keyed}\n", []int{7}},
		{"privacy: {ids: renumber, age_top: 60}\n", []int{7}},
	} {
		t.Run(c.privacy, func(t *testing.T) {
			t.Parallel()
			dir, o := t.TempDir(), Options{Jobs: 2, noWork: true, Listed: true}
			if strings.Contains(c.privacy, "keyed") {
				o.KeyFile = filepath.Join(t.TempDir(), "key")
				appendTo(t, o.KeyFile, strings.Repeat("k", 40))
			}
			studyDir := dividedStudy(t, 20, c.privacy)
			whole := ranInto(t, studyDir, filepath.Join(dir, "whole"), o)
			if n := whole.Manifest.Counts; n.Withdrawn < 1 || n.Recordings.Failed < 1 || n.Recordings.Excluded < 1 || len(whole.Issues) < 3 {
				t.Fatalf("the study has too few faults: %+v", n)
			}
			for _, of := range c.parts {
				if testing.Short() && of > 7 {
					continue
				}
				parts := ranInParts(t, studyDir, filepath.Join(dir, fmt.Sprint(of)), of, o)
				slices.Reverse(parts) // the order in which they are given does not matter
				into := filepath.Join(dir, fmt.Sprint("merged", of))
				outcome := merged(t, parts, into)
				sameResults(t, filepath.Join(dir, "whole"), into)
				if !slices.Equal(outcome.Reasons, whole.Reasons) || outcome.Manifest.Run.Shards != of {
					t.Errorf("%d shards: %+v, %+v", of, outcome.Reasons, outcome.Manifest.Run)
				}
			}
		})
	}
}

// A shard that a shared file system shows late is waited for; one that never
// comes costs the time that was given and is named.
func TestMergeWaitsForLateShards(t *testing.T) {
	t.Parallel()
	dir, studyDir := t.TempDir(), smallStudy(t, 6)
	parts := ranInParts(t, studyDir, dir, 3, Options{})
	late := filepath.Join(dir, "late")
	if err := os.Rename(parts[1], late); err != nil {
		t.Fatal(err)
	}
	looked := 0
	o := Options{fs: openUnsynced, Wait: 5 * time.Second, sleep: func(time.Duration) { looked++ }}
	_, err := Merge(context.Background(), parts, filepath.Join(dir, "merged"), o)
	var refused *MergeError
	if !errors.As(err, &refused) || refused.Array() != "2" || looked != 3 {
		t.Errorf("%v after %d pauses", err, looked)
	}
	o.sleep = func(time.Duration) {
		if err := os.Rename(late, parts[1]); err != nil {
			t.Error(err)
		}
	}
	if _, err := Merge(context.Background(), parts, filepath.Join(dir, "merged"), o); err != nil {
		t.Error(err)
	}
}

// A shard holds what its manifest says and nothing of the study as a whole but in
// the first; the manifest fulfils its schema.
func TestShardIsSealed(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	parts := ranInParts(t, dividedStudy(t, 12, ""), dir, 4, Options{})
	valid, withdrawn, subjects := manifestValidator(t), 0, 0
	for i, part := range parts {
		m, differences, err := Verify(context.Background(), part)
		if err != nil || len(differences) > 0 {
			t.Fatal(differences, err)
		}
		if m.Shard == nil || m.Shard.Number != i+1 || m.Shard.Of != 4 || m.Shard.First != subjects+1 || m.Shard.From == "" {
			t.Errorf("%+v", m.Shard)
		}
		subjects += m.Counts.Subjects.Found
		withdrawn += m.Counts.Withdrawn
		for _, out := range m.Outputs {
			if !personLevel(out.Path) && out.Path != ownFolder+"ours.csv" {
				t.Errorf("a shard has %s", out.Path)
			}
		}
		data, err := os.ReadFile(filepath.Join(part, ManifestName))
		if err != nil {
			t.Fatal(err)
		}
		var document any
		if err := json.Unmarshal(data, &document); err != nil {
			t.Fatal(err)
		}
		if err := valid.Validate(document); err != nil {
			t.Error(err)
		}
	}
	if m, _ := ReadManifest(parts[0]); subjects != m.Shard.Total || withdrawn != m.Counts.Withdrawn || withdrawn == 0 {
		t.Errorf("%d subjects, %d withdrawn", subjects, withdrawn)
	}
}

// What keeps shards from being merged is named, with the numbers to compute
// again, and nothing is written.
func TestMergeRefuses(t *testing.T) {
	t.Parallel()
	dir, studyDir := t.TempDir(), dividedStudy(t, 12, "")
	parts := ranInParts(t, studyDir, dir, 4, Options{})
	another := func(name string, part Shard, o Options) string {
		o.Shard = part
		ranInto(t, studyDir, filepath.Join(dir, name), o)
		return filepath.Join(dir, name)
	}
	otherBuild := another("build", Shard{2, 4}, Options{Version: "another"})
	otherParts := another("division", Shard{2, 5}, Options{})
	whole := another("whole", Shard{}, Options{})
	damaged := another("damaged", Shard{2, 4}, Options{})
	edited(t, filepath.Join(damaged, shardPath), "Research", "Rosearch")
	unsealed := another("unsealed", Shard{2, 4}, Options{})
	if err := os.Remove(filepath.Join(unsealed, ManifestName)); err != nil {
		t.Fatal(err)
	}
	edited(t, filepath.Join(studyDir, "visits.csv"), "TQ00001,v1,28", "TQ00001,v1,29")
	otherStudy := another("study", Shard{2, 4}, Options{})
	in := func(folders ...string) []string { return folders }
	for _, c := range []struct {
		what   string
		given  []string
		faults string // codes
		again  string
		says   string
	}{
		{"missing", in(parts[0], parts[3]), "missing missing", "2-3", "shard 2: missing"},
		{"doubled", in(parts[0], parts[1], parts[1], parts[2], parts[3]), "doubled", "", "shard 2, "},
		{"damaged", in(parts[0], damaged, parts[2], parts[3]), "damaged", "2", "tables/shard.json: sha256 is"},
		{"not sealed", in(parts[0], unsealed, parts[2], parts[3]), "not_sealed missing", "2", "the folder is not sealed"},
		{"no folder", in(parts[0], dir+"/none", parts[2], parts[3]), "not_sealed missing", "2", "none: not sealed: "},
		{"another build", in(parts[0], otherBuild, parts[2], parts[3]), "other_build", "2", "build.version: none → another"},
		{"another study", in(parts[0], otherStudy, parts[2], parts[3]), "other_study", "2", "inputs.visits.csv: "},
		{"another division", in(parts[0], otherParts, parts[2], parts[3]), "other_division", "2", "shards: 4 → 5"},
		{"no shard", in(whole, parts[0], parts[1], parts[2], parts[3]), "not_a_shard", "", "not a shard"},
		{"one alone", in(parts[2]), "missing missing missing", "1-2,4", ""},
		{"nothing", in(whole), "not_a_shard", "", ""},
	} {
		into := filepath.Join(t.TempDir(), "merged")
		_, err := Merge(context.Background(), c.given, into, Options{fs: openUnsynced})
		var refused *MergeError
		if !errors.As(err, &refused) {
			t.Errorf("%s: %v", c.what, err)
			continue
		}
		var codes, said []string
		for _, f := range refused.Faults {
			codes, said = append(codes, f.Code), append(said, f.String())
		}
		if strings.Join(codes, " ") != c.faults || refused.Array() != c.again || !strings.Contains(strings.Join(said, "\n"), c.says) {
			t.Errorf("%s: %q, again %q:\n%s", c.what, codes, refused.Array(), strings.Join(said, "\n"))
		}
		if _, err := os.Stat(into); !os.IsNotExist(err) {
			t.Errorf("%s: something was written", c.what)
		}
	}
	// All by another program than the one that merges.
	for i := range parts {
		parts[i] = another(fmt.Sprint("theirs", i), Shard{i + 1, 4}, Options{Version: "another"})
	}
	_, err := Merge(context.Background(), parts, filepath.Join(dir, "merged"), Options{})
	var refused *MergeError
	if !errors.As(err, &refused) || len(refused.Again) > 0 || refused.Faults[0].Code != ShardOtherBuild {
		t.Errorf("%v", err)
	}
}

// A shard that is finished is left as it is when its task starts again; after a
// change of a wave, of a table or of the division it is not taken for the same.
func TestFinishedShardStands(t *testing.T) {
	t.Parallel()
	dir, studyDir := filepath.Join(t.TempDir(), "shard"), dividedStudy(t, 9, "")
	o := Options{Shard: Shard{2, 3}}
	first := ranInto(t, studyDir, dir, o)
	if again := ranInto(t, studyDir, dir, o); !again.Stands || again.Manifest.Content != first.Manifest.Content {
		t.Error("computed again")
	}
	refused := func(what string, o Options) {
		t.Helper()
		if _, err := Run(context.Background(), studyDir, dir, o); !errors.Is(err, ErrSealed) {
			t.Errorf("%s: %v", what, err)
		}
	}
	refused("another shard", Options{Shard: Shard{1, 3}})
	refused("the whole", Options{})
	refused("another build", Options{Shard: Shard{2, 3}, Version: "another"})
	sealed, err := ReadManifest(dir)
	if err != nil {
		t.Fatal(err)
	}
	inputs := sealed.Inputs
	wave := slices.IndexFunc(inputs, func(f schema.File) bool { return strings.HasPrefix(f.Path, "waves/") })
	appendTo(t, filepath.Join(studyDir, inputs[wave].Path), "\n")
	refused("a wave has changed", o)
	o.Replace = true
	if again := ranInto(t, studyDir, dir, o); again.Stands || again.Manifest.Content == first.Manifest.Content {
		t.Error("not computed again")
	}
}

// The commands for whole studies say of a part what it is; those for parts work.
func TestPartsOfAStudy(t *testing.T) {
	t.Parallel()
	dir, studyDir := t.TempDir(), dividedStudy(t, 12, "")
	whole := filepath.Join(dir, "whole")
	ranInto(t, studyDir, whole, Options{})
	parts := ranInParts(t, studyDir, dir, 3, Options{})
	ctx := context.Background()
	for what, try := range map[string]func() error{
		"tables": func() error { _, err := Tables(ctx, parts[1], "", filepath.Join(dir, "x"), Options{}); return err },
		"pool":   func() error { _, err := Pool(ctx, parts, filepath.Join(dir, "x"), PoolOptions{}); return err },
		"package": func() error {
			_, err := Bundle(ctx, parts[1], filepath.Join(dir, "x"), BundleOptions{As: "bagit"})
			return err
		},
		"rerun tables": func() error { _, err := RerunResults(ctx, parts[1], "", RerunOptions{From: FromTables}); return err },
		"compare":      func() error { _, err := Compare(ctx, whole, parts[1], CompareOptions{}); return err },
		"why":          func() error { _, err := WhyDiffer(ctx, parts[0], parts[1]); return err },
	} {
		var part *ShardError
		if err := try(); !errors.As(err, &part) || !strings.Contains(err.Error(), " of 3, subjects ") {
			t.Errorf("%s: %v", what, err)
		}
	}
	r, err := RerunResults(ctx, parts[1], studyDir, RerunOptions{From: FromStudy})
	if err != nil || !r.Reproduced() || len(r.Comparison.Files) < 10 {
		t.Errorf("%+v %v", r, err)
	}
	if c, err := Compare(ctx, parts[1], parts[1], CompareOptions{}); err != nil || !c.Equal() {
		t.Error(c, err)
	}
}
