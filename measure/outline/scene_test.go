package outline

import (
	"math"
	"math/rand"

	"tilelapse/measure/plane"
)

// scene is a rendered tiling with its truth: label is every pixel's tile, -1 = joint.
type scene struct {
	w, h  int
	label []int
	n     int
	img   *plane.Image
}

// look of a rendered scene, linear light.
type look struct {
	glazes [][3]float64 // tiles run from one to the next from left to right
	joint  [3]float64
	motif  *[3]float64 // lines painted across tiles
	light  func(x, y float64) [3]float64
	rough  float64 // share by which glaze and joint vary from pixel to pixel
	seed   int64
}

// layout gives a place's tile and its distance from that tile's edge, px; the joint is where that is under half its width.
type layout func(x, y float64) (tile int, edge float64)

func rectangles(w, h float64) layout {
	return func(x, y float64) (int, float64) {
		row := math.Floor(y / h)
		x += w * 0.37 * math.Mod(row*row, 3)
		col := math.Floor(x / w)
		fx, fy := x-col*w, y-row*h
		return int(row)*1000 + int(col) + 500, min(fx, w-fx, fy, h-fy)
	}
}

// points tiles the plane by nearest point: hexagons, broken tile.
func points(p []plane.Point) layout {
	return func(x, y float64) (int, float64) {
		best, second, bi := math.Inf(1), math.Inf(1), -1
		for i, q := range p {
			if d := (q.X-x)*(q.X-x) + (q.Y-y)*(q.Y-y); d < best {
				best, second, bi = d, best, i
			} else if d < second {
				second = d
			}
		}
		edge := math.Inf(1)
		for i, q := range p {
			if i == bi || (q.X-x)*(q.X-x)+(q.Y-y)*(q.Y-y) > second*2+2500 {
				continue
			}
			dx, dy := q.X-p[bi].X, q.Y-p[bi].Y
			l := math.Hypot(dx, dy)
			edge = min(edge, ((p[bi].X+q.X)/2-x)*dx/l+((p[bi].Y+q.Y)/2-y)*dy/l)
		}
		return bi, edge
	}
}

func hexagons(w, h int, pitch float64) layout {
	var p []plane.Point
	for j := 0; float64(j)*pitch*0.866 < float64(h)+pitch; j++ {
		for i := -1; float64(i)*pitch < float64(w)+pitch; i++ {
			p = append(p, plane.Point{X: (float64(i) + 0.5*float64(j%2)) * pitch, Y: float64(j) * pitch * 0.866})
		}
	}
	return points(p)
}

func broken(w, h int, pitch float64, seed int64) layout {
	rnd := rand.New(rand.NewSource(seed))
	var p []plane.Point
	for len(p) < int(float64(w*h)/(pitch*pitch)) {
		q := plane.Point{X: rnd.Float64() * float64(w), Y: rnd.Float64() * float64(h)}
		ok := true
		for _, o := range p {
			ok = ok && math.Hypot(o.X-q.X, o.Y-q.Y) > pitch*0.5
		}
		if ok {
			p = append(p, q)
		}
	}
	return points(p)
}

// fishScale is rows of discs, each row over the one below it.
func fishScale(r float64) layout {
	return func(x, y float64) (int, float64) {
		for row := int(math.Floor(y/r)) - 2; ; row++ {
			off := r * math.Mod(math.Abs(float64(row)), 2)
			col := math.Round((x - off) / (2 * r))
			cx, cy := 2*r*col+off, float64(row)*r
			if d := math.Hypot(x-cx, y-cy); d <= r || row > int(y/r)+3 {
				edge := r - d
				// the rows above cover it
				for k := 1; k <= 2; k++ {
					o := r * math.Mod(math.Abs(float64(row-k)), 2)
					for c := math.Round((x-o)/(2*r)) - 1; c <= math.Round((x-o)/(2*r))+1; c++ {
						edge = min(edge, math.Hypot(x-2*r*c-o, y-float64(row-k)*r)-r)
					}
				}
				return row*1000 + int(col) + 500, edge
			}
		}
	}
}

// bands are rows of rectangles bent around a point above the picture.
func bands(w, h float64, cx, cy float64) layout {
	straight := rectangles(w, h)
	return func(x, y float64) (int, float64) {
		return straight(math.Atan2(x-cx, y-cy)*600+2000, math.Hypot(x-cx, y-cy))
	}
}

func render(w, h int, lay layout, joint float64, k look) *scene {
	s := &scene{w: w, h: h, label: make([]int, w*h), img: plane.New(w, h)}
	rnd := rand.New(rand.NewSource(k.seed))
	ids := map[int]int{}
	var tint []float64
	var at []float64
	fine := plane.New(w, h)
	for y := range h {
		for x := range w {
			t, edge := lay(float64(x), float64(y))
			id, ok := ids[t]
			if !ok {
				id = len(ids)
				ids[t] = id
				tint = append(tint, 0.8+0.4*rnd.Float64())
				at = append(at, float64(x)/float64(w)+0.15*(rnd.Float64()-0.5))
			}
			c := k.joint
			s.label[y*w+x] = -1
			grain := 1 + k.rough*rnd.NormFloat64()
			if edge >= joint/2 {
				s.label[y*w+x] = id
				g := min(max(at[id], 0), 0.999) * float64(len(k.glazes)-1)
				i := min(int(g), max(len(k.glazes)-2, 0))
				f := g - float64(i)
				j := min(i+1, len(k.glazes)-1)
				for c2 := range c {
					c[c2] = ((1-f)*k.glazes[i][c2] + f*k.glazes[j][c2]) * tint[id]
				}
				if k.motif != nil && math.Abs(float64(y)-float64(h)/2-50*math.Sin(float64(x)/45)) < 4 {
					c = *k.motif
				}
			}
			l := [3]float64{1, 1, 1}
			if k.light != nil {
				l = k.light(float64(x)/float64(w), float64(y)/float64(h))
			}
			for c2 := range c {
				fine.RGB[3*(y*w+x)+c2] = float32(c[c2] * l[c2] * grain)
			}
		}
	}
	s.n = len(ids)
	for c := range 3 {
		p := make([]float32, w*h)
		for i := range p {
			p[i] = fine.RGB[3*i+c]
		}
		p = blur(p, w, h, 0.7)
		for i := range p {
			s.img.RGB[3*i+c] = p[i] + float32(0.004*rnd.NormFloat64())
		}
	}
	return s
}

// score compares found tiles with the truth: true tiles under 40 % of the median, cut by the picture's edge, may be found
// or not.
func (s *scene) score(tiles []Tile) (truth, found, hits int, iou float64) {
	area := make([]float64, s.n)
	for _, l := range s.label {
		if l >= 0 {
			area[l]++
		}
	}
	var sum float64
	for _, a := range area {
		sum += a
	}
	typical := sum / float64(s.n)
	small := func(l int) bool { return area[l] < 0.4*typical }
	for l := range area {
		if !small(l) {
			truth++
		}
	}
	f := plane.Frame{RefW: s.w, RefH: s.h, K: 1}
	mask := make([]bool, s.w*s.h)
	taken := make([]bool, s.n)
	for _, t := range tiles {
		clear(mask)
		fill(mask, s.w, s.h, t.Region, f)
		over := map[int]float64{}
		var own float64
		for i, m := range mask {
			if m {
				own++
				if s.label[i] >= 0 {
					over[s.label[i]]++
				}
			}
		}
		best, bl := 0.0, -1
		for l := range s.n {
			if v := over[l] / (own + area[l] - over[l]); v > best {
				best, bl = v, l
			}
		}
		if bl >= 0 && small(bl) {
			continue
		}
		found++
		if best >= 0.5 && !taken[bl] {
			taken[bl] = true
			hits++
			iou += best
		}
	}
	return truth, found, hits, iou / float64(max(hits, 1))
}
