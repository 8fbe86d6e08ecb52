// Package locate finds a 24-patch colour chart in a photo that nobody marked. It stands apart from package chart because
// it needs OpenCV, which reading and fitting a chart do not.
package locate

import (
	"fmt"
	"image"
	"image/draw"
	"math"
	"slices"

	"tilelapse/measure/chart"
	"tilelapse/measure/colour"
	"tilelapse/measure/internal/cv"
	"tilelapse/measure/plane"
)

// Limits of what is looked at.
const (
	MaxPixels = 400_000_000 // of the photo; more is refused
	Side      = 1600        // px, longer side in which the chart is looked for
	least     = 800         // px, shorter side pictures are brought to for the search
	lowCode   = 2           // up to it a code counts as the dark end, as for measuring
	highCode  = 253         // from it on as the bright end
	most      = 4           // charts looked at in one photo: false ones are sorted out by their colours
)

// Find looks for a 24-patch chart in an 8-bit photo (codes as in the file). It returns the four corners of the chart's
// field in px of the photo, pixel centres at whole numbers, clockwise, and whether there is one. A find is kept only
// when its patches can be brought to the published colours; of several the best fitting is taken.
//
// Errors: photos smaller or larger than the limits, and what OpenCV throws. No chart is no error.
func Find(im image.Image) ([4]plane.Point, bool, error) {
	var none [4]plane.Point
	b := im.Bounds()
	if b.Dx() < cv.MinSide || b.Dy() < cv.MinSide || b.Dx() > MaxPixels/b.Dy() {
		return none, false, fmt.Errorf("a picture of %d x %d px: sides of at least %d px and at most %d px in all are needed",
			b.Dx(), b.Dy(), cv.MinSide, MaxPixels)
	}
	k := (max(b.Dx(), b.Dy()) + Side - 1) / Side
	small := shrink(im, k)
	if min(small.Rect.Dx(), small.Rect.Dy()) < cv.MinSide {
		return none, false, nil // a strip: no chart of a readable size fits into it
	}
	light := linear(small)
	best, found, mean := none, false, math.Inf(1)
	for _, look := range []*image.RGBA{small, stretch(small)} {
		boxes, err := cv.Charts(look, most, least)
		if err != nil {
			return none, false, err
		}
		for _, q := range boxes {
			var p [4]plane.Point
			for i, c := range q {
				p[i] = plane.Point{X: float64(c[0]), Y: float64(c[1])}
			}
			patches, err := chart.Patches(light, p)
			if err != nil {
				continue
			}
			f, err := chart.FitPatches(patches, chart.Untold)
			if err != nil || f.Mean >= mean {
				continue
			}
			best, found, mean = p, true, f.Mean
		}
		if found {
			break
		}
	}
	for i := range best {
		best[i].X = float64(k)*(best[i].X+0.5) - 0.5
		best[i].Y = float64(k)*(best[i].Y+0.5) - 0.5
	}
	return best, found, nil
}

// shrink averages k x k px of a picture at a time, on its codes; remainders are left out.
func shrink(im image.Image, k int) *image.RGBA {
	b := im.Bounds()
	w, h := b.Dx()/k, b.Dy()/k
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	strip := image.NewRGBA(image.Rect(0, 0, b.Dx(), k))
	for y := range h {
		draw.Draw(strip, strip.Rect, im, image.Pt(b.Min.X, b.Min.Y+k*y), draw.Src)
		for x := range w {
			var s [3]int
			for v := range k {
				row := strip.Pix[v*strip.Stride+4*k*x:]
				for u := range k {
					s[0], s[1], s[2] = s[0]+int(row[4*u]), s[1]+int(row[4*u+1]), s[2]+int(row[4*u+2])
				}
			}
			p := out.Pix[y*out.Stride+4*x:]
			for c := range 3 {
				p[c] = uint8((s[c] + k*k/2) / (k * k))
			}
			p[3] = 255
		}
	}
	return out
}

// linear returns the light of sRGB codes, with the ends of the codes flagged.
func linear(im *image.RGBA) *plane.Image {
	var table [256]float32
	for i := range table {
		table[i] = float32(colour.Decode(float64(i) / 255))
	}
	o := plane.New(im.Rect.Dx(), im.Rect.Dy())
	for i := range o.Flags {
		for c := range 3 {
			v := im.Pix[4*i+c]
			o.RGB[3*i+c] = table[v]
			if v >= highCode {
				o.Flags[i] |= plane.HighR << c
			} else if v <= lowCode {
				o.Flags[i] |= plane.Low
			}
		}
	}
	return o
}

// stretch brings every channel to the full range of codes and lifts the dark end: a chart in dim or coloured light, or in
// a file that holds light as it is, has contours then that can be followed.
func stretch(im *image.RGBA) *image.RGBA {
	out := image.NewRGBA(im.Rect)
	n := im.Rect.Dx() * im.Rect.Dy()
	for c := range 3 {
		v := make([]uint8, n)
		for i := range v {
			v[i] = im.Pix[4*i+c]
		}
		slices.Sort(v)
		top := math.Max(1, float64(v[n-1-n/200]))
		var table [256]uint8
		for i := range table {
			table[i] = uint8(math.Round(255 * math.Sqrt(math.Min(1, float64(i)/top))))
		}
		for i := range n {
			out.Pix[4*i+c] = table[im.Pix[4*i+c]]
			out.Pix[4*i+3] = 255
		}
	}
	return out
}
