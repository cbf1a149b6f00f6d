package schema

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Size is how far a fault reaches.
type Size string

// The three sizes of fault, and a note that changes nothing.
//
//   - Structural: nothing runs, nothing is written.
//   - Value: the value becomes missing, or its row is left out.
//   - Recording: the recording is left out.
//   - Note: something was assumed or looks odd; nothing is left out.
const (
	SizeStructural Size = "structural"
	SizeValue      Size = "value"
	SizeRecording  Size = "recording"
	SizeNote       Size = "note"
)

// Issue is one problem in the input: where it stands, what rule it breaks and
// what would mend it. File is relative to the study folder.
type Issue struct {
	Size    Size   `json:"size"`
	File    string `json:"file"`
	Row     int    `json:"row,omitempty"`    // line of the file as an editor counts it, header = 1; 0: the whole file
	Column  int    `json:"column,omitempty"` // position of the column, from 1; 0: the whole row
	Name    string `json:"name,omitempty"`   // name of the column or setting
	Value   string `json:"value,omitempty"`  // the offending text, shortened
	Code    string `json:"code"`             // stable name of the rule
	Message string `json:"message"`
	Hint    string `json:"hint,omitempty"`

	SubjectID   string `json:"subject_id,omitempty"`
	VisitID     string `json:"visit_id,omitempty"`
	RecordingID string `json:"recording_id,omitempty"`
}

// Error makes an Issue an error, so that a reader can return one.
func (i *Issue) Error() string { return i.String() }

// String is the line that a person reads: place, value, rule, hint.
func (i Issue) String() string {
	var b strings.Builder
	b.WriteString(i.File)
	if i.Row > 0 {
		fmt.Fprintf(&b, ":%d", i.Row)
		if i.Column > 0 {
			fmt.Fprintf(&b, ":%d", i.Column)
		}
	}
	b.WriteString(": ")
	if i.Name != "" {
		b.WriteString(i.Name)
		if i.Value != "" {
			fmt.Fprintf(&b, " %q", i.Value)
		}
		b.WriteString(": ")
	} else if i.Value != "" {
		fmt.Fprintf(&b, "%q: ", i.Value)
	}
	b.WriteString(i.Message)
	if i.Hint != "" {
		b.WriteString(" — ")
		b.WriteString(i.Hint)
	}
	return b.String()
}

// SortIssues puts issues in the order in which they are shown: by file, row,
// column, then rule. The order does not depend on how they were found.
func SortIssues(issues []Issue) { slices.SortStableFunc(issues, CompareIssues) }

// CompareIssues is that order.
func CompareIssues(a, b Issue) int {
	return cmp.Or(
		cmp.Compare(a.File, b.File),
		cmp.Compare(a.Row, b.Row),
		cmp.Compare(a.Column, b.Column),
		cmp.Compare(a.Code, b.Code),
		cmp.Compare(a.Name, b.Name),
		cmp.Compare(a.Value, b.Value),
		cmp.Compare(a.Message, b.Message),
	)
}

// AnyStructural reports whether one of the issues stops the run.
func AnyStructural(issues []Issue) bool {
	return slices.ContainsFunc(issues, func(i Issue) bool { return i.Size == SizeStructural })
}

// Nearest returns the candidate that is closest to word, and true when it is
// close enough to be offered as "did you mean": at most two edits, or a third
// of the word's length.
func Nearest(word string, candidates []string) (string, bool) {
	best, bestDistance := "", -1
	for _, c := range candidates {
		d := editDistance(strings.ToLower(word), strings.ToLower(c))
		if bestDistance < 0 || d < bestDistance || d == bestDistance && c < best {
			best, bestDistance = c, d
		}
	}
	limit := max(2, len(word)/3)
	return best, bestDistance >= 0 && bestDistance <= limit
}

// editDistance counts insertions, deletions, substitutions and swaps of
// neighbours (optimal string alignment; Damerau 1964, Commun ACM 7:171-6).
func editDistance(a, b string) int {
	rows := make([][]int, len(a)+1)
	for i := range rows {
		rows[i] = make([]int, len(b)+1)
		rows[i][0] = i
	}
	for j := range rows[0] {
		rows[0][j] = j
	}
	for i := 1; i <= len(a); i++ {
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			d := min(rows[i-1][j]+1, rows[i][j-1]+1, rows[i-1][j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				d = min(d, rows[i-2][j-2]+1)
			}
			rows[i][j] = d
		}
	}
	return rows[len(a)][len(b)]
}
