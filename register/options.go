package register

import "fmt"

// Options says how hard to look and what to refuse. The zero value is not valid; begin with DefaultOptions.
type Options struct {
	// MaxSide is the longest side key points are first looked for in, px, 400 to 6000. Default 1000: enough to find the
	// place, the windows do the rest.
	MaxSide int
	// WideSide is the same for the second try, px, 400 to 6000, default 1600 (Lowe's detector doubles the picture
	// once more).
	WideSide int
	// FineSide is the longest side of the frame in which windows are compared last, px, 400 to 6000, default 1600.
	FineSide int
	// Features is the number of key points kept, 200 to 20000, default 3000.
	Features int
	// Ratio is the largest nearest-to-second distance of a match, either way, 0.5 to 0.99, default 0.85.
	Ratio float64
	// MinInliers is the smallest number of key points that must agree on a first homography, 6 to 200, default 6: what
	// it is worth is decided by the windows, not by its inliers.
	MinInliers int
	// MinOverlapPct is the smallest share of the reference in the photo, %, 1 to 90, default 4: a close-up of one zone
	// is welcome.
	MinOverlapPct float64
	// MaxRMSPermille is the largest held-out residual, in thousandths of the reference's longer side, 0.2 to 20, default 3.
	MaxRMSPermille float64
	// MinSharpness is the smallest sharpness against the reference, 0 to 1, default 0.005: out of focus beyond use. Less
	// blurred photos are judged by whether their windows still find their place.
	MinSharpness float64
	// MaxClippedPct is the largest share of the overlap that is burnt out or black beyond what the reference shows, %,
	// 5 to 100, default 45.
	MaxClippedPct float64
}

// DefaultOptions returns the defaults named at the fields.
func DefaultOptions() Options {
	return Options{MaxSide: 1000, WideSide: 1600, FineSide: 1600, Features: 3000, Ratio: .85, MinInliers: 6,
		MinOverlapPct: 4, MaxRMSPermille: 3, MinSharpness: .005, MaxClippedPct: 45}
}

// Validate names the first field out of range, its value and the range.
func (o Options) Validate() error {
	for _, f := range []struct {
		name    string
		v, a, b float64
	}{
		{"MaxSide", float64(o.MaxSide), 400, 6000},
		{"WideSide", float64(o.WideSide), 400, 6000},
		{"FineSide", float64(o.FineSide), 400, 6000},
		{"Features", float64(o.Features), 200, 20000},
		{"Ratio", o.Ratio, .5, .99},
		{"MinInliers", float64(o.MinInliers), 6, 200},
		{"MinOverlapPct", o.MinOverlapPct, 1, 90},
		{"MaxRMSPermille", o.MaxRMSPermille, .2, 20},
		{"MinSharpness", o.MinSharpness, 0, 1},
		{"MaxClippedPct", o.MaxClippedPct, 5, 100},
	} {
		if !(f.v >= f.a && f.v <= f.b) {
			return fmt.Errorf("register: %s is %v, allowed %v to %v", f.name, f.v, f.a, f.b)
		}
	}
	return nil
}
