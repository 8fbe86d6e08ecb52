package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"tilelapse/pipeline"
)

func runCommand() *cobra.Command {
	var opt pipeline.Options
	var shard string
	var quiet bool
	c := &cobra.Command{
		Use:   "run [SURVEY]",
		Short: "Measure all photos of a survey folder and write the output folder",
		Long: `Aligns every photo to its reference, cancels light, measures, and writes tables, pictures and reports to the output
folder. Photos measured before are not measured again.

` + exitCodes,
		Args: atMostOne,
		RunE: func(c *cobra.Command, args []string) error {
			opt.Survey, opt.Version = surveyArg(args), version
			if shard != "" {
				i, n, ok := strings.Cut(shard, "/")
				a, err1 := strconv.Atoi(i)
				b, err2 := strconv.Atoi(n)
				if !ok || err1 != nil || err2 != nil || a < 1 || b < a {
					return &usageError{fmt.Errorf("--shard %s: write I/N with I from 1 to N", shard)}
				}
				opt.Shard, opt.Shards = a, b
			}
			holdMemory(opt.Jobs)
			p := newProgress(c.ErrOrStderr(), quiet)
			opt.Events = p.event
			sum, err := pipeline.Run(c.Context(), opt)
			p.close()
			if sum != nil {
				if !quiet {
					tell(c.ErrOrStderr(), sum)
				}
				if out, e := filepath.Abs(sum.Out); e == nil {
					fmt.Fprintln(c.OutOrStdout(), out)
				}
			}
			return err
		},
	}
	f := c.Flags()
	f.StringVar(&opt.Out, "out", "", "output folder (default: out in the survey folder)")
	f.IntVar(&opt.Jobs, "jobs", 0, "photos worked on at the same time (default: the number of processors)")
	f.StringVar(&opt.View, "view", "", "only this view")
	f.StringVar(&shard, "shard", "", "I/N: do the first pass for every N-th photo only and write no results")
	f.BoolVar(&opt.Fresh, "fresh", false, "measure everything anew")
	f.BoolVar(&quiet, "quiet", false, "no progress and no summary")
	f.BoolVar(&opt.Unmasked, "unmasked", false, "write the pictures also without hatching and coarsening, into unmasked/")
	return c
}

// holdMemory has planes that are no longer used collected before the heap doubles: what lives is a few large planes, and
// collecting them costs next to nothing. A limit set from outside (GOMEMLIMIT) is left as it is. The limit is soft: what
// is needed beyond it is still given.
func holdMemory(jobs int) {
	const shared, each = 450 << 20, 110 << 20 // decoded photos and one view's planes; a worker's own (measured 2026)
	if os.Getenv("GOMEMLIMIT") != "" {
		return
	}
	if jobs <= 0 {
		jobs = runtime.NumCPU()
	}
	debug.SetMemoryLimit(shared + int64(jobs)*each)
}

// tell writes what a run did, for a person.
func tell(w io.Writer, s *pipeline.Summary) {
	if s.Sharded {
		fmt.Fprintln(w, "This share of the photos is done. When all shares are, run without --shard to write the results.")
		return
	}
	fmt.Fprintf(w, "%d photos: %d used, %d spare, %d refused\n", s.Found, s.Used, s.Spare, s.Refused)
	for _, r := range s.Reasons {
		fmt.Fprintf(w, "  %3d  %s\n", r.Count, r.Reason)
	}
	for _, t := range s.Warnings {
		fmt.Fprintln(w, "note:", t)
	}
	fmt.Fprintf(w, "SHA-256 of SHA256SUMS: %s\n", s.Digest)
}

func verifyCommand() *cobra.Command {
	var out string
	c := &cobra.Command{
		Use:   "verify [SURVEY]",
		Short: "Are originals and results still the ones of the run?",
		Args:  atMostOne,
		RunE: func(c *cobra.Command, args []string) error {
			diffs, n, err := pipeline.Verify(surveyArg(args), out)
			for _, d := range diffs {
				fmt.Fprintf(c.OutOrStdout(), "%s: %s (%s)\n", d.Path, d.What, d.List)
			}
			if err == nil {
				fmt.Fprintf(c.OutOrStdout(), "%d files are the ones of the run\n", n)
			}
			if errors.Is(err, pipeline.ErrDiffers) {
				return fmt.Errorf("%d of %d files: %w", len(diffs), n, err)
			}
			return err
		},
	}
	c.Flags().StringVar(&out, "out", "", "output folder (default: out in the survey folder)")
	return c
}
