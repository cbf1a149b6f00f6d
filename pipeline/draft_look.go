package pipeline

import (
	"context"
	"errors"
	"path"
	"regexp"
	"slices"
	"strings"

	"tonocohort/pipeline/draft"
	"tonocohort/pipeline/recording"
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
	reasons := map[string]int{}
	for _, name := range names {
		if err := ctx.Err(); err != nil {
			return err
		}
		stem, ok := d.stem(name)
		if !ok {
			continue
		}
		contents, err := d.reader.Contents(name, d.options.From)
		if err != nil {
			reasons[reasonOf(err)]++
			continue
		}
		if d.options.From == "csv" && !readsAny(d.reader, name) {
			reasons["none of its columns holds samples"]++
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
			reasons["its name does not fit --names"]++
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
	d.plan.Left = reasons
	if d.options.From == "bids" {
		d.lookAtPeople(names)
	}
	return nil
}

// walk lists the files below a folder, sorted. Hidden names are left alone.
func (d *drafting) walk(ctx context.Context, dir string, depth int) ([]string, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	names, err := d.source.Names(dir)
	if err != nil {
		if depth > 0 { // a file, or a folder that links lead out of
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
		if d.source.Exists(full) {
			files = append(files, full)
		} else if depth < mostDeep {
			below, err := d.walk(ctx, full, depth+1)
			if err != nil {
				return nil, err
			}
			files = append(files, below...)
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
	if errors.As(err, &issue) {
		return issue.Message
	}
	return "it cannot be read"
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
			if !readsAny(reader, name) {
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

// readsAny reports whether one of the channels of a csv file can be read.
func readsAny(reader *recording.Reader, name string) bool {
	contents, err := reader.Contents(name, "csv")
	if err != nil {
		return false
	}
	for _, c := range contents.Channels {
		q := recording.Request{File: name, Format: "csv", Channel: c.Position}
		if !contents.Timed {
			q.SamplingHz = 100 // the numbers are looked at, not their rate
		}
		if _, err := reader.Read(q); err == nil {
			return true
		}
	}
	return false
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
