// Package trend describes how one figure of one zone went over the visits: slope per year, whether it rose at all,
// comparison of like seasons, growth between upkeep entries, what a cleaning removed, and when a threshold is reached.
//
// It works on a series that is already restricted to tiles read in all its visits (see Common): otherwise the worst
// tiles falling off would look like recovery. Times are days, slopes are per year of 365.25 days. A visit whose date is
// a range stands at the middle of it for the slope, and its order against another visit is used only where the two
// ranges do not overlap.
//
// Repeated visits to one surface are not independent of each other. From ClaimVisits visits on, p and interval are
// widened for it (serialInflation); for shorter series and the same-season test whoever shows them has to say so.
package trend

// Method names the statistics of this package in records; it is raised by hand whenever figures may change.
const Method = "2"

// Level is the confidence level of every interval of this package.
const Level = 0.95
