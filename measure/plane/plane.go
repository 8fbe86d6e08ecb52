// Package plane holds what the measuring packages share: pictures in linear light on the measuring frame, masks
// and polygons. It knows no file format.
package plane

// Flags of a pixel of an Image: why it can't be read, known before any measuring.
const (
	Outside uint8 = 1 << iota // not in the photo's frame
	Low                       // a channel at the dark end of the photo's codes
	HighR                     // the red channel at the bright end of the photo's codes
	HighG                     // the same, green
	HighB                     // the same, blue
	Moving                    // differs between two frames of one visit by more than noise
	Loose                     // the alignment does not hold here: what is shown may be another place
)

// High are the flags of channels at the bright end of the photo's codes: the light there was this or more.
const High = HighR | HighG | HighB

// Image is a picture on the measuring frame in linear light: sRGB primaries, white D65, unclamped (colours of a wider
// gamut go below 0), 1 = the photo's white. RGB is interleaved, 3*W*H long; Flags is W*H long, 0 = readable.
// Pixel (0,0) is the centre of the top left pixel. A measuring pixel (x, y) covers the reference pixels around
// x_ref = k*(x+0.5) - 0.5, see Frame.
type Image struct {
	W, H  int
	RGB   []float32
	Flags []uint8
}

// New returns an Image of w x h pixels, all black and readable.
func New(w, h int) *Image {
	return &Image{W: w, H: h, RGB: make([]float32, 3*w*h), Flags: make([]uint8, w*h)}
}

// Frame ties the measuring frame to the reference photo: the reference reduced k times in both directions.
type Frame struct {
	RefW, RefH int // reference photo, px
	K          int // reference px a measuring px
}

// MaxPixels is the largest measuring frame, px: it bounds the memory of one worker to some 100 MB a float plane triple.
const MaxPixels = 4_200_000

// FrameOf returns the measuring frame of a reference photo of w x h px: the smallest whole k that keeps it at or under
// MaxPixels.
func FrameOf(w, h int) Frame {
	k := 1
	for (w/k)*(h/k) > MaxPixels {
		k++
	}
	return Frame{RefW: w, RefH: h, K: k}
}

// Size returns the measuring frame's size in px. Right and bottom remainders under k px are left out.
func (f Frame) Size() (w, h int) { return f.RefW / f.K, f.RefH / f.K }

// Ref returns the reference position of a measuring position, both in px.
func (f Frame) Ref(x, y float64) (float64, float64) {
	k := float64(f.K)
	return k*(x+0.5) - 0.5, k*(y+0.5) - 0.5
}

// FromRef returns the measuring position of a reference position, both in px.
func (f Frame) FromRef(x, y float64) (float64, float64) {
	k := float64(f.K)
	return (x+0.5)/k - 0.5, (y+0.5)/k - 0.5
}

// Point is a position in px, origin at the centre of the top left pixel, y down.
type Point struct{ X, Y float64 }

// Region is a named area: rings of points in reference px, inside by the even-odd rule.
type Region struct {
	ID    string    `json:"id"`
	Rings [][]Point `json:"rings"`
}
