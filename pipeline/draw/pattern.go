package draw

import (
	"image/color"
	"math"
)

// Inks. The hues keep apart under the common kinds of colour blindness and differ in lightness as well, so that grey
// print keeps them apart too; the tests check both.
var (
	paper      = color.RGBA{252, 251, 247, 255}
	ink        = color.RGBA{24, 24, 28, 255}
	quiet      = color.RGBA{96, 96, 100, 255}
	pencil     = color.RGBA{168, 168, 170, 255}
	white      = color.RGBA{255, 255, 255, 255}
	lost       = color.RGBA{150, 0, 24, 255}
	amber      = color.RGBA{255, 176, 0, 255}
	screenGrey = color.RGBA{224, 224, 222, 255} // ground of the hatching that hides
	hatchGrey  = color.RGBA{84, 84, 88, 255}
	leaf       = color.RGBA{0, 104, 92, 255}
)

// tints are the classes of opacity, lightest first: one hue, darker with opacity.
var tints = [4]color.RGBA{{196, 142, 202, 255}, {174, 94, 176, 255}, {126, 38, 132, 255}, {64, 0, 78, 255}}

// classes returns the lower bounds of the classes of opacity: half the threshold, the threshold, its double, and
// half-way from there to 1.
func classes(threshold float64) [4]float64 {
	double := math.Min(2*threshold, (1+threshold)/2)
	return [4]float64{threshold / 2, threshold, double, (1 + double) / 2}
}

// pattern returns how dark a hatching is at a canvas pixel, in [0,1]; u is the unit of size.
type pattern func(x, y int, u float64) float64

// stripe returns the coverage of lines of a width at a period, at distance t across them.
func stripe(t, period, width float64) float64 {
	d := math.Abs(t - period*math.Round(t/period))
	return clamp(width/2 - d + 0.5)
}

// hatched is the pattern of what stands in front: diagonal lines.
func hatched(x, y int, u float64) float64 {
	return stripe((float64(x)+float64(y))/math.Sqrt2, math.Max(0.75*u, 4), math.Max(0.16*u, 1))
}

// dotted is the pattern of what can't be read: dots in alternate rows.
func dotted(x, y int, u float64) float64 {
	p := math.Max(0.62*u, 4)
	fx, fy := float64(x)+0.5, float64(y)+0.5
	row := math.Floor(fy / p)
	if int(row)%2 != 0 {
		fx += p / 2
	}
	dx, dy := fx-p*(math.Floor(fx/p)+0.5), fy-p*(row+0.5)
	return clamp(math.Max(0.13*u, 0.9) - math.Hypot(dx, dy) + 0.5)
}

// dashed is the pattern of what is neither glaze nor scale: short upright dashes in alternate rows.
func dashed(x, y int, u float64) float64 {
	p := math.Max(0.7*u, 5)
	fx, fy := float64(x)+0.5, float64(y)+0.5
	row := math.Floor(fy / p)
	if int(row)%2 != 0 {
		fx += p / 2
	}
	dx, dy := fx-p*(math.Floor(fx/p)+0.5), math.Max(0, math.Abs(fy-p*(row+0.5))-0.28*p)
	return clamp(math.Max(0.08*u, 0.6) - math.Hypot(dx, dy) + 0.5)
}

// level is the pattern of scale that went: horizontal lines.
func level(_, y int, u float64) float64 {
	return stripe(float64(y)+0.5, math.Max(0.42*u, 3), math.Max(0.2*u, 1.4))
}
