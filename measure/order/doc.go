// Package order puts zones in the order in which to clean them, by a rule stated in one sentence, and says for every
// zone in words why it stands there. There is no index and there are no weights.
package order

// Rule is the rule of the order.
const Rule = "Next comes, among the zones whose whitened area cannot be told from the largest one left (their 95 % intervals overlap), the one with most tiles beside gaps, of equals the one whose whitening grows fastest, then the one with the larger area."

// RuleShare is said after Rule when the zones' areas in cm² are not all known.
const RuleShare = "Not every view has a length drawn in it, so shares of the zones' tile area stand in for areas."

// RuleLast is said after Rule when it applies.
const RuleLast = "Zones whose whitening cannot be told from none follow, then zones that were not measured."
