package outline

import "math"

// directions are the normals along which a line is looked for, as angles in steps of pi/8.
const directions = 8

// tangentHalf is how far, px, a line's pixels are averaged along it: it quiets the texture of glaze and joint and still
// follows a bend of 20 px radius within half a pixel.
const tangentHalf = 3

// along averages src along direction d over 2*tangentHalf+1 pixels.
func along(src []float32, w, h, d int) []float32 {
	ang := float64(d) * math.Pi / directions
	tx, ty := -math.Sin(ang), math.Cos(ang)
	var dx, dy [2*tangentHalf + 1]int
	for i := range dx {
		t := float64(i - tangentHalf)
		m := max(math.Abs(tx), math.Abs(ty))
		dx[i], dy[i] = int(math.Round(t*tx/m*math.Sqrt(m))), int(math.Round(t*ty/m*math.Sqrt(m)))
	}
	dst := make([]float32, w*h)
	rows(h, func(a, b int) {
		for y := a; y < b; y++ {
			for x := range w {
				var v float32
				if x >= tangentHalf+1 && x < w-tangentHalf-1 && y >= tangentHalf+1 && y < h-tangentHalf-1 {
					o := y*w + x
					for i := range dx {
						v += src[o+dy[i]*w+dx[i]]
					}
				} else {
					for i := range dx {
						v += src[min(max(y+dy[i], 0), h-1)*w+min(max(x+dx[i], 0), w-1)]
					}
				}
				dst[y*w+x] = v / float32(len(dx))
			}
		}
	})
	return dst
}

// offset is a whole-pixel step of about r px along the normal of direction d.
func offset(d int, r float64) (int, int) {
	ang := float64(d) * math.Pi / directions
	return int(math.Round(r * math.Cos(ang))), int(math.Round(r * math.Sin(ang)))
}

// lines tells for every step-th pixel in both directions how much it differs, in CIELAB units, from both its sides in
// the same sense (a light line on dark, a dark one on light, another hue). A sense of -1 wants it darker, +1 lighter.
func (s *sheet) lines(smooth [3][]float32, reach []float64, step, sense int) []float32 {
	gw, gh := (s.w+step-1)/step, (s.h+step-1)/step
	strength := make([]float32, gw*gh)
	for d := range directions {
		var m [3][]float32
		for c := range m {
			m[c] = along(smooth[c], s.w, s.h, d)
		}
		L, A, B := m[0], m[1], m[2]
		for _, r := range reach {
			ox, oy := offset(d, r)
			rows(gh, func(a, b int) {
				for gy := a; gy < b; gy++ {
					y := gy * step
					if y-abs(oy) < 0 || y+abs(oy) >= s.h {
						continue
					}
					for gx := range gw {
						x := gx * step
						if x-abs(ox) < 0 || x+abs(ox) >= s.w {
							continue
						}
						i := y*s.w + x
						p, q := i+oy*s.w+ox, i-oy*s.w-ox
						if !s.use[i] || !s.use[p] || !s.use[q] {
							continue
						}
						p0, p1, p2 := L[i]-L[p], A[i]-A[p], B[i]-B[p]
						q0, q1, q2 := L[i]-L[q], A[i]-A[q], B[i]-B[q]
						dot := p0*q0 + p1*q1 + p2*q2
						if dot <= 0 || sense < 0 && (p0 > 0 || q0 > 0) || sense > 0 && (p0 < 0 || q0 < 0) {
							continue
						}
						big := max(p0*p0+p1*p1+p2*p2, q0*q0+q1*q1+q2*q2)
						v := dot / float32(math.Sqrt(float64(big)))
						if v > strength[gy*gw+gx] {
							strength[gy*gw+gx] = v
						}
					}
				}
			})
		}
	}
	return strength
}

// thin weakens the joint strength of what is thinner than 3 px and lies in colour between its two sides: not a joint but
// the edge of a motif, where one colour passes into another by way of the joint's.
func (s *sheet) thin(strength []float32, smooth [3][]float32, reach []float64) {
	wide := opened(strength, s.w, s.h, 1)
	L, A, B := smooth[0], smooth[1], smooth[2]
	rows(s.h, func(a, b int) {
		for y := a; y < b; y++ {
			for x := range s.w {
				i := y*s.w + x
				if strength[i] < wide[i]+0.1 {
					continue
				}
				var line float32
				for d := range directions {
					for _, r := range reach {
						ox, oy := offset(d, r)
						if x-abs(ox) < 0 || x+abs(ox) >= s.w || y-abs(oy) < 0 || y+abs(oy) >= s.h {
							continue
						}
						p, q := i+oy*s.w+ox, i-oy*s.w-ox
						p0, p1, p2 := L[i]-L[p], A[i]-A[p], B[i]-B[p]
						q0, q1, q2 := L[i]-L[q], A[i]-A[q], B[i]-B[q]
						dot := p0*q0 + p1*q1 + p2*q2
						if dot <= 0 {
							continue
						}
						big := max(p0*p0+p1*p1+p2*p2, q0*q0+q1*q1+q2*q2)
						line = max(line, dot/float32(math.Sqrt(float64(big))))
					}
				}
				kept := max(wide[i], strength[i]*line/(line+4))
				strength[i] = 0.3*strength[i] + 0.7*kept
			}
		}
	})
}

// valley tells for every pixel the level of its two sides in v: the largest, over directions and reaches, of the smaller
// side. A pixel far below it lies in a line of low v.
func (s *sheet) valley(v []float32, reach []float64) []float32 {
	out := make([]float32, len(v))
	copy(out, v)
	for d := range directions {
		m := along(v, s.w, s.h, d)
		for _, r := range reach {
			ox, oy := offset(d, r)
			rows(s.h, func(a, b int) {
				for y := a; y < b; y++ {
					if y-abs(oy) < 0 || y+abs(oy) >= s.h {
						continue
					}
					for x := abs(ox); x < s.w-abs(ox); x++ {
						i := y*s.w + x
						if t := min(m[i+oy*s.w+ox], m[i-oy*s.w-ox]); t > out[i] {
							out[i] = t
						}
					}
				}
			})
		}
	}
	return out
}

func abs(a int) int {
	if a < 0 {
		return -a
	}
	return a
}
