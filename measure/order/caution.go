package order

// Cautions lists, by key, what stands beside every cleaning order, in this order. Their words are whoever's reports it.
func Cautions() []string {
	return []string{"conservator", "acid", "chlorine", "abrasion", "pump", "slips", "aerosol", "loose", "water", "lead", "rules", "cause"}
}

// Trades lists who may do something with the order in hand.
func Trades() []string { return []string{"gardener", "tiler", "conservator"} }
