package outline

import (
	"errors"
	"fmt"
)

// Options of Find.
type Options struct {
	// LeastArea is the smallest tile, in measuring px: under it a cell can't be told from a speck. Range 16 to 10000.
	LeastArea float64
	// Tolerance is how far an outline may stray from the one traced, in measuring px. Range 0.1 to 5.
	Tolerance float64
}

// DefaultOptions returns 60 px, a tile of 8 by 8, under which a joint is thinner than a pixel (measured on rendered
// scenes reduced step by step), and 0.7 px.
func DefaultOptions() Options { return Options{LeastArea: 60, Tolerance: 0.7} }

// Validate tells the first field out of range.
func (o Options) Validate() error {
	if !(o.LeastArea >= 16 && o.LeastArea <= 10000) {
		return fmt.Errorf("outline: LeastArea is %g, must be 16 to 10000 px", o.LeastArea)
	}
	if !(o.Tolerance >= 0.1 && o.Tolerance <= 5) {
		return fmt.Errorf("outline: Tolerance is %g, must be 0.1 to 5 px", o.Tolerance)
	}
	return nil
}

// ErrNoJoints says that nothing like joints was found, so no tiles either: outlines must be drawn by hand.
var ErrNoJoints = errors.New("no joints between tiles found in the reference; draw the outlines in the regions SVG")
