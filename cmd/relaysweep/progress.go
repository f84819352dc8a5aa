package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"time"

	"golang.org/x/term"

	"relaysweep/sweep"
)

// isTerminal tells whether w is a terminal.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// How often progress is shown: on a terminal in place, elsewhere a line.
const (
	terminalInterval = 200 * time.Millisecond
	lineInterval     = 10 * time.Second
)

// progress shows how a run stands on stderr.
type progress struct {
	w        io.Writer
	terminal bool
	started  time.Time
	shown    time.Time
	last     sweep.Status // as last shown
	drawn    bool
}

func newProgress(w io.Writer) *progress {
	now := time.Now()
	return &progress{w: w, terminal: isTerminal(w), started: now, shown: now}
}

func (p *progress) show(s sweep.Status) {
	interval := lineInterval
	if p.terminal {
		interval = terminalInterval
	}
	now := time.Now()
	passed := now.Sub(p.shown)
	if passed < interval {
		return
	}
	if s.Point != p.last.Point {
		p.last = sweep.Status{Point: s.Point}
	}
	line := p.line(s, passed, now.Sub(p.started))
	if p.terminal {
		fmt.Fprintf(p.w, "\r\x1b[K%s", line)
		p.drawn = true
	} else {
		fmt.Fprintln(p.w, line)
	}
	p.shown, p.last = now, s
}

func (p *progress) line(s sweep.Status, since, total time.Duration) string {
	line := total.Round(time.Second).String()
	if s.Points > 1 {
		line += fmt.Sprintf("  point %d of %d", s.Point+1, s.Points)
		if s.Point > 0 {
			left := total / time.Duration(s.Point) * time.Duration(s.Points-s.Point)
			line += fmt.Sprintf(", about %s left", left.Round(time.Second))
		}
	}
	line += fmt.Sprintf("  examined %s (%s/s)  checked %s (%s/s)  passed %d of %d",
		short(s.Examined), short(rate(s.Examined-p.last.Examined, since)),
		short(s.Checked), short(rate(s.Checked-p.last.Checked, since)), s.Passed, s.Wanted)
	if s.ProvenMM > 0 && !math.IsInf(s.ProvenMM, 0) {
		line += fmt.Sprintf("  proven to %.1f mm", s.ProvenMM)
	}
	return line
}

func rate(n int64, d time.Duration) int64 {
	return int64(float64(n) / math.Max(d.Seconds(), 1e-3))
}

// short is a count in at most four digits and a unit prefix.
func short(n int64) string {
	switch {
	case n < 10_000:
		return fmt.Sprint(n)
	case n < 10_000_000:
		return fmt.Sprintf("%d k", n/1000)
	}
	return fmt.Sprintf("%d M", n/1_000_000)
}

// end leaves the terminal's line.
func (p *progress) end() {
	if p.drawn {
		fmt.Fprint(p.w, "\r\x1b[K")
	}
}
