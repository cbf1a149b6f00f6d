package pipeline

import (
	"encoding/json"
	"math"
	"regexp"
	"strconv"
	"strings"

	"tonocohort/schema"
)

// maxText bounds a file that is compared as text.
const maxText = 256 << 20

// acrossBuilds judges two files that are no tables and come from two builds: one
// that names its build cannot be the same, and a number that is written out may
// differ in its last place.
func acrossBuilds(a, b *sealedFolder, name string) (verdict, note string) {
	left, _, errA := a.root.ReadFile(name, nil, maxText)
	right, _, errB := b.root.ReadFile(name, nil, maxText)
	if errA != nil || errB != nil {
		return Differs, ""
	}
	x, y := withoutBuild(name, left, a.manifest.Build), withoutBuild(name, right, b.manifest.Build)
	switch {
	case x == y:
		return SameValues, "but for naming its build"
	case sameText(x, y):
		return SameDigits, ""
	}
	return Differs, ""
}

// What a digest and a number look like in a text.
var (
	digestText = regexp.MustCompile(`\b[0-9a-f]{64}\b`)
	numberText = regexp.MustCompile(`[0-9]+(\.[0-9]+)?([eE][-+]?[0-9]+)?`)
)

// withoutBuild takes out of a file what it says of the program that made it, and
// the digests of other files, which are compared themselves.
func withoutBuild(name string, data []byte, b schema.Build) string {
	var document any
	if strings.HasSuffix(name, ".json") && json.Unmarshal(data, &document) == nil {
		if plain, err := canonical(withoutDigests(document)); err == nil {
			return string(plain)
		}
	}
	var pairs []string
	for _, s := range []string{b.Executable, b.Version, b.Go, b.Architecture} {
		if s != "" {
			pairs = append(pairs, s, "\x00")
		}
	}
	text := strings.NewReplacer(pairs...).Replace(string(data))
	return digestText.ReplaceAllLiteralString(text, "\x00")
}

func withoutDigests(v any) any {
	switch v := v.(type) {
	case []any:
		for i := range v {
			v[i] = withoutDigests(v[i])
		}
	case map[string]any:
		for _, name := range []string{"build", "sha256", "hash", "bytes"} {
			delete(v, name)
		}
		for name := range v {
			v[name] = withoutDigests(v[name])
		}
	}
	return v
}

// sameText reports whether two texts are equal but for numbers that agree to
// their digits, or by a unit in the last place that is written.
func sameText(a, b string) bool {
	x, y := numberText.FindAllStringIndex(a, -1), numberText.FindAllStringIndex(b, -1)
	if len(x) != len(y) {
		return false
	}
	endA, endB := 0, 0
	for i := range x {
		if a[endA:x[i][0]] != b[endB:y[i][0]] || !sameNumber(a[x[i][0]:x[i][1]], b[y[i][0]:y[i][1]]) {
			return false
		}
		endA, endB = x[i][1], y[i][1]
	}
	return a[endA:] == b[endB:]
}

func sameNumber(a, b string) bool {
	if a == b {
		return true
	}
	if !strings.ContainsAny(a+b, ".eE") {
		return false // a count
	}
	x, errA := strconv.ParseFloat(a, 64)
	y, errB := strconv.ParseFloat(b, 64)
	if errA != nil || errB != nil {
		return false
	}
	if schema.EqualToDigits(x, y, schema.FittedDigits) {
		return true
	}
	return math.Abs(x-y) <= 1.001*math.Pow10(-min(decimals(a), decimals(b)))
}

// decimals is how many decimals a number is written with.
func decimals(s string) int {
	digits, exponent, _ := strings.Cut(strings.ToLower(s), "e")
	_, fraction, _ := strings.Cut(digits, ".")
	shift, _ := strconv.Atoi(exponent)
	return len(fraction) - shift
}
