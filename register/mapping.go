package register

// Mapping brings a position of the reference photo to the position in a repeat photo, both in px, pixel centres at
// whole numbers, upright: a homography, then the bilinearly interpolated displacement of a lattice.
type Mapping struct {
	PhotoFromRef [9]float64 `json:"photo_from_ref"`  // row by row
	Field        *Field     `json:"field,omitempty"` // nil = the homography alone
}

// Field is a displacement in photo px on a lattice over the reference: node (i, j) lies at (X0+i*Step, Y0+j*Step) and
// adds (DX, DY)[j*NX+i] to where the homography goes.
type Field struct {
	X0, Y0, Step float64
	NX, NY       int
	DX, DY       []float32
}
