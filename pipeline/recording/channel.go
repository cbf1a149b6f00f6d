package recording

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"tonocohort/schema"
)

// valueColumn finds the column to read: the channel by name, else by position
// from 1, else pressure.
func (x *reading) valueColumn(t *table) (int, error) {
	names := t.names()
	if x.Channel != "" {
		return x.pick(names)
	}
	if k := slices.Index(names, pressureColumn); k >= 0 {
		return k, x.once(names, k, "give the position of one in channel")
	}
	i := fault(x.File, CodeColumnMissing, "has no column "+pressureColumn, "name the column in channel; the file has "+shorten([]byte(strings.Join(names, ", ")))+laterHeader(t))
	if near, ok := schema.Nearest(pressureColumn, names); ok {
		i.Hint = fmt.Sprintf("%q must be written %q, or named in channel", near, pressureColumn)
	}
	i.Row = max(1, x.options.Text.HeaderLine)
	return 0, i
}

// laterHeader tells of a line further down that looks like the header.
func laterHeader(t *table) string {
	rest := t.data[t.start:min(len(t.data), t.start+mostHeader)]
	for n, line := range bytes.Split(rest, []byte{'\n'}) {
		for cell := range bytes.SplitSeq(line, []byte{t.delimiter}) {
			if string(trimCell(bytes.TrimSuffix(cell, []byte{'\r'}))) == pressureColumn {
				return fmt.Sprintf("; waveforms: {header_line: %d} takes the header from further down", t.firstLine+n)
			}
		}
	}
	return ""
}

// clockColumn finds the column of times, -1 where there is none: the declared
// one by name, else by position from 1, else time_s.
func (x *reading) clockColumn(t *table) (int, error) {
	names, name := t.names(), cmp.Or(x.options.Text.Time, timeColumn)
	k := slices.Index(names, name)
	if k >= 0 {
		return k, x.once(names, k, "waveforms: {time_column: POSITION} reads one of them, in all csv waveforms alike")
	}
	if n, err := strconv.Atoi(name); err == nil && n >= 1 && n <= len(names) {
		return n - 1, nil
	}
	return -1, nil
}

// once refuses a name that two columns have.
func (x *reading) once(names []string, k int, hint string) error {
	second := slices.Index(names[k+1:], names[k])
	if second < 0 {
		return nil
	}
	i := fault(x.File, CodeColumnDuplicate, "is the name of two columns", hint)
	i.Row, i.Column, i.Value = max(1, x.options.Text.HeaderLine), k+second+2, names[k]
	return i
}

// clockHint tells how a rate can be had.
func (x *reading) clockHint(t *table) string {
	hint := "give sampling_hz in the recordings table"
	for _, name := range t.names() {
		lower := strings.ToLower(name)
		if _, near := schema.Nearest(timeColumn, []string{lower}); near || strings.HasPrefix(lower, "time") || strings.HasPrefix(lower, "zeit") || lower == "t" {
			return fmt.Sprintf("%s; or is %q the time? waveforms: {time_column: %q} reads it, and time_unit its unit", hint, shorten([]byte(name)), shorten([]byte(name)))
		}
	}
	return hint
}

// pick finds the channel among names: by name, else by position from 1.
func (x *reading) pick(names []string) (int, error) {
	k := slices.Index(names, x.Channel)
	if k >= 0 {
		if slices.Contains(names[k+1:], x.Channel) {
			return 0, x.channelFault(CodeChannelAmbiguous, "is the name of several channels", names...)
		}
		return k, nil
	}
	if n, err := strconv.Atoi(x.Channel); err == nil && n >= 1 && n <= len(names) {
		return n - 1, nil
	}
	return 0, x.channelFault(CodeChannelMissing, "is no channel of the file", names...)
}

// channelFault is an Issue about the channel. Names in a file are shown only
// where they are close to what the table asks for: they may hold anything.
func (x *reading) channelFault(code, message string, names ...string) error {
	i := fault(x.File, code, message, "name another channel")
	i.Name, i.Value = "channel", shorten([]byte(x.Channel))
	if len(names) > 0 {
		i.Hint = fmt.Sprintf("give a name, or a position from 1 to %d", len(names))
		near, ok := schema.Nearest(x.Channel, names)
		switch {
		case code == CodeChannelAmbiguous:
			i.Hint = fmt.Sprintf("give its position, from 1 to %d", len(names))
		case ok:
			i.Hint = fmt.Sprintf("did you mean %q?", near)
		}
	}
	return i
}
