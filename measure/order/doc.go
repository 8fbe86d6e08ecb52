// Package order puts zones in the order in which to clean them, by a rule that can be stated in one sentence, and says for
// every zone why it stands there. There is no index and there are no weights.
//
// The rule: next comes, among the zones whose whitened area cannot be told from the largest one left (the 95 % interval of
// the difference holds zero), the one with most tiles beside gaps, of equals the one whose whitening grows fastest, then
// the one with the larger area. Zones whose whitening cannot be told from none follow, then zones that were not measured.
package order
