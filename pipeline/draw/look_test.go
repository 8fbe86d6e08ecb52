package draw

import (
	"fmt"
	"image/color"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Sight turns linear light into what eyes of a kind see.
//
// Machado, Oliveira, Fernandes (2009), IEEE Trans. Vis. Comput. Graph. 15(6), 1291–1298: matrices of severity 1, from
// memory. Grey: Rec. 709 luminance.
var sights = map[string][9]float64{
	"full":        {1, 0, 0, 0, 1, 0, 0, 0, 1},
	"protanopia":  {0.152286, 1.052583, -0.204868, 0.114503, 0.786281, 0.099216, -0.003882, -0.048116, 1.051998},
	"deuteranope": {0.367322, 0.860646, -0.227968, 0.280085, 0.672501, 0.047413, -0.011820, 0.042940, 0.968881},
	"tritanopia":  {1.255528, -0.076749, -0.178779, -0.078411, 0.930809, 0.147602, 0.004733, 0.691367, 0.303900},
	"grey print":  {0.2126, 0.7152, 0.0722, 0.2126, 0.7152, 0.0722, 0.2126, 0.7152, 0.0722},
}

// lab returns CIELAB (D65) of a colour under a sight.
func lab(c color.RGBA, m [9]float64) [3]float64 {
	lin := func(v uint8) float64 { // IEC 61966-2-1
		x := float64(v) / 255
		if x <= 0.04045 {
			return x / 12.92
		}
		return math.Pow((x+0.055)/1.055, 2.4)
	}
	in := [3]float64{lin(c.R), lin(c.G), lin(c.B)}
	var l [3]float64
	for i := range l {
		l[i] = clamp(m[3*i]*in[0] + m[3*i+1]*in[1] + m[3*i+2]*in[2])
	}
	f := func(t float64) float64 {
		if t > 216.0/24389 {
			return math.Cbrt(t)
		}
		return (24389.0/27*t + 16) / 116
	}
	x := f((0.4124*l[0] + 0.3576*l[1] + 0.1805*l[2]) / 0.9505)
	y := f(0.2126*l[0] + 0.7152*l[1] + 0.0722*l[2])
	z := f((0.0193*l[0] + 0.1192*l[1] + 0.9505*l[2]) / 1.089)
	return [3]float64{116*y - 16, 500 * (x - y), 200 * (y - z)}
}

func apart(a, b [3]float64) float64 {
	return math.Sqrt((a[0]-b[0])*(a[0]-b[0]) + (a[1]-b[1])*(a[1]-b[1]) + (a[2]-b[2])*(a[2]-b[2]))
}

// mixed returns a tint as it lies over a base map of a grey value.
func mixed(k int, base uint8) color.RGBA {
	c := newCanvas(1, 1, color.RGBA{base, base, base, 255})
	c.blend(0, 0, tints[k], strength[k])
	return c.RGBAAt(0, 0)
}

// Over any ground and for every kind of sight a darker class is darker, and the ground is lighter than all.
func TestClassesOfOpacityAreOrderedForEveryEye(t *testing.T) {
	for name, m := range sights {
		for k := range tints {
			darkestBefore := lab(color.RGBA{baseDark, baseDark, baseDark, 255}, m)[0]
			if k > 0 {
				darkestBefore = lab(mixed(k-1, baseDark), m)[0]
			}
			lightest := lab(mixed(k, baseLight), m)[0]
			assert.Greater(t, darkestBefore-lightest, 2.0, "%s, class %d", name, k)
		}
	}
}

func TestClassesFollowTheThreshold(t *testing.T) {
	assert.Equal(t, [4]float64{0.1, 0.2, 0.4, 0.7}, classes(0.2))
	for _, th := range []float64{0.01, 0.2, 0.5, 0.9, 1} {
		c := classes(th)
		assert.Equal(t, th, c[1])
		for i := 1; i < 4; i++ {
			assert.GreaterOrEqual(t, c[i], c[i-1])
			assert.LessOrEqual(t, c[i], 1.0)
		}
	}
	assert.Equal(t, -1, class(0.05, classes(0.2)))
	assert.Equal(t, 1, class(0.2, classes(0.2)))
	assert.Equal(t, 3, class(1, classes(0.2)))
}

// Every state and every event must differ from every other in grey print: by shape, since colour is gone. Compared are
// the swatches of the legend, and the same within a tile of other form.
func TestMarksDifferInGreyPrint(t *testing.T) {
	s := madeScene()
	for name, signs := range map[string][]sign{"overlay": overlaySigns(&s), "change": changeSigns(&s, [events][]int{})} {
		var pictures [][]float64
		for _, sg := range signs {
			c := newCanvas(60, 44, sample)
			sg.draw(symbols{c, 10}, [][]pt{rectangle(14, 12, 32, 20)})
			var grey []float64
			for i := 0; i < len(c.Pix); i += 4 {
				grey = append(grey, lab(color.RGBA{c.Pix[i], c.Pix[i+1], c.Pix[i+2], 255}, sights["grey print"])[0])
			}
			pictures = append(pictures, grey)
		}
		for i := range pictures {
			for j := range i {
				different := 0
				for k := range pictures[i] {
					if math.Abs(pictures[i][k]-pictures[j][k]) > 12 { // of lightness 0..100
						different++
					}
				}
				assert.GreaterOrEqual(t, different, 40, "%s: %q and %q", name, signs[i].label, signs[j].label)
			}
		}
	}
}

// The inks of marks keep apart for colour-blind eyes.
func TestInksKeepApart(t *testing.T) {
	all := map[string]color.RGBA{"missing": lost, "another colour": amber, "whitening": tints[3], "went": leaf, "paper": paper}
	for eye, m := range sights {
		for a, ca := range all {
			for b, cb := range all {
				if a < b && !(eye == "grey print" && (a == "missing" || b == "missing" || a == "went" || b == "went")) {
					assert.Greater(t, apart(lab(ca, m), lab(cb, m)), 20.0, "%s: %s and %s", eye, a, b)
				}
			}
		}
	}
}

func TestScaleBar(t *testing.T) {
	for _, c := range []struct {
		mm, longest float64
		units       string
		label       string
		px          float64
	}{
		{1, 300, "", "20 cm", 200},
		{1, 99.9, "metric", "5 cm", 50},
		{1, 100, "", "10 cm", 100},
		{2.5, 400, "", "1 m", 400},
		{2.5, 1000, "", "2 m", 800},
		{0.01, 500, "", "5 mm", 500},
		{100, 300, "", "20 m", 200},
		{1, 400, "us", "1 ft", 304.8},
		{1, 100, "us", "3 in", 76.2},
		{10, 400, "us", "10 ft", 304.8},
	} {
		b, ok := barOf(c.mm, c.longest, c.units)
		require.True(t, ok)
		assert.Equal(t, c.label, b.label)
		assert.InDelta(t, c.px, b.px, 1e-9)
		assert.LessOrEqual(t, b.px, c.longest+1e-9)
		assert.Greater(t, b.parts, 1)
	}
	for _, mm := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		_, ok := barOf(mm, 300, "")
		assert.False(t, ok)
	}
}

func TestWhatBecameOfATile(t *testing.T) {
	for _, c := range []struct {
		before, after string
		want          event
		told          bool
	}{
		{Present, Present, 0, false},
		{Present, Missing, lostSince, true},
		{OffPalette, Missing, lostSince, true},
		{Missing, Missing, lostAlready, true},
		{Hidden, Missing, lostUnseen, true},
		{Unreadable, Missing, lostUnseen, true},
		{Missing, Present, backAgain, true},
		{Missing, OffPalette, offSince, true},
		{Present, OffPalette, offSince, true},
		{OffPalette, OffPalette, offAlready, true},
		{OffPalette, Present, ownAgain, true},
		{Hidden, Present, incomparable, true},
		{Hidden, OffPalette, incomparable, true},
		{Present, Hidden, incomparable, true},
		{Missing, Unreadable, incomparable, true},
		{Missing, OutOfFrame, incomparable, true},
	} {
		e, ok := became(c.before, c.after)
		assert.Equal(t, c.told, ok, "%s to %s", c.before, c.after)
		assert.Equal(t, c.want, e, "%s to %s", c.before, c.after)
	}
	b, a := madeBefore(), madeScene()
	tr := transitions(&b, &a)
	assert.Equal(t, []int{14}, tr[lostSince])
	assert.Equal(t, []int{15}, tr[lostAlready])
	assert.Equal(t, []int{3}, tr[backAgain])
	assert.Equal(t, []int{5}, tr[ownAgain])
	assert.Equal(t, []int{31}, tr[offSince])
	assert.Equal(t, []int{40, 41, 53, 62, 66, 71}, tr[incomparable])
	a.Tiles = append(a.Tiles, Tile{ID: "new", State: Missing})
	tr = transitions(&b, &a)
	assert.Equal(t, []int{72}, tr[lostUnseen], "a tile the earlier visit does not know")
}

func TestDifferences(t *testing.T) {
	const w, h = 12, 12
	flat := func(code uint8) *Scene {
		s := &Scene{Words: english, W: w, H: h, Opacity: make([]uint8, w*h)}
		for i := range s.Opacity {
			s.Opacity[i] = code
		}
		return s
	}
	for _, c := range []struct {
		before, after uint8
		want          uint8
	}{
		{0, 0, nothing}, {0, 100, came}, {100, 0, went}, {100, 120, stayed}, {38, 42, nothing}, {42, 38, nothing}, {10, 39, nothing},
		{pixUnread, 100, unknown}, {100, pixHidden, unknown}, {pixElsewhere, pixElsewhere, nothing}, {100, pixGap, nothing},
	} {
		b, a := flat(c.before), flat(c.after)
		a.Picture = newCanvas(w, h, paper).RGBA
		for i, d := range differences(b, a) {
			require.Equal(t, c.want, d, "%d to %d at %d", c.before, c.after, i)
		}
	}
	one := flat(0)
	one.Opacity[5*w+5] = opacityMax / 2 // a single noisy pixel
	one.Picture = newCanvas(w, h, paper).RGBA
	for _, d := range differences(flat(0), one) {
		require.Equal(t, nothing, d)
	}
}

func TestFillCoversTheRightArea(t *testing.T) {
	c := newCanvas(100, 100, white)
	sum := func(rings [][]pt) (total float64) {
		c.fill(rings, func(_, _ int, cover float64) { total += cover })
		return total
	}
	assert.InDelta(t, 30.5*20.25, sum([][]pt{rectangle(10.25, 10.5, 30.5, 20.25)}), 0.5*30.5/subRows)
	assert.InDelta(t, 0.5*40*30, sum([][]pt{{{10, 10}, {50, 10}, {10, 40}}}), 2)
	assert.InDelta(t, 60*60-20*20, sum([][]pt{rectangle(10, 10, 60, 60), rectangle(30, 30, 20, 20)}), 1e-9, "even-odd")
	assert.InDelta(t, 10*10, sum([][]pt{rectangle(-5, -5, 15, 15)}), 1e-9, "clipped at the picture's edge")
}

// A dashed line has ink on dash/(dash+gap) of its length, and its round ends beside that, whatever the lengths of the
// pieces it is drawn in.
func TestDashes(t *testing.T) {
	for _, dash := range []float64{0, 7.3, 14.4} {
		c := newCanvas(420, 420, white)
		c.stroke([][]pt{rectangle(10.5, 10.5, 400, 400)}, 1, ink, dash, dash/2)
		dark := 0
		for x := 20; x < 400; x++ {
			if c.RGBAAt(x, 10).R < 128 {
				dark++
			}
		}
		want := 380.0
		if dash > 0 {
			want = 380 * (dash + 1) / (1.5 * dash)
		}
		assert.InDelta(t, want, float64(dark), 0.05*want, fmt.Sprint(dash))
	}
}

func TestLabelsLieInTheirZone(t *testing.T) {
	s := Scene{Words: english, W: 1000, H: 800}
	p := newPlate(&s, func(*plate) float64 { return 0 })
	slanted := [][]pt{{{300, 100}, {900, 300}, {900, 700}, {300, 700}}}
	mark := [4]float64{310, 250, 600, 400}
	x, y := p.place(slanted, 150, 30, [][4]float64{mark})
	for _, c := range []pt{{x, y}, {x + 150, y}, {x, y + 30}, {x + 150, y + 30}} {
		assert.True(t, inside(slanted, c), "%v", c)
	}
	assert.False(t, x < mark[2] && x+150 > mark[0] && y < mark[3] && y+30 > mark[1], "clear of the mark")
}

func TestPrintableText(t *testing.T) {
	assert.Equal(t, "step-1 · 4 m²", printable("step-1 · 4 m²"))
	assert.Equal(t, "a ??b", printable("a\n中文b"))
	p := regular.pen(12)
	assert.Equal(t, "short", p.fit("short", 500))
	assert.LessOrEqual(t, p.width(p.fit("a rather long text for little room", 60)), 60.0)
	for _, l := range p.wrap("words that go over several lines of a narrow column", 90) {
		assert.LessOrEqual(t, p.width(l), 90.0)
	}
}
