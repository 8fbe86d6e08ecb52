package main

import (
	"fmt"
	"io"
	"os"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"

	"tilelapse/pipeline"
)

// progress draws a run's events: a bar on a terminal, a line a stage elsewhere, nothing when quiet.
type progress struct {
	w     io.Writer
	quiet bool
	bar   *progressbar.ProgressBar
	stage string
	tty   bool
}

func newProgress(w io.Writer, quiet bool) *progress {
	f, ok := w.(*os.File)
	return &progress{w: w, quiet: quiet, tty: ok && term.IsTerminal(int(f.Fd()))}
}

func (p *progress) event(e pipeline.Event) {
	if p.quiet {
		return
	}
	if !p.tty {
		// A log wants few lines: the start of a stage, and its end.
		if e.Done == e.Total || e.Stage != p.stage {
			fmt.Fprintf(p.w, "%s %d/%d\n", e.Stage, e.Done, e.Total)
		}
		p.stage = e.Stage
		return
	}
	if e.Stage != p.stage {
		p.close()
		p.stage = e.Stage
		p.bar = progressbar.NewOptions(e.Total, progressbar.OptionSetWriter(p.w), progressbar.OptionSetDescription(e.Stage),
			progressbar.OptionShowCount(), progressbar.OptionSetPredictTime(true), progressbar.OptionClearOnFinish())
	}
	_ = p.bar.Set(e.Done) // a bar that can't be drawn stops nothing
}

func (p *progress) close() {
	if p.bar != nil {
		_ = p.bar.Finish()
		p.bar = nil
	}
}
