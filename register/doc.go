// Package register brings repeat photos onto a reference photo, or refuses them with a reason.
//
// The chain: key points at a bounded size (features.go) are matched both ways (match.go) and give a first homography
// (model.go). From there the pictures speak for themselves: small windows all over the overlap are compared by the
// direction of their gradients, coarse to fine (window.go, orient.go), a homography and, where it helps, a smooth
// displacement are fitted to what they say (spline.go, local.go), and windows that took no part in the fit say how far
// it is off and whether the picture is the right one at all (accept.go). A surface that is not flat is taken apart:
// further planes are found among the key points that the first leaves over (planes.go), grow from window to window
// (grow.go) and follow them (displace.go, parts.go); where no windows agree nothing is read (held.go). Where that fails other features are tried (align.go), then other photos of the same view (rescue.go), then pairs set by hand (points.go).
//
// Positions are in px, pixel centres at whole numbers, (0, 0) the centre of the top left pixel of the upright picture.
// Grey planes are 8-bit luma in the file's encoding. Nothing here depends on time, on the number of goroutines or on
// the order of photos.
package register

// Method names the way photos are aligned; it is raised by hand when results change.
const Method = "3"
