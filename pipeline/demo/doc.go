// Package demo draws a small survey of an invented artwork, the Millrace Wall, and writes it as a survey folder with
// its exact truth beside it: two views of a curved tiled wall with a water stair, photographed on six visits with a
// hand-held camera in changing light while scale grows, one glaze fades and tiles are lost.
//
// Nothing in it shows a real place. All of it is computed: the surface is a texture in millimetres on a cylinder, lit in
// linear light with sRGB primaries, seen through a pinhole with radial distortion, then given noise and the sRGB curve.
// The model of a point is
//
//	photo = exposure * balance * illumination * ((1-α) glaze + α deposit) + haze + noise
//
// so the truth (opacity α, glaze drift, the state of each tile, the mapping from reference to photo) is known, not
// measured. The same program writes the same bytes every time.
package demo
