package draft

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
)

// pressureName is what a channel with an arterial wave is likely to be called.
// It only proposes: the list says what was chosen.
var pressureName = regexp.MustCompile(`(?i)(^|[^a-z])(abp|art|bp|nibp|ibp|press|pressure|tono|tonometry|tonogram|radial|carotid|brachial|aort[a-z]*)([^a-z]|$)`)

// shownName is a name that is shown in the list; another one may hold anything.
var shownName = regexp.MustCompile(`^[\pL\pN][\pL\pN ._:/+-]{0,31}$`)

// choices gathers how channels were chosen, for the list.
type choices struct {
	chosen, open map[string]int // by channels: number of files
	rateless     int
	pressures    int // chosen ones in mmHg
}

// choose picks the only channel that can be meant: the only one there is, else
// the only one in mmHg, else the only one with a telling name. Otherwise the
// cell stays empty.
func (c *choices) choose(r *Recording) Channel {
	if c.chosen == nil {
		c.chosen, c.open = map[string]int{}, map[string]int{}
	}
	if !r.Timed && !slices.ContainsFunc(r.Channels, func(ch Channel) bool { return ch.SamplingHz > 0 }) {
		c.rateless++
	}
	chosen, ok := only(r.Channels, func(Channel) bool { return true })
	if !ok {
		chosen, ok = only(r.Channels, func(ch Channel) bool { return ch.Unit == "mmHg" })
	}
	if !ok {
		chosen, ok = only(r.Channels, func(ch Channel) bool { return pressureName.MatchString(ch.Name) })
	}
	if !ok {
		c.open[describe(r.Channels)]++
		return Channel{}
	}
	if len(r.Channels) > 1 {
		c.chosen[chosen.shown()+" of "+describe(r.Channels)]++
	}
	if chosen.Unit == "mmHg" {
		c.pressures++
	}
	return chosen
}

func only(channels []Channel, fits func(Channel) bool) (Channel, bool) {
	var found []Channel
	for _, ch := range channels {
		if fits(ch) {
			found = append(found, ch)
		}
	}
	if len(found) != 1 {
		return Channel{}, false
	}
	return found[0], true
}

// named is the channel as the recordings table names it: by name where the name
// is a plain one, else by position.
func (ch Channel) named() string {
	if shownName.MatchString(ch.Name) {
		return ch.Name
	}
	return ch.Position
}

// shown is a channel for the list: position, name, rate and unit.
func (ch Channel) shown() string {
	text := ch.Position
	if shownName.MatchString(ch.Name) {
		text += " " + ch.Name
	}
	var about []string
	if ch.SamplingHz > 0 {
		about = append(about, fmt.Sprintf("%g Hz", ch.SamplingHz))
	}
	if ch.Unit == "mmHg" {
		about = append(about, ch.Unit)
	}
	if len(about) > 0 {
		text += " (" + strings.Join(about, ", ") + ")"
	}
	return text
}

// mostShown is how many channels of a file are listed.
const mostShown = 12

func describe(channels []Channel) string {
	if len(channels) == 0 {
		return "no channel at all"
	}
	var parts []string
	for i, ch := range channels {
		if i == mostShown {
			parts = append(parts, fmt.Sprintf("and %d more", len(channels)-i))
			break
		}
		parts = append(parts, ch.shown())
	}
	return strings.Join(parts, "; ")
}

// list says which channels were chosen and which are open.
func (c *choices) list(format string) []string {
	var lines []string
	for _, key := range slices.Sorted(maps.Keys(c.open)) {
		lines = append(lines, fmt.Sprintf("recordings.csv: channel is empty for %s with %s: write the name or the position of the pulse wave", files(c.open[key]), key))
	}
	for _, key := range slices.Sorted(maps.Keys(c.chosen)) {
		lines = append(lines, fmt.Sprintf("recordings.csv: confirm the channel of %s: %s", files(c.chosen[key]), key))
	}
	if c.rateless > 0 {
		lines = append(lines, fmt.Sprintf("recordings.csv: sampling_hz is empty for %s without a rate", files(c.rateless)))
	}
	if format == "csv" {
		lines = append(lines, "recordings.csv: unit is empty, which means a wave without scale (au). Write mmHg only where the numbers are pressures")
	}
	if c.pressures > 0 {
		lines = append(lines, fmt.Sprintf("%s in mmHg by the header: calibration: {primary: as_recorded} in study.yaml uses that scale; otherwise the cuff gives it", files(c.pressures)))
	}
	return lines
}

func files(n int) string { return plural(n, "file") }

func plural(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
