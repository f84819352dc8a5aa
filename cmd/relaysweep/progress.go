package main

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"sync"
	"time"

	"golang.org/x/term"

	"relaysweep/sweep"
)

// isTerminal reports whether w is a terminal.
func isTerminal(w io.Writer) bool {
	if s, ok := w.(*shared); ok {
		w = s.w
	}
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// shared is a writer for several goroutines.
type shared struct {
	mu sync.Mutex
	w  io.Writer
}

func (s *shared) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.w.Write(p)
}

// How often progress is shown: on a terminal in place, elsewhere a line, less
// often once the run is older than lineYoung.
const (
	terminalInterval = 200 * time.Millisecond
	lineInterval     = 10 * time.Second
	lineYoung        = 2 * time.Minute
	lineIntervalOld  = time.Minute
)

// quietAfter is how long nothing may be counted before the phase is named.
const quietAfter = 10 * time.Second

// phases name what is done at a stage. What has no name here is named by itself.
var phases = map[string]string{
	sweep.StageStacks: "making groups of lenses", sweep.StageWouldFit: "finding what would fit",
	sweep.StageIdeal: "finding the ideal limit", sweep.StageMerge: "joining the parts",
	"search": "searching", "check": "checking by rays", "optimize": "searching a population",
	"refine": "refining by exact rays", "screen": "screening by rays", "audit": "auditing the screen",
}

// uncounted are the stages in which nothing is counted: the phase is all that there is
// to show.
var uncounted = []string{sweep.StageStacks, sweep.StageWouldFit, sweep.StageIdeal, sweep.StageMerge}

// progress shows how a run stands on stderr. It goes on showing the time while
// a long unit of work is in hand.
type progress struct {
	w        io.Writer
	terminal bool // one that can rewrite a line
	started  time.Time

	mu    sync.Mutex // for all below
	now   sweep.Status
	known bool // now is
	shown time.Time
	last  sweep.Status // as last shown
	moved time.Time    // when a count last changed, or the stage
	begun time.Time    // when this attempt was the first to do something anew
	point int          // at which that was
	check int64        // how many were checked then
	exam  int64        // how many were examined then
	drawn bool

	stop, stopped chan struct{}
}

func newProgress(w io.Writer) *progress {
	now := time.Now()
	p := &progress{
		w: w, terminal: isTerminal(w) && os.Getenv("TERM") != "dumb", started: now, shown: now,
		stop: make(chan struct{}), stopped: make(chan struct{}),
	}
	go p.tick()
	return p
}

func (p *progress) tick() {
	defer close(p.stopped)
	interval := time.Second
	if p.terminal {
		interval = terminalInterval
	}
	ticker := time.NewTicker(interval)
	defer ticker.Stop()
	for {
		select {
		case <-p.stop:
			return
		case now := <-ticker.C:
			p.mu.Lock()
			p.draw(now)
			p.mu.Unlock()
		}
	}
}

// show takes note of how the run stands; it is shown when it is time.
func (p *progress) show(s sweep.Status) { p.take(s, time.Now()) }

func (p *progress) take(s sweep.Status, now time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if s.Stage != p.now.Stage || countsOf(&s) != countsOf(&p.now) {
		p.moved = now
	}
	if s.Point != p.now.Point {
		p.last = sweep.Status{Point: s.Point}
		p.check, p.exam = 0, 0
	}
	if s.Replayed {
		p.last, p.check, p.exam = s, s.Checked, s.Examined // what was done before says nothing of the rate
	} else if p.begun.IsZero() {
		p.begun, p.point = now, s.Point
	}
	p.now, p.known = s, true
}

// countsOf are the counts that show a run moving.
func countsOf(s *sweep.Status) [5]int64 {
	return [5]int64{int64(s.Point), s.Examined, s.Checked, s.Passed, int64(s.Refined)}
}

func (p *progress) draw(now time.Time) {
	interval := lineInterval
	switch {
	case p.terminal:
		interval = terminalInterval
	case now.Sub(p.started) > lineYoung:
		interval = lineIntervalOld
	}
	since := now.Sub(p.shown)
	if !p.known || since < interval {
		return
	}
	line := p.line(now, since)
	if p.terminal {
		fmt.Fprintf(p.w, "\r\x1b[K%s", line)
		p.drawn = true
	} else {
		fmt.Fprintln(p.w, line)
	}
	p.shown, p.last = now, p.now
}

func (p *progress) line(now time.Time, since time.Duration) string {
	s := &p.now
	line := now.Sub(p.started).Round(time.Second).String()
	if s.Points > 1 {
		line += fmt.Sprintf("  point %d of %d", s.Point+1, s.Points)
	}
	if s.Replayed {
		return line + "  going through the journal"
	}
	phase := cmp.Or(phases[s.Stage], s.Stage)
	if s.Easing != "" {
		phase += ": " + s.Easing + " eased"
	}
	if slices.Contains(uncounted, s.Stage) {
		return line + "  " + phase
	}
	line += fmt.Sprintf("  examined %s (%s/s)  checked %s (%s/s)  passed %d",
		short(s.Examined), short(rate(s.Examined-p.last.Examined, since)),
		short(s.Checked), short(rate(s.Checked-p.last.Checked, since)), s.Passed)
	if s.ExaminedMax == 0 { // otherwise it goes on when enough have passed
		line += fmt.Sprintf(" of %d", s.Wanted)
	}
	if s.Refined > 0 {
		line += fmt.Sprintf("  refined %d", s.Refined)
	}
	if s.BestMM > 0 && !math.IsInf(s.BestMM, 0) {
		line += fmt.Sprintf("  best %.1f mm", s.BestMM)
		if s.ProvenMM > 0 && !math.IsInf(s.ProvenMM, 0) {
			line += fmt.Sprintf("  screened to %.1f mm", s.ProvenMM)
		}
		if gap := s.BestMM - s.ProvenMM; s.ProvenMM > 0 && gap > 0 {
			line += fmt.Sprintf(", %.1f mm (%.1f %%) to go", gap, 100*gap/s.BestMM)
		}
	} else if s.ProvenMM > 0 && !math.IsInf(s.ProvenMM, 0) {
		sure := "proven"
		if s.BestMM > 0 { // designs are refined, see sweep.Status
			sure = "screened"
		}
		line += fmt.Sprintf("  %s to %.1f mm", sure, s.ProvenMM)
	}
	if quiet := now.Sub(p.moved); quiet > quietAfter && phase != "" {
		return line + fmt.Sprintf("  %s for %s", phase, quiet.Round(time.Second))
	}
	return line + p.left(now)
}

// left tells how long the run will still take where that can be known: by the
// sweep points that are done, or by the checks or evaluations that are allowed. How far up in
// length enough designs pass nobody knows before.
func (p *progress) left(now time.Time) string {
	s := &p.now
	spent := now.Sub(p.begun)
	switch done := s.Point - p.point; {
	case p.begun.IsZero():
		return ""
	case s.Points > 1 && done > 0:
		left := time.Duration(float64(spent) / float64(done) * float64(s.Points-s.Point))
		return fmt.Sprintf("  about %s left", left.Round(time.Second))
	case s.Points == 1 && s.ChecksMax > 0 && s.Checked > p.check:
		left := time.Duration(float64(spent) / float64(s.Checked-p.check) * float64(s.ChecksMax-s.Checked))
		return fmt.Sprintf("  at most about %s left", left.Round(time.Second))
	case s.Points == 1 && s.ExaminedMax > s.Examined && s.Examined > p.exam:
		left := time.Duration(float64(spent) / float64(s.Examined-p.exam) * float64(s.ExaminedMax-s.Examined))
		return fmt.Sprintf("  at most about %s left", left.Round(time.Second))
	}
	return ""
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

// end stops showing and leaves the terminal's line.
func (p *progress) end() {
	close(p.stop)
	<-p.stopped
	if p.drawn {
		fmt.Fprint(p.w, "\r\x1b[K")
	}
}
