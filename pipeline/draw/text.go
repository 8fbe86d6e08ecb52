package draw

import (
	"image"
	"image/color"
	"math"
	"strings"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// typeface is one of the two weights used.
type typeface struct {
	once sync.Once
	ttf  []byte
	font *sfnt.Font
}

var regular, bold = &typeface{ttf: goregular.TTF}, &typeface{ttf: gobold.TTF}

func (t *typeface) load() *sfnt.Font {
	t.once.Do(func() {
		f, err := opentype.Parse(t.ttf)
		if err != nil {
			panic("draw: built-in typeface: " + err.Error()) // compiled in: can't fail but by a mistake of ours
		}
		t.font = f
	})
	return t.font
}

// face returns the typeface at a size, px. Faces are not shared between pictures: they keep state.
func (t *typeface) face(px float64) font.Face {
	f, err := opentype.NewFace(t.load(), &opentype.FaceOptions{Size: math.Max(px, 4), DPI: 72, Hinting: font.HintingNone})
	if err != nil {
		panic("draw: built-in typeface: " + err.Error())
	}
	return f
}

// printable returns s if the typeface has every sign of it, else what it has, "?" for the others.
func printable(s string) string {
	f := regular.load()
	var b sfnt.Buffer
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 127 {
			return ' '
		}
		if i, err := f.GlyphIndex(&b, r); err != nil || i == 0 {
			return '?'
		}
		return r
	}, s)
}

// pen writes text of one face.
type pen struct {
	face font.Face
	size float64 // px
}

func (t *typeface) pen(px float64) pen { return pen{t.face(px), math.Max(px, 4)} }

func (p pen) width(s string) float64 { return float64(font.MeasureString(p.face, printable(s))) / 64 }

// cap returns the height of a capital letter, px. It is 0.72 of the size in these typefaces (measured).
func (p pen) cap() float64 { return 0.72 * p.size }

// write draws s with its base line beginning at (x, y).
func (c canvas) write(p pen, x, y float64, s string, ink color.RGBA) {
	d := font.Drawer{Dst: c.RGBA, Src: image.NewUniform(ink), Face: p.face,
		Dot: fixed.Point26_6{X: fixed.Int26_6(math.Round(x * 64)), Y: fixed.Int26_6(math.Round(y * 64))}}
	d.DrawString(printable(s))
}

// halo draws s in ink over a rim of another colour, which keeps it legible on any ground.
func (c canvas) halo(p pen, x, y float64, s string, ink, rim color.RGBA, width float64) {
	steps := max(8, int(4*width))
	for i := range steps {
		sn, cs := math.Sincos(2 * math.Pi * float64(i) / float64(steps))
		c.write(p, x+width*cs, y+width*sn, s, rim)
	}
	c.write(p, x, y, s, ink)
}

// wrap breaks text into lines of at most width px, at blanks.
func (p pen) wrap(s string, width float64) []string {
	var lines []string
	line := ""
	for _, w := range strings.Fields(s) {
		if next := strings.TrimSpace(line + " " + w); line == "" || p.width(next) <= width {
			line = next
			continue
		}
		lines = append(lines, line)
		line = w
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}
