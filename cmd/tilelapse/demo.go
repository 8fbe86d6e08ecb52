package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"tilelapse/pipeline/demo"
)

func demoCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "demo DIR",
		Short: "Write the demo survey, with its known truth",
		Long: `Draws an invented tiled wall as photographed on six visits, with growing scale, one cleaning, losses, a wrong tile, a
plant in front and a photo of something else, and writes it as a survey folder with the truth beside it.`,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) != 1 {
				return &usageError{fmt.Errorf("name the folder to write; see '%s --help'", c.CommandPath())}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			if es, err := os.ReadDir(args[0]); err == nil && len(es) > 0 {
				return &usageError{fmt.Errorf("%s: the folder is not empty; name a new one", args[0])}
			}
			if err := demo.Write(args[0]); err != nil {
				return err
			}
			abs, err := filepath.Abs(args[0])
			if err == nil {
				fmt.Fprintln(c.OutOrStdout(), abs)
			}
			return err
		},
	}
}
