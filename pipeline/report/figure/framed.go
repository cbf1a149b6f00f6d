package figure

import "slices"

// Framed is the figure with what a page says around it: its title above, notes
// below. A figure that goes its own way, as a file, then says what its bars are, of
// whom it is, and what it may be used for.
func (f *Figure) Framed(notes ...string) *Figure {
	const line, inset = 15.0, 6.0
	out := *f
	out.shapes = nil
	width := f.Width - 2*inset
	y := 8.0
	for _, text := range wrap(f.Title, large, width, true) {
		out.boldText(inset, y+12, text, large, atStart)
		y += 18
	}
	y += 8
	for _, s := range f.shapes {
		s.points = slices.Clone(s.points)
		for i := range s.points {
			s.points[i].y += y
		}
		out.add(s)
	}
	y += f.Height + 4
	out.line(frame, 1, nil, point{inset, y}, point{f.Width - inset, y})
	y += 4
	for _, note := range append(slices.Clone(notes), f.Mark) {
		if note == "" {
			continue
		}
		for _, text := range wrap(note, small, width, note == f.Mark) {
			if note == f.Mark {
				out.boldText(inset, y+12, text, small, atStart)
			} else {
				out.text(inset, y+12, text, small, atStart)
			}
			y += line
		}
		y += 3
	}
	out.Height = y + 5
	return &out
}
