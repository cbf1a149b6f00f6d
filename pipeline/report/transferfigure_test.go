package report

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"
)

// words returns the text of an SVG, which must be well-formed.
func words(t *testing.T, svg []byte) string {
	t.Helper()
	decoder := xml.NewDecoder(bytes.NewReader(svg))
	var b strings.Builder
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			return b.String()
		}
		if err != nil {
			t.Fatal(err)
		}
		if text, ok := token.(xml.CharData); ok {
			b.Write(text)
			b.WriteByte('\n')
		}
	}
}

func TestTransferFigureIsLabelled(t *testing.T) {
	var first, second, few bytes.Buffer
	for _, b := range []*bytes.Buffer{&first, &second} {
		if err := TransferFigure(b, made(12)); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(first.Bytes(), second.Bytes()) {
		t.Error("the same function gives another figure")
	}
	if err := TransferFigure(&few, made(7)); err != nil {
		t.Fatal(err)
	}
	text := words(t, first.Bytes())
	for _, part := range []string{"frequency (Hz)", "modulus (1)", "phase, feet aligned (°)", "coherence between subjects (1)",
		"n = 12 subjects, 13 pairs", "truth carotid", "measured, with 95 % band", "fitted tube: Td 62.5 ms", "published tube: Td 62.5 ms", "Modulus, phase and coherence"} {
		if !strings.Contains(text, part) {
			t.Errorf("the figure lacks %q", part)
		}
	}
	if text := words(t, few.Bytes()); strings.Contains(text, "band") || !strings.Contains(text, "n = 7 subjects") {
		t.Error("a figure of seven subjects speaks of a band")
	}
	if !bytes.Contains(first.Bytes(), []byte(`role="img"`)) || bytes.Contains(first.Bytes(), []byte("<script")) {
		t.Error("no role for a screen reader, or a script")
	}
	// Lines differ in their dashes, not in colour alone.
	if n := bytes.Count(first.Bytes(), []byte("stroke-dasharray")); n < 6 {
		t.Errorf("%d dashed strokes, want two tubes in two panels and in the legend", n)
	}
}
