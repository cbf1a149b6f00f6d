package recording

import (
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"tonocohort/schema"
)

// fault is an Issue that leaves the recording out.
func fault(file, code, message, hint string) *schema.Issue {
	return &schema.Issue{Size: schema.SizeRecording, File: file, Code: code, Message: message, Hint: hint}
}

// fault is an Issue about the whole file.
func (x *reading) fault(code, message, hint string) error {
	return fault(x.File, code, message, hint)
}

// note adds an Issue that leaves nothing out.
func (x *reading) note(code, message string) {
	i := fault(x.File, code, message, "")
	i.Size = schema.SizeNote
	x.rec.Notes = append(x.rec.Notes, *i)
}

// Ways out that many faults share.
const (
	askWhole    = "is the file complete? get it again from where it came"
	exportAgain = "export the recording again without gaps, as EDF or EDF+C"
	mendHeader  = "correct the line, or get the header again from where it came"
)

// sourceFault turns what the source said about a file into an Issue.
func sourceFault(name string, err error) error {
	var coded interface {
		Issue(schema.Size) schema.Issue
	}
	if errors.As(err, &coded) {
		i := coded.Issue(schema.SizeRecording)
		if i.Hint == "" {
			i.Hint = "put the file there so that it can be read, or correct the name that leads to it"
		}
		return &i
	}
	return fault(name, CodeReadFailed, "cannot be read: "+err.Error(), askWhole)
}

// shorten keeps the start of a value, for a message.
func shorten(value []byte) string {
	const most = 40
	s := string(value[:min(len(value), most+utf8.UTFMax)])
	s = strings.ToValidUTF8(s, "?")
	if len(s) > most {
		cut := most
		for !utf8.RuneStart(s[cut]) {
			cut--
		}
		s = s[:cut] + "…"
	}
	return s
}

func plural(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
