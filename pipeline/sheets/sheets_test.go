package sheets

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"math"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"

	"tonocohort/schema"
)

// pulses is a sheet with a wave of sines: what it shows is of no matter here.
func pulses(text string) *Sheet {
	const hz = 128.0
	samples := make([]float64, 12*128)
	for i := range samples {
		samples[i] = 100 + 20*math.Sin(2*math.Pi*float64(i)/hz)
	}
	s := &Sheet{Recording: "R1" + text, Subject: "S1" + text, Visit: "v1" + text, Centre: text, Operator: text, Device: text, Artery: "radial" + text, Side: text,
		Status: "used" + text, Reason: text, Detail: text, Grade: "doubtful" + text, GradeReasons: []string{"rhythm", text}, ProgramDecision: "accept",
		Reviews: []Review{{Reader: text, Decision: "accept" + text, Reason: text, ReadOn: text}},
		Trace:   &Trace{Samples: samples, SamplingHz: hz, Unit: "au" + text}, Scale: 1, Offset: 0, Calibration: "sbp_dbp" + text, IndexNotes: []string{text}}
	for i := range 11 {
		b := Beat{FootS: float64(i) + 0.25, PeriodS: 1, Correlation: 0.99, Accepted: i%4 != 2}
		if !b.Accepted {
			b.Reason = "noise" + text
		}
		s.Beats = append(s.Beats, b)
	}
	wave := make([]float32, 128)
	for i := range wave {
		wave[i] = float32(100 - 20*math.Cos(2*math.Pi*float64(i)/hz))
	}
	values := make([]Value, len(Quantities("sbp_dbp")))
	for i := range values {
		values[i] = Value{Estimate: 100, Error: 2}
	}
	waves := &Waves{StepS: 1 / hz, Peripheral: wave, Aortic: wave, ShoulderS: 0.3, EjectionS: 0.6}
	s.Replicates = []Replicate{{Recording: s.Recording, Grade: s.Grade, Status: s.Status, Waves: waves, Values: values}, {Recording: "R2" + text, Grade: text, Status: text, Values: values}}
	return s
}

func bookOf(text string) *Book {
	return &Book{Study: "bay" + text, Title: text, Content: "c0ffee" + text, Filter: text, Recordings: 1, PerPage: 20, Calibration: "sbp_dbp", Notes: []string{text},
		Delimiter: ",", Dates: "yyyy-mm-dd", ReviewsName: "reviews.csv", Earlier: []Earlier{{"R1" + text, text}}, Quantities: Quantities("sbp_dbp")}
}

func pages(t *testing.T, text string, s *Sheet) (page, index string) {
	t.Helper()
	w := NewWriter(bookOf(text))
	var p, i bytes.Buffer
	if err := w.Page(&p, 1, []*Sheet{s}); err != nil {
		t.Fatal(err)
	}
	if err := w.Index(&i, []Entry{{Recording: s.Recording, Subject: s.Subject, Visit: s.Visit, Grade: s.Grade, Status: s.Status, GradeReasons: s.GradeReasons, Reason: s.Reason, Reviews: s.Reviews}}); err != nil {
		t.Fatal(err)
	}
	return p.String(), i.String()
}

// A text that would break out of an element, an attribute, the style, the data
// or the script stands in every field: the page has the tags and attributes that
// it has with harmless text of the same length.
func TestHostileTextIsText(t *testing.T) {
	tag := regexp.MustCompile(`<[a-zA-Z/!][^>]*`)
	value := regexp.MustCompile(`"[^"]*"`)
	shape := func(text string) string {
		var tags []string
		for _, found := range tag.FindAllString(text, -1) {
			tags = append(tags, value.ReplaceAllString(found, ""))
		}
		return strings.Join(tags, "\n")
	}
	for _, hostile := range []string{`"><script>evil()</script>`, `</title></style></script></noscript><img src=x onerror=evil()>`, `' onclick='evil()`, `" onclick="evil()`,
		"]]>--><svg onload=evil()>", "\u2028evil()//", "`${evil()}`", "{{evil}}"} {
		page, index := pages(t, hostile, pulses(hostile))
		harmless := strings.Repeat("x", len([]rune(hostile)))
		plainPage, plainIndex := pages(t, harmless, pulses(harmless))
		for name, pair := range map[string][2]string{"page": {page, plainPage}, "index": {index, plainIndex}} {
			if shape(pair[0]) != shape(pair[1]) {
				t.Errorf("%s: %q changes tags or attributes", name, hostile)
			}
			if !strings.Contains(pair[0], "evil") {
				t.Errorf("%s does not show %q at all", name, hostile)
			}
		}
	}
}

// The policy names the very bytes of style and script (Content Security Policy
// Level 3, 6.7.2.3), and every page carries it.
func TestPolicyNamesStyleAndScript(t *testing.T) {
	page, index := pages(t, "", pulses(""))
	for _, text := range []string{page, index} {
		for _, tag := range []string{"style", "script"} {
			at := strings.LastIndex(text, "<"+tag+">")
			content := text[at+len(tag)+2:]
			content = content[:strings.Index(content, "</"+tag+">")]
			sum := sha256.Sum256([]byte(content))
			if hash := base64.StdEncoding.EncodeToString(sum[:]); !strings.Contains(Policy(), tag+"-src 'sha256-"+hash+"'") || len(content) < 1000 {
				t.Errorf("the policy has no hash of the %s", tag)
			}
		}
		for _, token := range []string{"'", "&#39;"} {
			text = strings.ReplaceAll(text, token, "\"")
		}
		if !strings.Contains(text, strings.ReplaceAll(strings.ReplaceAll(Policy(), "'", "\""), "+", "&#43;")) {
			t.Error("the page does not carry the policy")
		}
		if strings.Contains(text, " style=") || strings.Contains(text, "http://") || strings.Contains(text, "https://") {
			t.Error("an inline style or an address on a page")
		}
	}
}

func TestPagesAreTheSameEachTime(t *testing.T) {
	a, b := pages(t, "x", pulses("x"))
	c, d := pages(t, "x", pulses("x"))
	if a != c || b != d {
		t.Error("two books of the same recordings differ")
	}
}

// One sample that stands out of a million must be seen.
func TestDecimationKeepsWhatStandsOut(t *testing.T) {
	samples := make([]float64, 1_000_000)
	samples[333_333], samples[777_777] = 100, -100
	var c curve
	c.strip(samples, 0, 900.0/1e6, func(v float64) float64 { return 200 - v })
	path := c.path()
	if len(path) > 40_000 {
		t.Errorf("%d bytes for 900 columns", len(path))
	}
	lowest, highest := math.Inf(1), math.Inf(-1)
	y := 0.0
	for i, f := range numbers(string(path)) {
		if i%2 == 1 {
			y += f
			lowest, highest = math.Min(lowest, y), math.Max(highest, y)
		}
	}
	if lowest != 2*100 || highest != 2*300 {
		t.Errorf("the trace reaches from %g to %g half pixels, not from 200 to 600", lowest, highest)
	}
}

// What is left out of a curve lies no farther from what is drawn than blur, and
// ends stay where they are.
func TestThinnedStaysBesideTheCurve(t *testing.T) {
	for seed := range uint64(20) {
		random := rand.New(rand.NewPCG(seed, 8))
		stroke := make([]place, 400)
		for i := range stroke {
			stroke[i] = place{3*i + random.IntN(3), int(60*math.Sin(float64(i)/25)) + random.IntN(4)}
		}
		kept := thinned(stroke)
		if kept[0] != stroke[0] || kept[len(kept)-1] != stroke[len(stroke)-1] || len(kept) >= len(stroke) {
			t.Fatalf("seed %d: %d of %d points, from %v to %v", seed, len(kept), len(stroke), kept[0], kept[len(kept)-1])
		}
		for _, p := range stroke {
			nearest := math.Inf(1)
			for i := range kept[1:] {
				_, off := farthest([]place{kept[i], p, kept[i+1]}, 0, 2)
				nearest = math.Min(nearest, off)
			}
			if nearest > blur+1e-9 {
				t.Fatalf("seed %d: %v lies %.2f half pixels beside the curve", seed, p, nearest)
			}
		}
	}
}

func numbers(path string) []float64 {
	var list []float64
	for _, text := range regexp.MustCompile(`-?\d+`).FindAllString(path, -1) {
		var v float64
		fmt.Sscan(text, &v)
		list = append(list, v)
	}
	return list
}

// What is missing is said, and nothing is drawn in its place.
func TestSheetWithoutTraceWavesAndBeats(t *testing.T) {
	s := pulses("")
	s.Trace, s.TraceMissing, s.Beats, s.Grade = nil, "the study was not given", nil, ""
	s.Replicates[0].Waves = nil
	for i := range s.Replicates[0].Values {
		s.Replicates[0].Values[i] = Value{math.NaN(), math.NaN()}
	}
	page, _ := pages(t, "", s)
	for _, want := range []string{"No trace here: the study was not given.", "No beat was found.", "has no average beat in mmHg", "no grade", "<td>none</td>"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if strings.Contains(page, "NaN") {
		t.Error("NaN on a page")
	}
}

// Every value of a sheet has the name that the report gives it.
func TestQuantitiesHaveTheirLabels(t *testing.T) {
	for _, primary := range schema.Calibrations {
		for _, q := range Quantities(primary) {
			if label, known := schema.QuantityName(q.Column); !known || q.Label != label {
				t.Errorf("%s is called %q on a sheet, %q elsewhere", q.Column, q.Label, label)
			}
		}
	}
}
