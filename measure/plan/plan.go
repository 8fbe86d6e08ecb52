package plan

import (
	"errors"
	"fmt"
	"math"
	"math/rand"
	"sort"

	"tilelapse/measure/plane"
)

// Length is a line of known length on the surface: two ends in reference px and the length in mm.
type Length struct {
	ID   string
	A, B plane.Point
	MM   float64
}

// Options of Rectify: how exact lines are and what views are usual.
type Options struct {
	// EndPx is the standard error of each end of a drawn line, reference px, (0, 50].
	EndPx float64
	// TapePct is the standard error of a measured length, percent, (0, 20].
	TapePct float64
	// FocalPx is the focal length in reference px where it is known; 0 = unknown. A cropped reference has none.
	FocalPx float64
	// TiltSD is how oblique views usually are, as the standard deviation of the tangent of the tilt, (0, 3].
	TiltSD float64
}

// DefaultOptions returns ends drawn to 1.5 px, tapes read to 0.5 %, an unknown focal length and tilts of some 25°
// (common practice, no source).
func DefaultOptions() Options { return Options{EndPx: 1.5, TapePct: 0.5, TiltSD: 0.5} }

// Validate tells the first field out of range.
func (o Options) Validate() error {
	switch {
	case !(o.EndPx > 0 && o.EndPx <= 50):
		return fmt.Errorf("plan: EndPx is %g, must be over 0, up to 50 px", o.EndPx)
	case !(o.TapePct > 0 && o.TapePct <= 20):
		return fmt.Errorf("plan: TapePct is %g, must be over 0, up to 20 %%", o.TapePct)
	case !(o.FocalPx >= 0) || math.IsInf(o.FocalPx, 0):
		return fmt.Errorf("plan: FocalPx is %g, must be 0 (unknown) or more", o.FocalPx)
	case !(o.TiltSD > 0 && o.TiltSD <= 3):
		return fmt.Errorf("plan: TiltSD is %g, must be over 0, up to 3", o.TiltSD)
	}
	return nil
}

// Basis says what a plan rests on.
type Basis string

// The bases, best first.
const (
	Rectified Basis = "length lines"     // four lines or more
	FewLines  Basis = "few length lines" // one to three: approximate
	Flat      Basis = "mm_per_px"        // a scale alone, the view taken as square on: approximate
	Unknown   Basis = "none"             // areas in cm² are not measured
)

// Plan maps the reference photo to the surface.
type Plan struct {
	Basis Basis
	// MisfitPct is the RMS difference between the lines and the plan, percent; NaN without lines. Much over the tape's
	// error it says that the surface is not one plane or a length is wrong.
	MisfitPct float64
	// TiltDeg is the angle between the camera's axis and the surface's normal, degrees; NaN when not fitted.
	TiltDeg float64
	// WorstLine is the id of the line that fits least, and by how much, percent of its length.
	WorstLine    string
	WorstLinePct float64

	cx, cy float64
	best   pose
	draws  []pose
}

// Area is an area on the surface in cm², with its 95 % interval; NaN = not measured.
type Area struct {
	CM2, Lo, Hi float64
	Approximate bool // the view's obliqueness is not settled by lines
}

// pose is the camera over the plane: X = exp(depth) · r / (1 + tx·rx + ty·ry), r the pixel's ray, mm.
type pose struct{ focal, tx, ty, depth float64 } // focal: ln px; depth: ln mm

func (q pose) vec() [4]float64 { return [4]float64{q.focal, q.tx, q.ty, q.depth} }

func ofVec(v [4]float64) pose { return pose{v[0], v[1], v[2], v[3]} }

// looseShare is how wide, as a share of the area, an interval may be before the area is called approximate whatever the
// number of lines: four parallel lines in one corner settle nothing (our choice).
const looseShare = 0.2

// drawsOf is the number of poses an interval is drawn from: the 2.5 % ends then rest on ten of them.
const drawsOf = 400

// errOverHorizon says that a place lies beyond the plane's horizon.
var errOverHorizon = errors.New("beyond the horizon")

// onSurface returns the place on the surface, mm in the camera's axes.
func (p *Plan) onSurface(q pose, a plane.Point) ([3]float64, error) {
	f := math.Exp(q.focal)
	rx, ry := (a.X-p.cx)/f, (a.Y-p.cy)/f
	den := 1 + q.tx*rx + q.ty*ry
	if den < 0.05 {
		return [3]float64{}, errOverHorizon
	}
	z := math.Exp(q.depth) / den
	return [3]float64{rx * z, ry * z, z}, nil
}

func (p *Plan) length(q pose, l Length) float64 {
	a, ea := p.onSurface(q, l.A)
	b, eb := p.onSurface(q, l.B)
	if ea != nil || eb != nil {
		return math.NaN()
	}
	return math.Sqrt((a[0]-b[0])*(a[0]-b[0]) + (a[1]-b[1])*(a[1]-b[1]) + (a[2]-b[2])*(a[2]-b[2]))
}

// Rectify fits the plan of a reference of w x h px to lines of known length; without any it takes mmPerPx, reference px,
// as the scale in the middle of the picture; with neither (mmPerPx 0) areas stay unmeasured. The error names a line that
// can't be used.
func Rectify(w, h int, lines []Length, mmPerPx float64, opt Options) (*Plan, error) {
	if err := opt.Validate(); err != nil {
		return nil, err
	}
	if w < 1 || h < 1 {
		return nil, fmt.Errorf("plan: picture of %d x %d px", w, h)
	}
	if mmPerPx < 0 || math.IsNaN(mmPerPx) || math.IsInf(mmPerPx, 0) {
		return nil, fmt.Errorf("plan: mm_per_px is %g, must be over 0", mmPerPx)
	}
	for _, l := range lines {
		if px := math.Hypot(l.A.X-l.B.X, l.A.Y-l.B.Y); !(l.MM > 0) || math.IsInf(l.MM, 0) || !(px >= 4*opt.EndPx) {
			return nil, fmt.Errorf("plan: length line %q is %.1f px long for %g mm; draw one of at least %.0f px", l.ID, px, l.MM, 4*opt.EndPx)
		}
	}
	p := &Plan{cx: float64(w-1) / 2, cy: float64(h-1) / 2, MisfitPct: math.NaN(), TiltDeg: math.NaN(), WorstLinePct: math.NaN()}
	fit := &fit{plan: p, lines: lines, opt: opt, focal: math.Log(float64(max(w, h))), focalSD: 0.5}
	if opt.FocalPx > 0 {
		fit.focal, fit.focalSD = math.Log(opt.FocalPx), 0.03
	}
	switch {
	case len(lines) >= 4:
		p.Basis = Rectified
	case len(lines) > 0:
		p.Basis = FewLines
	case mmPerPx > 0:
		p.Basis = Flat
		fit.scale = mmPerPx
	default:
		p.Basis = Unknown
		return p, nil
	}
	if !fit.solve() {
		return nil, errors.New("plan: no plane fits the length lines; check their lengths and ends")
	}
	return p, nil
}

// Area returns the area of regions together, each given by its rings in reference px (even-odd rule, rings must not
// cross). A region beyond the fitted plane's horizon gives NaN.
func (p *Plan) Area(regions ...[][]plane.Point) Area {
	out := Area{CM2: math.NaN(), Lo: math.NaN(), Hi: math.NaN(), Approximate: p.Basis != Rectified}
	if p.Basis == Unknown {
		return out
	}
	out.CM2 = p.area(p.best, regions)
	if p.Basis == Flat {
		// square on, as the setting says; the interval below holds what the view may hide
		var px float64
		for _, r := range regions {
			px += flatArea(r)
		}
		f := math.Exp(p.best.focal)
		out.CM2 = px * math.Exp(2*p.best.depth) / (f * f) / 100
	}
	var all []float64
	for _, q := range p.draws {
		if a := p.area(q, regions); !math.IsNaN(a) {
			all = append(all, a)
		}
	}
	if len(all) < drawsOf/2 || math.IsNaN(out.CM2) {
		return out
	}
	sort.Float64s(all)
	if p.Basis == FewLines {
		out.CM2 = all[len(all)/2] // the best pose is one of many, the middle one misleads least
	}
	out.Lo = min(all[len(all)*25/1000], out.CM2)
	out.Hi = max(all[len(all)*975/1000], out.CM2)
	out.Approximate = out.Approximate || out.Hi-out.Lo > looseShare*out.CM2
	return out
}

// Density returns how many cm² of surface a reference pixel at a covers, NaN where unknown.
func (p *Plan) Density(a plane.Point) float64 {
	sq := []plane.Point{{X: a.X - .5, Y: a.Y - .5}, {X: a.X + .5, Y: a.Y - .5}, {X: a.X + .5, Y: a.Y + .5}, {X: a.X - .5, Y: a.Y + .5}}
	return p.Area([][]plane.Point{sq}).CM2
}

func (p *Plan) area(q pose, regions [][][]plane.Point) float64 {
	var sum float64
	norm := math.Sqrt(q.tx*q.tx + q.ty*q.ty + 1)
	n := [3]float64{q.tx / norm, q.ty / norm, 1 / norm}
	for _, rings := range regions {
		for k, r := range rings {
			var s float64
			var prev [3]float64
			for i := -1; i < len(r); i++ {
				x, err := p.onSurface(q, r[(i+len(r))%len(r)])
				if err != nil {
					return math.NaN()
				}
				if i >= 0 {
					s += n[0]*(prev[1]*x[2]-prev[2]*x[1]) + n[1]*(prev[2]*x[0]-prev[0]*x[2]) + n[2]*(prev[0]*x[1]-prev[1]*x[0])
				}
				prev = x
			}
			sum += math.Abs(s) / 2 * sign(rings, k)
		}
	}
	return sum / 100
}

// flatArea is the area of rings in px².
func flatArea(rings [][]plane.Point) float64 {
	var sum float64
	for k, r := range rings {
		var s float64
		j := len(r) - 1
		for i := range r {
			s += (r[j].X-r[0].X)*(r[i].Y-r[0].Y) - (r[i].X-r[0].X)*(r[j].Y-r[0].Y)
			j = i
		}
		sum += math.Abs(s) / 2 * sign(rings, k)
	}
	return sum
}

// sign is -1 for a ring that lies inside an odd number of the others, a hole.
func sign(rings [][]plane.Point, k int) float64 {
	s := 1.0
	if len(rings[k]) == 0 {
		return s
	}
	a := rings[k][0]
	for i, r := range rings {
		if i == k {
			continue
		}
		in := false
		j := len(r) - 1
		for m := range r {
			if (r[m].Y > a.Y) != (r[j].Y > a.Y) && a.X < (r[j].X-r[m].X)*(a.Y-r[m].Y)/(r[j].Y-r[m].Y)+r[m].X {
				in = !in
			}
			j = m
		}
		if in {
			s = -s
		}
	}
	return s
}

// source of the draws: fixed, so that the same lines give the same interval.
func source() *rand.Rand { return rand.New(rand.NewSource(20240229)) }
