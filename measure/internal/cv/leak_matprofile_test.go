//go:build matprofile

package cv

import (
	"fmt"

	"gocv.io/x/gocv"
)

// leak fails the run when a Mat was left open.
func leak(code int) int {
	if n := gocv.MatProfile.Count(); n != 0 {
		fmt.Printf("%d Mats left open\n", n)
		return 1
	}
	return code
}
