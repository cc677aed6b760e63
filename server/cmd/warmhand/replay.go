package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"warmhand/internal/replay"
)

type replayCmd struct {
	Files     []string      `arg:"" placeholder:"FILE" help:"Case files; - is standard input."`
	Every     time.Duration `default:"24h" placeholder:"TIME" help:"Time between two steps, at least a minute (${default})."`
	UntilDays int           `default:"180" placeholder:"DAYS" help:"Follow no case for longer than this (${default})."`
	Standings bool          `xor:"out" help:"Write only the steps at which the standing changed."`
	Summary   bool          `xor:"out" help:"Write a table of all cases instead of the steps."`
	SkipBad   bool          `help:"Leave out lines that cannot be read, and say how many."`
}

func (replayCmd) Help() string {
	return "Each case is stepped from its handover to its last event and assessed with what was known by then, and nothing later. One JSON line for each case and step goes to standard output. What is in a case file, and in the answer, is in internal/casefile/README.md.\n\nExample:\n\n  warmhand replay --summary cases.jsonl"
}

func (c *replayCmd) Run(e *env) (err error) {
	if c.Every < time.Minute {
		return fmt.Errorf("--every %s is too short: give at least 1m", c.Every)
	}
	if c.UntilDays < 0 || c.UntilDays > 36500 {
		return fmt.Errorf("--until-days %d: give 0 to 36500 days", c.UntilDays)
	}
	var inputs []replay.Input
	for _, name := range c.Files {
		if name == "-" {
			inputs = append(inputs, replay.Input{Name: "standard input", Reader: os.Stdin})
			continue
		}
		f, err := os.Open(name)
		if err != nil {
			return err
		}
		defer f.Close()
		inputs = append(inputs, replay.Input{Name: name, Reader: f})
	}
	p := progress{out: e.err, began: time.Now()}
	if !p.terminal() {
		p.out = io.Discard
	}
	out := bufio.NewWriterSize(e.out, 1<<16)
	sum, err := replay.Run(e, inputs, out, replay.Options{Every: c.Every, UntilDays: c.UntilDays, Standings: c.Standings, Quiet: c.Summary, SkipBad: c.SkipBad, Progress: p.tell})
	p.clear()
	if err == nil && c.Summary {
		err = sum.Write(out)
	}
	if err := errors.Join(err, out.Flush()); err != nil {
		return err
	}
	if sum.LeftOut > 0 {
		_, err = fmt.Fprintf(e.err, "Left out %d lines that could not be read. The first: %v\n", sum.LeftOut, sum.FirstBad)
	}
	return err
}

// progress is a line on a terminal that is written over.
type progress struct {
	out   io.Writer
	began time.Time

	mu    sync.Mutex
	shown time.Time
}

func (p *progress) terminal() bool {
	f, ok := p.out.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

func (p *progress) tell(done, all int64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if now := time.Now(); now.Sub(p.shown) > time.Second/5 {
		p.shown = now
		if all == 0 {
			fmt.Fprintf(p.out, "\r\033[Kreading: %d MB, %s", done>>20, now.Sub(p.began).Round(time.Second))
		} else {
			fmt.Fprintf(p.out, "\r\033[Kreplaying: %d %%, %s", 100*done/all, now.Sub(p.began).Round(time.Second))
		}
	}
}

func (p *progress) clear() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.shown.IsZero() {
		fmt.Fprint(p.out, "\r\033[K")
	}
}
