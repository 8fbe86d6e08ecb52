// Package plan turns areas in the reference photo into areas on the surface: from lines of known length drawn on it, or
// roughly from mm_per_px. The surface is one plane; the camera has square pixels and its axis in the middle of the
// picture. Then four numbers say everything (focal length, two tilts, distance), so four lines settle them; with fewer
// lines, what is usual (see Options) fills in and the interval says how little is known.
//
// The geometry is that of a pinhole camera over a plane: Hartley and Zisserman (2004), Multiple View Geometry, 2nd ed.,
// sections 2.3 and 6.1 (from memory). The fit is a maximum of the posterior by Gauss-Newton steps, damped after
// Marquardt (1963), J. SIAM 11(2), 431-441; intervals are drawn from the posterior.
package plan
