package measure

import (
	"math"

	"tilelapse/measure/light"
)

// depositLevel is the first guess of what share of the reference photo's white a surface of full reflectance has there:
// cameras expose outdoor surfaces a little under white. Common practice, no source.
const depositLevel = 0.85

// veilLoss makes up for part of the opacity that is lost in the clean place: where thin scale lies over all of a tile, its
// cleanest pixels bear some too; veilSigma is how far that differs from surface to surface, relative. Measured on six made
// scenes with known truth: 0.77 served best where all scale has thin edges, 0.92 on a made wall whose scale has none.
const (
	veilLoss  = 0.81
	veilSigma = 0.08
)

// line is a whitened tile in colour space: the mixture lies between from and the deposit.
type line struct{ from, to [3]float64 }

// meet finds the colour at which the lines of many tiles of different glaze meet: the deposit, in the reference's light
// and exposure. A line's direction is the better known the longer it is, and the point is held near the first guess,
// loosely in level and less so in colour, so that glazes too alike to say anything leave it there. Returns the colour
// and the relative standard error of its level.
func meet(lines []line, guess [3]float64) (d [3]float64, sigma float64) {
	const (
		levelPrior  = 0.25  // relative
		colourPrior = 0.06  // relative
		misfit      = 0.012 // how far whitened pixels lie off their line, linear light
	)
	d = guess
	gn := norm(guess)
	for range 25 {
		var m [3][4]float64
		// prior: strong across the guess's own direction, weak along it
		var u [3]float64
		for c := range 3 {
			u[c] = guess[c] / gn
		}
		wl, wc := 1/sq(levelPrior*gn), 1/sq(colourPrior*gn)
		for r := range 3 {
			for c := range 3 {
				e := 0.0
				if r == c {
					e = 1
				}
				w := wc*(e-u[r]*u[c]) + wl*u[r]*u[c]
				m[r][c] += w
				m[r][3] += w * guess[c]
			}
		}
		for _, l := range lines {
			var t [3]float64
			for c := range 3 {
				t[c] = l.to[c] - l.from[c]
			}
			n := norm(t)
			if n < 0.01 {
				continue
			}
			for c := range 3 {
				t[c] /= n
			}
			var off, reach [3]float64
			for c := range 3 {
				reach[c] = d[c] - l.from[c]
			}
			along := reach[0]*t[0] + reach[1]*t[1] + reach[2]*t[2]
			for c := range 3 {
				off[c] = reach[c] - along*t[c]
			}
			s := misfit * math.Max(1, along/n)
			w := 1 / (s * s) / (1 + sq(norm(off)/(2*s)))
			w /= 4 // tiles share their errors of light
			for r := range 3 {
				for c := range 3 {
					e := 0.0
					if r == c {
						e = 1
					}
					p := w * (e - t[r]*t[c])
					m[r][c] += p
					m[r][3] += p * l.from[c]
				}
			}
		}
		next, inv, ok := solve3(m)
		if !ok {
			return guess, levelPrior
		}
		v := 0.0
		for r := range 3 {
			for c := range 3 {
				v += u[r] * inv[r][c] * u[c]
			}
		}
		sigma = math.Sqrt(v) / norm(next)
		step := 0.0
		for c := range 3 {
			step += math.Abs(next[c] - d[c])
		}
		d = next
		if step < 1e-7 {
			break
		}
	}
	if y := light.Y(d); !(y > 0.2*light.Y(guess)) || y > 2.5*light.Y(guess) {
		return guess, levelPrior
	}
	return d, sigma
}

func sq(x float64) float64 { return x * x }

func norm(v [3]float64) float64 { return math.Sqrt(v[0]*v[0] + v[1]*v[1] + v[2]*v[2]) }

// solve3 solves three symmetric equations and gives the inverse of their matrix.
func solve3(m [3][4]float64) (x [3]float64, inv [3][3]float64, ok bool) {
	det := 0.0
	for i := range 3 {
		j, k := (i+1)%3, (i+2)%3
		det += m[0][i] * (m[1][j]*m[2][k] - m[1][k]*m[2][j])
	}
	if math.Abs(det) < 1e-30 || math.IsNaN(det) {
		return x, inv, false
	}
	for r := range 3 {
		for c := range 3 {
			r1, r2, c1, c2 := (r+1)%3, (r+2)%3, (c+1)%3, (c+2)%3
			inv[c][r] = (m[r1][c1]*m[r2][c2] - m[r1][c2]*m[r2][c1]) / det
		}
	}
	for r := range 3 {
		x[r] = inv[r][0]*m[0][3] + inv[r][1]*m[1][3] + inv[r][2]*m[2][3]
	}
	return x, inv, true
}

// shared estimates the deposit's colour from all photos of the view together.
func (v *View) shared(obs []*Observation) (d [3]float64, sigma float64, lines int) {
	var all []line
	// cast shadows bend the lines: the photos in even light tell, where there are any
	even, best := false, math.Inf(1)
	for _, o := range obs {
		if o.digital() {
			even = even || !o.Shadows
		}
	}
	for _, o := range obs {
		if o.digital() && !(even && o.Shadows) {
			best = math.Min(best, o.Noise)
		}
	}
	for _, i := range sortedByKey(obs) {
		o := obs[i]
		if !o.digital() || even && o.Shadows || o.Noise > 1.6*best {
			continue
		}
		for k := range o.Tiles {
			if t := &o.Tiles[k]; t.Mixed >= 12 && t.Own && t.Clean > 0.2 {
				all = append(all, line{t.From, t.To})
			}
		}
	}
	d, sigma = meet(all, v.deposit)
	// the meeting point lies far outside the data it is found from, and all lines share what bends them: its level is
	// known to some 12 % at best, cameras' exposure to some 13 %
	const meetSigma, exposureSigma = 0.12, 0.13
	wm, we := 1/(sq(meetSigma)+sq(sigma)), 1/sq(exposureSigma)
	f := math.Exp(we / (wm + we) * math.Log(light.Y(v.deposit)/light.Y(d)))
	return scaled(d, veilLoss*f), math.Hypot(veilSigma, math.Sqrt(1/(wm+we))), len(all)
}

func (o *Observation) digital() bool { return o.Photo.Kind == "" || o.Photo.Kind == "digital" }
