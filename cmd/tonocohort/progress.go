package main

import (
	"fmt"
	"io"
	"time"

	"tonocohort/pipeline"
)

// progress shows how far a run has come: one line rewritten in place on a
// terminal, a plain line every tenth of the way elsewhere, nothing when quiet.
type progress struct {
	out      io.Writer
	terminal bool
	quiet    bool
	started  time.Time
	drawn    time.Time
	decile   int
}

func newProgress(out io.Writer, quiet bool) *progress {
	return &progress{out: out, quiet: quiet, started: time.Now(), terminal: onTerminal(out)}
}

// redraw is how long a line on a terminal stands before it is drawn anew.
const redraw = 100 * time.Millisecond

// show is called by the run after each chunk; it never blocks on anything but
// the terminal.
func (p *progress) show(s pipeline.Progress) {
	if p.quiet || s.Total == 0 {
		return
	}
	now := time.Now()
	if p.terminal {
		if now.Sub(p.drawn) >= redraw || s.Done == s.Total {
			p.drawn = now
			fmt.Fprintf(p.out, "\r\x1b[K%s", p.line(s, now))
		}
		return
	}
	if decile := 10 * s.Done / s.Total; decile > p.decile {
		p.decile = decile
		fmt.Fprintln(p.out, p.line(s, now))
	}
}

func (p *progress) line(s pipeline.Progress, now time.Time) string {
	elapsed := now.Sub(p.started).Seconds()
	line := fmt.Sprintf("recordings %d of %d, %d failed", s.Done, s.Total, s.Failed)
	if elapsed <= 0 || s.Done == 0 {
		return line
	}
	rate := float64(s.Done) / elapsed
	left := time.Duration(float64(s.Total-s.Done) / rate * float64(time.Second))
	return fmt.Sprintf("%s, %.0f a second, %s left", line, rate, left.Round(time.Second))
}

// step tells at once what is being done, on a terminal.
func (p *progress) step(name string) {
	if p.terminal && !p.quiet {
		fmt.Fprintf(p.out, "\r\x1b[K%s …", name)
		p.drawn = time.Now()
	}
}

// end clears the line on a terminal.
func (p *progress) end() {
	if p.terminal && !p.quiet && !p.drawn.IsZero() {
		fmt.Fprint(p.out, "\r\x1b[K")
		p.drawn = time.Time{}
	}
}
