package pipeline

import (
	"context"
	"slices"
	"strings"

	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// Cause is one thing that two results folders were not both made from, with what
// it can change.
type Cause struct {
	Change
	Reaches []Reach `json:"reaches"`
}

// Why says what sets two results folders apart.
type Why struct {
	Build    []Change `json:"build"`    // can change the last bits of any number, and anything where the program's version differs
	Settings []Cause  `json:"settings"` //
	Inputs   []Cause  `json:"inputs"`   // path, digest in A, digest in B
	Sources  []Change `json:"sources"`  // results that these were made from; key; seeds
	// Unexplained are the files, with their columns, that differ although nothing
	// above reaches them.
	Unexplained []Reach `json:"unexplained"`
	Differ      int     `json:"files_that_differ"`
}

// WhyDiffer compares what two sealed results folders were made from, and holds
// what differs in their files to it.
func WhyDiffer(ctx context.Context, a, b string) (*Why, error) {
	left, err := openSealed(a)
	if err != nil {
		return nil, err
	}
	defer left.close()
	right, err := openSealed(b)
	if err != nil {
		return nil, err
	}
	defer right.close()
	if err := sameParts(a, b, left.manifest, right.manifest); err != nil {
		return nil, err
	}
	w := &Why{Settings: []Cause{}, Inputs: []Cause{}, Unexplained: []Reach{}}
	if w.Build, err = changes(left.manifest.Build, right.manifest.Build); err != nil {
		return nil, err
	}
	if err := w.settings(left.manifest, right.manifest); err != nil {
		return nil, err
	}
	if err := w.sources(left.manifest, right.manifest); err != nil {
		return nil, err
	}
	w.inputs(left.manifest, right.manifest)
	c, err := compareFiles(ctx, left, right, nil, CompareOptions{Limit: 1})
	if err != nil {
		return nil, err
	}
	w.explain(c)
	return w, nil
}

func (w *Why) settings(a, b *schema.Manifest) error {
	differ, err := changes(a.Settings, b.Settings)
	if err != nil {
		return err
	}
	for _, c := range differ {
		reaches, _ := settingReach(c.Path)
		w.Settings = append(w.Settings, Cause{c, reaches})
	}
	return nil
}

func (w *Why) sources(a, b *schema.Manifest) error {
	type from struct {
		Sources []schema.Source   `json:"sources"`
		KeyID   string            `json:"key_id"`
		Seeds   map[string]string `json:"seeds"`
	}
	var err error
	w.Sources, err = changes(from{a.Sources, a.KeyID, a.Seeds}, from{b.Sources, b.KeyID, b.Seeds})
	return err
}

func (w *Why) inputs(a, b *schema.Manifest) {
	then := map[string]string{}
	for _, in := range a.Inputs {
		then[in.Path] = in.SHA256
	}
	add := func(path, old, now string, s schema.Settings) {
		cause := Cause{Change: Change{path, old, now}, Reaches: inputReach(s, path)}
		if path == study.SettingsFile {
			cause.Reaches = []Reach{{Table: AllIssues}} // the lines that notes name, beside what the settings reach
		}
		w.Inputs = append(w.Inputs, cause)
	}
	for _, in := range b.Inputs {
		if old := then[in.Path]; old != in.SHA256 {
			add(in.Path, old, in.SHA256, b.Settings)
		}
		delete(then, in.Path)
	}
	for _, in := range a.Inputs {
		if old, ok := then[in.Path]; ok {
			add(in.Path, old, "", a.Settings)
		}
	}
	slices.SortFunc(w.Inputs, func(x, y Cause) int { return strings.Compare(x.Path, y.Path) })
}

// explain holds every file that differs to what the causes reach. Another build
// explains the last digits, another version or source of results anything.
func (w *Why) explain(c *Comparison) {
	var reaches []Reach
	for _, cause := range append(slices.Clone(w.Settings), w.Inputs...) {
		reaches = append(reaches, cause.Reaches...)
	}
	anything := len(w.Sources) > 0 || slices.ContainsFunc(w.Build, func(c Change) bool { return c.Path == "version" || c.Path == "program" })
	for _, f := range c.Files {
		if c.Reproduced(f) {
			continue
		}
		w.Differ++
		if anything {
			continue
		}
		if columns := beyond(reaches, f); len(columns) > 0 {
			w.Unexplained = append(w.Unexplained, Reach{f.Path, columns})
		}
	}
}

// Lines is the answer for a person.
func (w *Why) Lines() []string {
	var lines []string
	part := func(title string, n int, empty string) {
		if n == 0 {
			lines = append(lines, title+": "+empty)
		} else {
			lines = append(lines, title+":")
		}
	}
	part("build", len(w.Build), "the same")
	for _, c := range w.Build {
		lines = append(lines, "  "+c.String())
	}
	if len(w.Build) > 0 {
		lines = append(lines, "    can reach the last digits of any number; another version can reach anything")
	}
	for _, kind := range []struct {
		title  string
		causes []Cause
	}{{"settings", w.Settings}, {"inputs", w.Inputs}} {
		part(kind.title, len(kind.causes), "the same")
		for _, c := range kind.causes {
			lines = append(lines, "  "+c.String(), "    can reach "+reachText(c.Reaches))
		}
	}
	if len(w.Sources) > 0 {
		part("made from", len(w.Sources), "")
		for _, c := range w.Sources {
			lines = append(lines, "  "+c.String())
		}
	}
	switch {
	case w.Differ == 0:
		lines = append(lines, "results: none of their files differ")
	case len(w.Unexplained) == 0:
		lines = append(lines, "results: all that differs lies within that reach: tonocohort compare")
	default:
		lines = append(lines, "results: not explained by any of it:")
		for _, u := range w.Unexplained {
			lines = append(lines, "  "+u.String())
		}
	}
	return lines
}

func reachText(reaches []Reach) string {
	if len(reaches) == 0 {
		return "nothing by itself"
	}
	texts := make([]string, len(reaches))
	for i, r := range reaches {
		texts[i] = r.String()
	}
	return strings.Join(texts, "; ")
}
