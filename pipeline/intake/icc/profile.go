package icc

import (
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"unicode"
	"unicode/utf16"
)

// Unsupported says which kind of profile was found that is not read.
type Unsupported struct{ Found string }

func (u *Unsupported) Error() string { return u.Found }

func unsupported(format string, args ...any) error { return &Unsupported{fmt.Sprintf(format, args...)} }

// maxTags bounds the tag table; profiles in use have fewer than 40 (common practice, no source).
const maxTags = 200

// Parse reads an ICC profile (ICC.1:2022) into a Space. grey tells that the picture has one channel. The error is an
// *Unsupported that names what was found, in words that fit after "colour profile: ".
func Parse(p []byte, grey bool) (*Space, error) {
	if len(p) < 132 || string(p[36:40]) != "acsp" {
		return nil, unsupported("no ICC profile, though it is said to be one")
	}
	tags, err := tagTable(p)
	if err != nil {
		return nil, err
	}
	name := description(tags["desc"])
	colour := strings.TrimSpace(string(p[16:20]))
	switch {
	case colour == "GRAY":
		return greySpace(name, tags, grey)
	case colour != "RGB":
		return nil, unsupported("profile %q is for %s, not RGB", name, clean(colour, 4))
	}
	for _, t := range []string{"A2B0", "A2B1", "D2B0", "D2B1"} {
		if tags[t] != nil {
			return nil, unsupported("profile %q is a table of colours (LUT), not curves and a matrix", name)
		}
	}
	if pcs := strings.TrimSpace(string(p[20:24])); pcs != "XYZ" {
		return nil, unsupported("profile %q connects by %s, not XYZ", name, clean(pcs, 4))
	}
	s := &Space{Name: name}
	var m [9]float64
	for i, k := range []string{"r", "g", "b"} {
		x := tags[k+"XYZ"]
		if len(x) < 20 || string(x[:4]) != "XYZ " {
			return nil, unsupported("profile %q lacks %sXYZ", name, k)
		}
		for r := range 3 {
			m[3*r+i] = fixed(x[8+4*r:])
		}
		if s.Curve[i], err = curve(tags[k+"TRC"]); err != nil {
			return nil, unsupported("profile %q: %sTRC: %v", name, k, err)
		}
	}
	s.Matrix = product(srgbFromXYZ, product(d65FromD50, m))
	if !finite(s.Matrix[:]...) {
		return nil, unsupported("profile %q has a matrix that is no number", name)
	}
	if inv := inverse(s.Matrix); !finite(inv[:]...) {
		return nil, unsupported("profile %q has a matrix without an inverse", name)
	}
	// A profile's white must be the connection space's white. Half a stop off is a broken profile, not a colour cast.
	w := apply(s.Matrix, [3]float64{1, 1, 1})
	for _, v := range w {
		if v < 0.7 || v > 1.4 {
			return nil, unsupported("profile %q has a white of (%.2f, %.2f, %.2f) where (1, 1, 1) is needed", name, w[0], w[1], w[2])
		}
	}
	s.Name = s.known(name)
	return s, nil
}

// greySpace reads a grey profile: one curve, neutral.
func greySpace(name string, tags map[string][]byte, grey bool) (*Space, error) {
	if !grey {
		return nil, unsupported("profile %q is for grey, the picture has colours", name)
	}
	f, err := curve(tags["kTRC"])
	if err != nil {
		return nil, unsupported("profile %q: kTRC: %v", name, err)
	}
	return &Space{Name: "grey: " + name, Curve: all(f), Matrix: identity}, nil
}

// known returns the plain name of a space that is one of the well-known ones within what 8 bits can show, else the
// profile's own name.
func (s *Space) known(name string) string {
	for _, k := range []*Space{SRGB(), DisplayP3(), AdobeRGB()} {
		if !near(s.Matrix, k.Matrix, 0.004) {
			continue
		}
		far := 0.0
		for c := range 3 {
			for i := 0; i <= 255; i++ {
				v := float64(i) / 255
				far = max(far, math.Abs(s.Curve[c](v)-k.Curve[c](v)))
			}
		}
		if far < 0.003 {
			return k.Name
		}
	}
	return "profile: " + name
}

// tagTable returns the elements of a profile by signature. Every one lies within the profile.
func tagTable(p []byte) (map[string][]byte, error) {
	n := binary.BigEndian.Uint32(p[128:])
	if n > maxTags || 132+12*int(n) > len(p) {
		return nil, unsupported("profile with a tag table of %d tags that it can't hold", n)
	}
	tags := make(map[string][]byte, n)
	for i := range int(n) {
		e := p[132+12*i:]
		at, size := uint64(binary.BigEndian.Uint32(e[4:])), uint64(binary.BigEndian.Uint32(e[8:]))
		if at+size > uint64(len(p)) {
			return nil, unsupported("profile that is cut short or damaged")
		}
		tags[string(e[:4])] = p[at : at+size]
	}
	return tags, nil
}

// fixed reads an s15Fixed16Number.
func fixed(b []byte) float64 { return float64(int32(binary.BigEndian.Uint32(b))) / 65536 }

// dip is how far a curve may fall between two 8 bit samples: rounding where two parts of a curve meet.
const dip = 1e-4

// curve reads a curveType or parametricCurveType (ICC.1:2022, 10.6 and 10.18) as a function on [0,1], its value
// clamped to [0,1]. It must rise from dark to light.
func curve(b []byte) (func(float64) float64, error) {
	if len(b) < 12 {
		return nil, fmt.Errorf("missing")
	}
	var f func(float64) float64
	switch string(b[:4]) {
	case "curv":
		n := binary.BigEndian.Uint32(b[8:])
		if uint64(n) > uint64(len(b)-12)/2 {
			return nil, fmt.Errorf("cut short")
		}
		f = sampled(b[12:], int(n))
	case "para":
		var err error
		if f, err = parametric(b); err != nil {
			return nil, err
		}
	default:
		return nil, fmt.Errorf("of unknown type %q", clean(string(b[:4]), 4))
	}
	g := func(v float64) float64 { return min(max(f(v), 0), 1) }
	last := 0.0
	for i := 0; i <= 255; i++ {
		v := g(float64(i) / 255)
		if math.IsNaN(v) {
			return nil, fmt.Errorf("no number at sample %d", i)
		}
		if v < last-dip {
			return nil, fmt.Errorf("falling at sample %d", i)
		}
		last = v
	}
	if last < 0.5 {
		return nil, fmt.Errorf("ending at %.2f, not at white", last)
	}
	return g, nil
}

// sampled is a curveType of n points: 0 = linear, 1 = a gamma, more = interpolated linearly.
func sampled(b []byte, n int) func(float64) float64 {
	switch n {
	case 0:
		return func(v float64) float64 { return v }
	case 1:
		return gamma(float64(binary.BigEndian.Uint16(b)) / 256)
	}
	t := make([]float64, n)
	for i := range t {
		t[i] = float64(binary.BigEndian.Uint16(b[2*i:])) / 65535
	}
	return func(v float64) float64 {
		x := min(max(v, 0), 1) * float64(n-1)
		i := min(int(x), n-2)
		return t[i] + (x-float64(i))*(t[i+1]-t[i])
	}
}

// parametric is a parametricCurveType of type 0 to 4.
func parametric(b []byte) (func(float64) float64, error) {
	counts := []int{1, 3, 4, 5, 7}
	kind := int(binary.BigEndian.Uint16(b[8:]))
	if kind >= len(counts) {
		return nil, fmt.Errorf("of unknown parametric type %d", kind)
	}
	if len(b) < 12+4*counts[kind] {
		return nil, fmt.Errorf("cut short")
	}
	var q [7]float64
	for i := range counts[kind] {
		q[i] = fixed(b[12+4*i:])
	}
	g, a, bb, c, d, e, f := q[0], q[1], q[2], q[3], q[4], q[5], q[6]
	if g <= 0 || (kind > 0 && a <= 0) {
		return nil, fmt.Errorf("with an exponent %g and a factor %g that make no curve", g, a)
	}
	power := func(v float64) float64 { return math.Pow(max(a*v+bb, 0), g) }
	switch kind {
	case 0:
		return gamma(g), nil
	case 1, 2: // c is 0 for type 1
		return func(v float64) float64 {
			if v >= -bb/a {
				return power(v) + c
			}
			return c
		}, nil
	}
	return func(v float64) float64 { // e and f are 0 for type 3
		if v >= d {
			return power(v) + e
		}
		return c*v + f
	}, nil
}

// description reads the profile's name from a textDescriptionType (version 2) or the first record of a
// multiLocalizedUnicodeType (version 4).
func description(b []byte) string {
	if len(b) < 12 {
		return "without a name"
	}
	s := ""
	switch string(b[:4]) {
	case "desc":
		n := uint64(binary.BigEndian.Uint32(b[8:]))
		s = string(b[12:min(12+n, uint64(len(b)))])
	case "mluc":
		if len(b) < 28 {
			break
		}
		n, at := uint64(binary.BigEndian.Uint32(b[20:])), uint64(binary.BigEndian.Uint32(b[24:]))
		if at+n > uint64(len(b)) {
			break
		}
		u := make([]uint16, n/2)
		for i := range u {
			u[i] = binary.BigEndian.Uint16(b[at+2*uint64(i):])
		}
		s = string(utf16.Decode(u))
	}
	if s = clean(s, 60); s == "" {
		return "without a name"
	}
	return s
}

// clean returns at most n printable characters of s.
func clean(s string, n int) string {
	out := make([]rune, 0, n)
	for _, r := range strings.ToValidUTF8(s, "") {
		if len(out) < n && unicode.IsPrint(r) {
			out = append(out, r)
		}
	}
	return strings.TrimSpace(string(out))
}
