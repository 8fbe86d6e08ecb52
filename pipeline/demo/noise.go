package demo

import "math"

// mix64 scrambles a counter into 64 well spread bits (the finaliser of splitmix64; Steele, Lea, Flood 2014,
// doi:10.1145/2660193.2660195).
func mix64(z uint64) uint64 {
	z += 0x9e3779b97f4a7c15
	z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9
	z = (z ^ (z >> 27)) * 0x94d049bb133111eb
	return z ^ (z >> 31)
}

// hash returns scrambled bits of a lattice point; seed keeps the fields apart.
func hash(seed uint64, x, y int) uint64 {
	return mix64(seed*0x632be59bd9b4e019 + uint64(uint32(int32(x)))<<32 + uint64(uint32(int32(y))))
}

// unit returns a number in [0,1) for a lattice point.
func unit(seed uint64, x, y int) float64 { return float64(hash(seed, x, y)>>11) / (1 << 53) }

// signed returns a number in [-1,1) for a lattice point.
func signed(seed uint64, x, y int) float64 { return 2*unit(seed, x, y) - 1 }

// bell returns a number close to the normal distribution (mean 0, deviation 1): the sum of four uniform ones. No tail
// beyond 3.5, which is welcome in a picture.
func bell(seed uint64, x, y int) float64 {
	h := hash(seed, x, y)
	s := float64(h&0xffff) + float64(h>>16&0xffff) + float64(h>>32&0xffff) + float64(h>>48)
	return (s/65536 - 2) * 1.7320508
}

// value is smooth value noise in [0,1] with features of about one unit.
func value(seed uint64, x, y float64) float64 {
	fx, fy := math.Floor(x), math.Floor(y)
	ix, iy := int(fx), int(fy)
	tx, ty := smooth(x-fx), smooth(y-fy)
	a, b := unit(seed, ix, iy), unit(seed, ix+1, iy)
	c, d := unit(seed, ix, iy+1), unit(seed, ix+1, iy+1)
	return lerp(lerp(a, b, tx), lerp(c, d, tx), ty)
}

// fbm sums octaves of value noise, each half as large and half as strong; the result lies in [0,1], mean 0.5.
func fbm(seed uint64, x, y float64, octaves int) float64 {
	sum, weight, w := 0.0, 0.0, 1.0
	for i := 0; i < octaves; i++ {
		sum += w * value(seed+uint64(i)*101, x, y)
		weight += w
		w *= 0.5
		x, y = x*2.03+17.1, y*2.03+5.7
	}
	return sum / weight
}

func smooth(t float64) float64 { return t * t * (3 - 2*t) }

// step rises smoothly from 0 at a to 1 at b.
func step(a, b, x float64) float64 { return smooth(clamp((x-a)/(b-a), 0, 1)) }

func lerp(a, b, t float64) float64 { return a + (b-a)*t }

func clamp(x, lo, hi float64) float64 {
	if x < lo {
		return lo
	}
	if x > hi {
		return hi
	}
	return x
}
