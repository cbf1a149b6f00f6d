package pipeline

import (
	"context"
	"errors"
	"fmt"
	"path"
	"regexp"
	"slices"
	"strings"
	"unicode"

	"tonocohort/pipeline/draft"
	"tonocohort/pipeline/recording"
	"tonocohort/pipeline/store"
	"tonocohort/schema"
)

// endings are those of the recordings of a form, in lower case.
func endings(form string) []string {
	switch form {
	case "bids":
		return []string{"_physio.tsv.gz"}
	case "wfdb":
		return []string{".hea"}
	case "edf":
		return []string{".edf", ".bdf"}
	default:
		return []string{".csv", ".csv.gz"}
	}
}

// mostDeep is how deep folders are looked into.
const mostDeep = 32

// look walks the source folder and looks into what could be a recording.
func (d *drafting) look(ctx context.Context) error {
	names, err := d.walk(ctx, ".", 0)
	if err != nil {
		return err
	}
	d.guessSigns(names)
	parts := map[string]bool{} // headers that are segments of another record
	type found struct {
		name, stem string
		contents   recording.Contents
	}
	var all []found
	for _, name := range names {
		if err := ctx.Err(); err != nil {
			return err
		}
		stem, ok := d.stem(name)
		if !ok {
			continue
		}
		if strings.ContainsFunc(name, unicode.IsControl) {
			d.leave(name, errors.New("its name holds a line break or the like, which no table can name: rename it"))
			continue
		}
		contents, err := d.reader.Contents(name, d.options.From)
		if err == nil && d.options.From == "csv" {
			err = readsAny(d.reader, name)
		}
		if err != nil {
			d.leave(name, err)
			continue
		}
		for _, other := range contents.Files[1:] {
			parts[other] = true
		}
		all = append(all, found{name, stem, contents})
	}
	for _, f := range all {
		switch {
		case parts[f.name]:
			continue
		case d.plan.Pattern != nil && !d.plan.Pattern.Match(f.stem):
			d.leave(f.name, errors.New("its name does not fit --names"))
			continue
		}
		d.copies = append(d.copies, f.contents.Files...)
		r := draft.Recording{File: path.Join(wavesFolder, f.name), Name: f.stem, Timed: f.contents.Timed}
		for _, c := range f.contents.Channels {
			r.Channels = append(r.Channels, draft.Channel(c))
		}
		r.Channels = withPressure(r.Channels, d.options.From)
		d.plan.Recordings = append(d.plan.Recordings, r)
	}
	if d.options.From == "bids" {
		d.lookAtPeople(names)
	}
	return nil
}

// leave notes a file that could have been a recording, and why it is none.
func (d *drafting) leave(name string, err error) {
	if d.plan.Left == nil {
		d.plan.Left = map[string][]string{}
	}
	reason := reasonOf(err)
	d.plan.Left[reason] = append(d.plan.Left[reason], name)
}

// walk lists the files below a folder, sorted. Hidden names are left alone, and
// links to folders are not followed: what lies behind one stands in its own place
// already, or the link leads round in a circle.
func (d *drafting) walk(ctx context.Context, dir string, depth int) ([]string, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	names, err := d.source.Names(dir)
	if err != nil {
		if depth > 0 {
			d.leave(dir, err)
			return nil, nil
		}
		return nil, err
	}
	var files []string
	for _, name := range names {
		if strings.HasPrefix(name, ".") {
			continue
		}
		full := path.Join(dir, name)
		_, err := d.source.Size(full)
		switch folder := d.source.IsFolder(full); {
		case err == nil:
			files = append(files, full)
		case folder && depth < mostDeep:
			below, err := d.walk(ctx, full, depth+1)
			if err != nil {
				return nil, err
			}
			files = append(files, below...)
		case folder:
			d.leave(full, fmt.Errorf("is a folder more than %d folders deep", mostDeep))
		case reasonOf(err) == "is a folder":
			d.leave(full, errors.New("is a link to a folder, which is not followed"))
		default:
			if _, ok := d.stem(full); ok {
				d.leave(full, err)
			}
		}
	}
	return files, nil
}

// stem cuts the ending of a recording off its name.
func (d *drafting) stem(name string) (string, bool) {
	lower := strings.ToLower(name)
	for _, ending := range endings(d.options.From) {
		if strings.HasSuffix(lower, ending) {
			return name[:len(name)-len(ending)], true
		}
	}
	return "", false
}

// withPressure takes the column pressure for the channel of a csv file that has
// one, whatever else it has.
func withPressure(channels []draft.Channel, form string) []draft.Channel {
	at := slices.IndexFunc(channels, func(c draft.Channel) bool { return c.Name == "pressure" })
	if form == "csv" && at >= 0 {
		return channels[at : at+1]
	}
	return channels
}

func reasonOf(err error) string {
	var issue *schema.Issue
	var refused *store.Error
	switch {
	case errors.As(err, &issue):
		text := issue.Message
		if issue.Name != "" {
			text = issue.Name + ": " + text
		}
		if issue.Hint != "" {
			text += " — " + issue.Hint
		}
		return text
	case errors.As(err, &refused):
		return refused.Message
	}
	return err.Error()
}

// guessSigns finds delimiter and decimal sign of csv waveforms: those under which
// the first file that holds anything can be read. They are declared in the draft.
func (d *drafting) guessSigns(names []string) {
	if d.options.From != "csv" {
		return
	}
	tries := []schema.WaveformSettings{
		{Delimiter: "comma", Decimal: "point"}, {Delimiter: "semicolon", Decimal: "comma"}, {Delimiter: "semicolon", Decimal: "point"},
		{Delimiter: "tab", Decimal: "point"}, {Delimiter: "tab", Decimal: "comma"}, {Delimiter: "pipe", Decimal: "point"},
	}
	for _, name := range names {
		if _, ok := d.stem(name); !ok {
			continue
		}
		for i, w := range tries {
			settings := schema.DefaultSettings()
			settings.Waveforms = w
			reader := newReader(d.source, settings)
			if readsAny(reader, name) != nil {
				continue
			}
			d.reader = reader
			if i > 0 {
				d.plan.Delimiter, d.plan.Decimal = w.Delimiter, w.Decimal
			}
			return
		}
	}
}

// readsAny says why none of the channels of a csv file can be read: the one of
// the column pressure, else of the last; nil where one can.
func readsAny(reader *recording.Reader, name string) error {
	contents, err := reader.Contents(name, "csv")
	if err != nil {
		return err
	}
	reason, found := errors.New("none of its columns holds samples"), false
	for _, c := range contents.Channels {
		q := recording.Request{File: name, Format: "csv", Channel: c.Position}
		if !contents.Timed {
			q.SamplingHz = 100 // the numbers are looked at, not their rate
		}
		_, err := reader.Read(q)
		if err == nil {
			return nil
		}
		if !found {
			reason, found = err, c.Name == "pressure"
		}
	}
	return reason
}

// sessionsFile is the table of one participant's sessions.
var sessionsFile = regexp.MustCompile(`(^|/)(sub-[^/_]+)_sessions\.tsv$`)

// lookAtPeople reads the side files of BIDS that tell of people.
func (d *drafting) lookAtPeople(names []string) {
	d.plan.Participants, _ = d.readTSV("participants.tsv")
	d.readUnits("participants.json")
	for _, name := range names {
		if m := sessionsFile.FindStringSubmatch(name); m != nil {
			if t, ok := d.readTSV(name); ok {
				d.plan.Sessions[m[2]] = t
			}
		}
	}
}
