// Command tilelapse aligns, measures and reports repeat photographs of a tiled artwork. See README.md.
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"

	"tilelapse/pipeline"
)

// version is set at release with -ldflags "-X main.version=…".
var version = "dev"

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	err := root().ExecuteContext(ctx)
	stop()
	if err != nil {
		fmt.Fprintln(os.Stderr, "tilelapse:", message(err))
	}
	os.Exit(exitCode(err))
}

const exitCodes = `Exit codes: 0 done (refused photos are normal and listed); 1 could not finish, or a photo could not be read from
disk; 3 nothing usable was found; 4 wrong usage or survey; 5 verify says no.`

func root() *cobra.Command {
	c := &cobra.Command{
		Use:   "tilelapse",
		Short: "See and measure how a tiled artwork changes, from repeat photographs",
		Long: `tilelapse brings repeat photographs of a tiled artwork onto one reference photo a view and measures what changed:
area whitened by mineral scale, glaze colour drift, missing and off-palette tiles, each with its uncertainty.

` + exitCodes,
		Version:       version,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          cobra.NoArgs,
		RunE:          func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	c.SetFlagErrorFunc(func(c *cobra.Command, err error) error {
		return &usageError{fmt.Errorf("%w; see '%s --help'", err, c.CommandPath())}
	})
	c.AddCommand(runCommand(), verifyCommand(), demoCommand())
	return c
}

// usageError is a mistake in the command line itself.
type usageError struct{ err error }

func (e *usageError) Error() string { return e.err.Error() }
func (e *usageError) Unwrap() error { return e.err }

func exitCode(err error) int {
	var u *usageError
	if errors.As(err, &u) {
		return pipeline.ExitUsage
	}
	return pipeline.ExitCode(err)
}

func message(err error) string {
	if errors.Is(err, context.Canceled) {
		return "stopped; what was finished is kept, and the next run goes on from there"
	}
	return err.Error()
}

// atMostOne takes an optional survey folder.
func atMostOne(c *cobra.Command, args []string) error {
	if err := cobra.MaximumNArgs(1)(c, args); err != nil {
		return &usageError{fmt.Errorf("one survey folder at most; see '%s --help'", c.CommandPath())}
	}
	return nil
}

func surveyArg(args []string) string {
	if len(args) == 0 {
		return "."
	}
	return args[0]
}
