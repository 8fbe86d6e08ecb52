package chart

import "tilelapse/measure/colour"

// Count is the number of patches; they stand in Rows rows of Cols, numbered along the rows from "dark skin" to "black".
const (
	Cols  = 6
	Rows  = 4
	Count = Cols * Rows
)

// firstGrey is the index of the white patch; the six patches from there on are the row of greys.
const firstGrey = 18

// Edition says which of the maker's published values a chart agrees with. The maker changed formulation and values for
// charts made from November 2014 on, by 0.85 ΔE00 on average and 1.95 at most.
type Edition uint8

// The editions.
const (
	Untold      Edition = iota // the two can't be told apart with some certainty
	Before2014                 // charts made before November 2014 ("2005" values)
	FromNov2014                // charts made from November 2014 on
)

// String returns the edition's words.
func (e Edition) String() string {
	switch e {
	case Before2014:
		return "made before November 2014"
	case FromNov2014:
		return "made from November 2014"
	}
	return "edition not told"
}

// Published returns the maker's CIELAB values, ICC D50, 2 degree observer, patch 1 first. Untold gives those of the later
// edition.
//
// The maker's notice of 2016, both editions, as transcribed in colour-science/colour (BSD-3-Clause, commit 9d74314).
func Published(e Edition) [Count]colour.Lab {
	if e == Before2014 {
		return before2014
	}
	return fromNov2014
}

// Name returns the published name of patch i, 0 to 23.
func Name(i int) string { return names[i] }

// Reference returns the patches' colours in linear sRGB, D65, 1 = perfect white, unclamped (cyan has a negative red):
// the published values, adapted from D50 by Bradford.
func Reference(e Edition) [Count]colour.RGB {
	var o [Count]colour.RGB
	for i, c := range Published(e) {
		o[i] = colour.Adapt(c.XYZ(colour.D50), colour.D50, colour.D65).RGB()
	}
	return o
}

var names = [Count]string{
	"dark skin", "light skin", "blue sky", "foliage", "blue flower", "bluish green",
	"orange", "purplish blue", "moderate red", "purple", "yellow green", "orange yellow",
	"blue", "green", "red", "yellow", "magenta", "cyan",
	"white 9.5", "neutral 8", "neutral 6.5", "neutral 5", "neutral 3.5", "black 2",
}

var before2014 = [Count]colour.Lab{
	{L: 37.986, A: 13.555, B: 14.059}, {L: 65.711, A: 18.13, B: 17.81}, {L: 49.927, A: -4.88, B: -21.905},
	{L: 43.139, A: -13.095, B: 21.905}, {L: 55.112, A: 8.844, B: -25.399}, {L: 70.719, A: -33.397, B: -0.199},
	{L: 62.661, A: 36.067, B: 57.096}, {L: 40.02, A: 10.41, B: -45.964}, {L: 51.124, A: 48.239, B: 16.248},
	{L: 30.325, A: 22.976, B: -21.587}, {L: 72.532, A: -23.709, B: 57.255}, {L: 71.941, A: 19.363, B: 67.857},
	{L: 28.778, A: 14.179, B: -50.297}, {L: 55.261, A: -38.342, B: 31.37}, {L: 42.101, A: 53.378, B: 28.19},
	{L: 81.733, A: 4.039, B: 79.819}, {L: 51.935, A: 49.986, B: -14.574}, {L: 51.038, A: -28.631, B: -28.638},
	{L: 96.539, A: -0.425, B: 1.186}, {L: 81.257, A: -0.638, B: -0.335}, {L: 66.766, A: -0.734, B: -0.504},
	{L: 50.867, A: -0.153, B: -0.27}, {L: 35.656, A: -0.421, B: -1.231}, {L: 20.461, A: -0.079, B: -0.973},
}

var fromNov2014 = [Count]colour.Lab{
	{L: 37.54, A: 14.37, B: 14.92}, {L: 64.66, A: 19.27, B: 17.5}, {L: 49.32, A: -3.82, B: -22.54},
	{L: 43.46, A: -12.74, B: 22.72}, {L: 54.94, A: 9.61, B: -24.79}, {L: 70.48, A: -32.26, B: -0.37},
	{L: 62.73, A: 35.83, B: 56.5}, {L: 39.43, A: 10.75, B: -45.17}, {L: 50.57, A: 48.64, B: 16.67},
	{L: 30.1, A: 22.54, B: -20.87}, {L: 71.77, A: -24.13, B: 58.19}, {L: 71.51, A: 18.24, B: 67.37},
	{L: 28.37, A: 15.42, B: -49.8}, {L: 54.38, A: -39.72, B: 32.27}, {L: 42.43, A: 51.05, B: 28.62},
	{L: 81.8, A: 2.67, B: 80.41}, {L: 50.63, A: 51.28, B: -14.12}, {L: 49.57, A: -29.71, B: -28.32},
	{L: 95.19, A: -1.03, B: 2.93}, {L: 81.29, A: -0.57, B: 0.44}, {L: 66.89, A: -0.75, B: -0.06},
	{L: 50.76, A: -0.13, B: 0.14}, {L: 35.63, A: -0.46, B: -0.48}, {L: 20.64, A: 0.07, B: -0.46},
}
