// Package associate asks, tile by tile, what went together: were the tiles lost later more whitened before, did losses
// lie next to earlier gaps, did they fall in groups, how long did tiles stay by how whitened they were, and did
// whitening grow otherwise in times with recorded work than in times without an entry.
//
// What it finds is association in these photographs. It is no cause, and every result carries its numbers, its limits
// and what would weaken it. The list of tests is fixed (Tests); their p-values are corrected for their number.
//
// Losses are compared only within one zone, one height band and one pair of visits, because water, sun and frost differ
// by height and photos differ by visit. Whitening is taken from a visit earlier than the last one on which the tile was
// seen, so that what happened around the loss is not in it.
package associate

// Method names the statistics of this package in records; it is raised by hand whenever figures may change.
const Method = "2"

// Level is the confidence level of every interval of this package.
const Level = 0.95
