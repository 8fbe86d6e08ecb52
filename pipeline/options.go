package pipeline

import (
	"errors"
	"fmt"
	"path/filepath"
	"runtime"

	"tilelapse/pipeline/survey"
)

// Options of a run. The zero value of a field is its default.
type Options struct {
	Survey   string // survey folder, default the current one
	Out      string // output folder, default "out" in the survey folder
	Jobs     int    // photos worked on at the same time, default the number of processors
	View     string // only this view, "" = all
	Shard    int    // with Shards: do pass 1 for every Shards-th photo only, counted from 1, and write no results
	Shards   int
	Fresh    bool        // forget the records of earlier runs
	Unmasked bool        // write pictures also without hatching and coarsening, for a sealed file
	Version  string      // of the program, for run.json
	Events   func(Event) // told what happens, from one goroutine at a time; may be nil
}

// filled returns the options with defaults put in, or what is wrong with them.
func (o Options) filled() (Options, error) {
	if o.Survey == "" {
		o.Survey = "."
	}
	if o.Out == "" {
		o.Out = filepath.Join(o.Survey, "out")
	}
	if o.Jobs == 0 {
		o.Jobs = runtime.NumCPU()
	}
	if o.Jobs < 0 {
		return o, usage("--jobs %d: at least 1 is needed", o.Jobs)
	}
	if o.Shards < 0 || o.Shard < 0 || o.Shard > o.Shards || (o.Shards > 0 && o.Shard == 0) {
		return o, usage("--shard %d/%d: write I/N with I from 1 to N", o.Shard, o.Shards)
	}
	if o.Events == nil {
		o.Events = func(Event) {}
	}
	return o, nil
}

// Event is what a run tells while it goes on.
type Event struct {
	Stage string // align, measure, draw, write
	Done  int    // steps of the stage that are done
	Total int    // steps of the stage, 0 = unknown
	Photo string // the photo just done, "" = none
	Text  string // what became of it
}

// Exit codes of the program (contract).
const (
	ExitDone    = 0
	ExitFailed  = 1 // could not finish, or a photo could not be read from disk
	ExitNothing = 3 // nothing usable was found
	ExitUsage   = 4 // wrong usage or survey
	ExitNo      = 5 // verify says no
)

// UsageError is a mistake in a command or a survey file; the user mends it before any work is done.
type UsageError struct{ Err error }

func (e *UsageError) Error() string { return e.Err.Error() }

// Unwrap returns the cause.
func (e *UsageError) Unwrap() error { return e.Err }

func usage(format string, a ...any) error { return &UsageError{fmt.Errorf(format, a...)} }

// ErrNothing says that not one photo could be used.
var ErrNothing = errors.New("no photo could be used: see photos.csv for the reason of each")

// ErrUnread says that photos could not be read from disk; everything else was measured.
var ErrUnread = errors.New("some photos could not be read from disk: see photos.csv")

// ExitCode returns the exit code that stands for an error of this package.
func ExitCode(err error) int {
	var u *UsageError
	var m survey.Mistakes
	switch {
	case err == nil:
		return ExitDone
	case errors.As(err, &u), errors.As(err, &m):
		return ExitUsage
	case errors.Is(err, ErrNothing):
		return ExitNothing
	case errors.Is(err, ErrDiffers):
		return ExitNo
	}
	return ExitFailed
}
