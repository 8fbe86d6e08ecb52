package scale

import "math"

// Count is an unbiased count of pixels whose true opacity reaches a threshold, from opacities with known noise.
//
// A plain count of noisy opacities is too high: few pixels are whitened, many are clean, and noise carries more clean
// ones over the threshold than it brings back. The bias grows with the noise's variance, so the count is taken at the
// noise there is and, by a soft count, at twice and three times its variance, and carried back to none by a parabola
// (simulation-extrapolation with the simulation done in closed form; Cook & Stefanski (1994), J. Am. Stat. Assoc.
// 89(428), 1314-1328).
type Count struct {
	Threshold      float64
	Hard, Soft, S2 float64 // counts at 1, 2 and 3 times the noise's variance
	N              float64
}

// Add counts one pixel of opacity alpha and standard error sigma.
func (c *Count) Add(alpha, sigma float64) { c.AddMany(alpha, sigma, 1) }

// AddMany counts n pixels of opacity alpha and standard error sigma.
func (c *Count) AddMany(alpha, sigma, n float64) {
	c.N += n
	// a hair of tolerance: opacities come by hundredths
	if alpha >= c.Threshold-1e-9 {
		c.Hard += n
	}
	z := (alpha - c.Threshold) / math.Max(sigma, 1e-9)
	c.Soft += n * Phi(z)
	c.S2 += n * Phi(z/math.Sqrt2)
}

// Merge adds the counts of d.
func (c *Count) Merge(d Count) {
	c.Hard, c.Soft, c.S2, c.N = c.Hard+d.Hard, c.Soft+d.Soft, c.S2+d.S2, c.N+d.N
}

// Value returns the corrected count, in [0, N].
func (c *Count) Value() float64 {
	return math.Min(c.N, math.Max(0, 3*c.Hard-3*c.Soft+c.S2))
}

// Phi is the standard normal distribution function.
func Phi(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }
