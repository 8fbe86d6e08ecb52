package register

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
)

// Mapping brings a position of the reference photo to the position in a repeat photo, both in px, pixel centres at
// whole numbers, upright: a homography, then the bilinearly interpolated displacement of a lattice.
type Mapping struct {
	PhotoFromRef [9]float64 `json:"photo_from_ref"`  // row by row
	Field        *Field     `json:"field,omitempty"` // nil = the homography alone
	Held         *Held      `json:"held,omitempty"`  // nil = everywhere
}

// Field is a displacement in photo px on a lattice over the reference: node (i, j) lies at (X0+i*Step, Y0+j*Step) and
// adds (DX, DY)[j*NX+i] to where the homography goes. Beyond the lattice its border values hold.
type Field struct {
	X0, Y0, Step float64
	NX, NY       int
	DX, DY       []float32
}

// Photo returns where the reference position (x, y) lies in the photo. NaN where the homography sends it to infinity
// or behind the camera.
func (m Mapping) Photo(x, y float64) (px, py float64) {
	h := &m.PhotoFromRef
	w := h[6]*x + h[7]*y + h[8]
	if !(w > 0) {
		return math.NaN(), math.NaN()
	}
	px, py = (h[0]*x+h[1]*y+h[2])/w, (h[3]*x+h[4]*y+h[5])/w
	if m.Field != nil {
		dx, dy := m.Field.at(x, y)
		px, py = px+dx, py+dy
	}
	return px, py
}

// at interpolates the displacement.
func (f *Field) at(x, y float64) (float64, float64) {
	u := max(0, min(float64(f.NX-1), (x-f.X0)/f.Step))
	v := max(0, min(float64(f.NY-1), (y-f.Y0)/f.Step))
	i, j := min(int(u), f.NX-2), min(int(v), f.NY-2)
	a, b := u-float64(i), v-float64(j)
	o := j*f.NX + i
	lerp := func(d []float32) float64 {
		top := float64(d[o]) + a*(float64(d[o+1])-float64(d[o]))
		bot := float64(d[o+f.NX]) + a*(float64(d[o+f.NX+1])-float64(d[o+f.NX]))
		return top + b*(bot-top)
	}
	return lerp(f.DX), lerp(f.DY)
}

// mapRow walks a mapping along a row of the reference without computing the row's share again.
type mapRow struct {
	m          Mapping
	y          float64
	a, b, c    float64
	dx, dy     []float64 // the field's nodes between the two lattice rows
	haveFields bool
}

func (m Mapping) row() *mapRow {
	r := &mapRow{m: m}
	if m.Field != nil {
		r.dx, r.dy = make([]float64, m.Field.NX), make([]float64, m.Field.NX)
		r.haveFields = true
	}
	return r
}

func (r *mapRow) start(y float64) {
	h := &r.m.PhotoFromRef
	r.y = y
	r.a, r.b, r.c = h[1]*y+h[2], h[4]*y+h[5], h[7]*y+h[8]
	if !r.haveFields {
		return
	}
	f := r.m.Field
	v := max(0, min(float64(f.NY-1), (y-f.Y0)/f.Step))
	j := min(int(v), f.NY-2)
	b := v - float64(j)
	for i := range r.dx {
		o := j*f.NX + i
		r.dx[i] = float64(f.DX[o]) + b*(float64(f.DX[o+f.NX])-float64(f.DX[o]))
		r.dy[i] = float64(f.DY[o]) + b*(float64(f.DY[o+f.NX])-float64(f.DY[o]))
	}
}

func (r *mapRow) at(x float64) (px, py float64) {
	h := &r.m.PhotoFromRef
	w := h[6]*x + r.c
	if !(w > 0) {
		return math.NaN(), math.NaN()
	}
	w = 1 / w
	px, py = (h[0]*x+r.a)*w, (h[3]*x+r.b)*w
	if r.haveFields {
		f := r.m.Field
		u := max(0, min(float64(f.NX-1), (x-f.X0)/f.Step))
		i := min(int(u), f.NX-2)
		a := u - float64(i)
		px += r.dx[i] + a*(r.dx[i+1]-r.dx[i])
		py += r.dy[i] + a*(r.dy[i+1]-r.dy[i])
	}
	return px, py
}

// jacobian returns the derivative of the photo position by the reference position, by central differences of step px.
func (m Mapping) jacobian(x, y, step float64) [4]float64 {
	ax, ay := m.Photo(x-step, y)
	bx, by := m.Photo(x+step, y)
	cx, cy := m.Photo(x, y-step)
	dx, dy := m.Photo(x, y+step)
	s := 1 / (2 * step)
	return [4]float64{(bx - ax) * s, (dx - cx) * s, (by - ay) * s, (dy - cy) * s}
}

// Valid says what is wrong with a mapping, as read from a file: numbers that are none, a field of wrong size.
func (m Mapping) Valid() error {
	for _, v := range m.PhotoFromRef {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return errors.New("mapping: not a number in the homography")
		}
	}
	if det3(m.PhotoFromRef) == 0 {
		return errors.New("mapping: the homography has no inverse")
	}
	if h := m.Held; h != nil && (h.NX < 1 || h.NY < 1 || h.NX > 4096 || h.NY > 4096 || !(h.Step > 0) || len(h.Bits) != (h.NX*h.NY+7)/8) {
		return fmt.Errorf("mapping: %d bytes for %d × %d cells, step %v", len(h.Bits), h.NX, h.NY, h.Step)
	}
	f := m.Field
	if f == nil {
		return nil
	}
	if f.NX < 2 || f.NY < 2 || f.NX > 4096 || f.NY > 4096 || !(f.Step > 0) {
		return fmt.Errorf("mapping: lattice of %d × %d nodes, step %v", f.NX, f.NY, f.Step)
	}
	if len(f.DX) != f.NX*f.NY || len(f.DY) != f.NX*f.NY {
		return fmt.Errorf("mapping: %d and %d displacements for %d × %d nodes", len(f.DX), len(f.DY), f.NX, f.NY)
	}
	for i := range f.DX {
		s := float64(f.DX[i]) + float64(f.DY[i])
		if math.IsNaN(s) || math.IsInf(s, 0) {
			return errors.New("mapping: not a number among the displacements")
		}
	}
	return nil
}

// Overlap returns the share of a w × h reference that can be read in a pw × ph photo, in [0, 1], on a grid.
func (m Mapping) Overlap(w, h, pw, ph int) float64 {
	const n = 48
	in := 0
	for j := 0; j < n; j++ {
		for i := 0; i < n; i++ {
			x, y := m.Read((float64(i)+.5)*float64(w)/n-.5, (float64(j)+.5)*float64(h)/n-.5)
			if x >= 0 && y >= 0 && x <= float64(pw-1) && y <= float64(ph-1) {
				in++
			}
		}
	}
	return float64(in) / (n * n)
}

// displacementUnit is what displacements are rounded to, photo px: far below what any window can tell.
const displacementUnit = 1.0 / 256

// rounded returns the mapping as it is kept: displacements in steps of 1/256 px, the homography to 10 digits, so that
// what is computed and what is read back are the same numbers.
func (m Mapping) rounded() Mapping {
	h := unit3(m.PhotoFromRef)
	for i, v := range h {
		h[i] = significant(v, 10)
	}
	out := Mapping{PhotoFromRef: h, Held: m.Held}
	if f := m.Field; f != nil {
		g := *f
		g.DX, g.DY = make([]float32, len(f.DX)), make([]float32, len(f.DY))
		for i := range f.DX {
			g.DX[i] = float32(math.Round(float64(f.DX[i])/displacementUnit) * displacementUnit)
			g.DY[i] = float32(math.Round(float64(f.DY[i])/displacementUnit) * displacementUnit)
		}
		g.X0, g.Y0, g.Step = significant(f.X0, 10), significant(f.Y0, 10), significant(f.Step, 10)
		out.Field = &g
	}
	return out
}

// significant rounds to n digits.
func significant(v float64, n int) float64 {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return v
	}
	p := math.Pow(10, float64(n-1)-math.Floor(math.Log10(math.Abs(v))))
	if math.IsInf(p, 0) || p == 0 {
		return v
	}
	return math.Round(v*p) / p
}

// fieldFile is a Field as kept: displacements as whole multiples of displacementUnit.
type fieldFile struct {
	X0   float64 `json:"x0"`
	Y0   float64 `json:"y0"`
	Step float64 `json:"step"`
	NX   int     `json:"nx"`
	NY   int     `json:"ny"`
	DX   []int   `json:"dx"`
	DY   []int   `json:"dy"`
}

// MarshalJSON writes displacements as whole numbers of 1/256 px.
func (f Field) MarshalJSON() ([]byte, error) {
	g := fieldFile{f.X0, f.Y0, f.Step, f.NX, f.NY, make([]int, len(f.DX)), make([]int, len(f.DY))}
	for i, v := range f.DX {
		g.DX[i] = int(math.Round(float64(v) / displacementUnit))
	}
	for i, v := range f.DY {
		g.DY[i] = int(math.Round(float64(v) / displacementUnit))
	}
	return json.Marshal(g)
}

// UnmarshalJSON reads what MarshalJSON wrote; Mapping.Valid judges the result.
func (f *Field) UnmarshalJSON(b []byte) error {
	var g fieldFile
	if err := json.Unmarshal(b, &g); err != nil {
		return err
	}
	*f = Field{X0: g.X0, Y0: g.Y0, Step: g.Step, NX: g.NX, NY: g.NY, DX: make([]float32, len(g.DX)), DY: make([]float32, len(g.DY))}
	for i, v := range g.DX {
		f.DX[i] = float32(float64(v) * displacementUnit)
	}
	for i, v := range g.DY {
		f.DY[i] = float32(float64(v) * displacementUnit)
	}
	return nil
}
