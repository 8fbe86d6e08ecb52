// Package colour holds the colour arithmetic of the measuring path, in float64: the sRGB curve, linear light to
// CIELAB under D65, chromatic adaptation and CIEDE2000.
package colour

// Lab is a CIELAB colour, L in [0,100]; the white it is relative to is the context's, D65 unless said otherwise.
type Lab struct {
	L float64 `json:"L"`
	A float64 `json:"a"`
	B float64 `json:"b"`
}

// RGB is linear light with sRGB primaries and white D65, 1 = white, unclamped.
type RGB [3]float64
