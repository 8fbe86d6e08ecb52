package register

// Result is the verdict on one photo.
type Result struct {
	View     string // id of the view recognised; of the likeliest one when refused, "" = none
	Accepted bool
	Reason   Reason // "" when accepted
	Detail   string // the numbers behind the reason, for people
	Mapping  Mapping
	// Inliers is the number of key points that agreed on the first homography, or of pairs set by hand.
	Inliers int
	// OverlapPct is the share of the reference that is in the photo, %.
	OverlapPct float64
	// RMSPx is how far the mapping may be off, in reference px: about twice the RMS distance to the truth over the
	// overlap, told from windows that took no part in fitting it and from fits that should agree (likely). For pairs
	// set by hand that stand alone it is what they miss one another by.
	RMSPx float64
	// Sharpness is the variance of the Laplacian over the reference's, in the aligned frame; 1 = as sharp.
	Sharpness float64
	// ClippedPct is the share of the overlap that is burnt out or black, %.
	ClippedPct float64
	// PxPerRef is the number of photo px that one reference px covers, median.
	PxPerRef float64
	// Basis says what the mapping rests on: "direct", "rescue:KEY" or "points", then the features after a space.
	Basis string
	// Agree is the share of windows with texture that agree with the mapping, in [0, 1].
	Agree float64
	// Pairs are the key points that agreed, for a picture that shows why.
	Pairs []Pair
}
