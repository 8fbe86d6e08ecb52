package order

// Advice is a sentence that stands beside the order, and where it comes from.
type Advice struct {
	Key    string
	Text   string
	Source string // a published source, or "common practice"
}

// Cautions returns what stands beside every cleaning order, in this order.
func Cautions() []Advice {
	return []Advice{
		{"conservator", "Nothing here replaces a licensed conservator: whether, how and with what this surface may be cleaned is theirs to say, after a test on the smallest, least visible spot.", "US National Park Service and GSA preservation guidance ask for a qualified professional"},
		{"acid", "Never use acid on glazed tile, vinegar and household descalers included: acids attack grout, can etch or bleach glazes and free lead from them.", "ANSI A108.02, 4.5, as quoted in the trade press; field reports of a tile institute; lead: from memory"},
		{"chlorine", "Never mix acid with bleach or any chlorine product: the gas can kill. Never mix two cleaning products.", "poison control and pool operators' safety pages"},
		{"abrasion", "No metal blades, pumice, abrasive pads, sandblasting or pressure washing: scratched glaze holds the next scale better, and jets drive water behind tiles.", "common practice; pumice: a pool trade page"},
		{"pump", "Before anyone touches the water: pump and lights switched off, locked and tagged. Electrical work only by a licensed electrician.", "29 CFR 1910.147 (control of hazardous energy) and electrical rules, as quoted on public pages"},
		{"slips", "Wet glaze and algae are slippery: barriers, shoes that hold, a second person. No ladder in the basin or beside water.", "common practice"},
		{"aerosol", "Water features make aerosol that can carry Legionella: follow the site's water management programme; no spraying.", "CDC module on decorative fountains, citing ASHRAE Guideline 12"},
		{"loose", "Tiles beside gaps may be loose: no scraping or leaning on them before a tiler or conservator has tapped them. Keep and label every fallen piece with date and place.", "common practice"},
		{"water", "Fish, plants, animals and the drain: what is rinsed off may need a permit.", "common practice"},
		{"lead", "Old glazes may hold lead, old mortar and backing asbestos: no dust.", "common practice"},
		{"rules", "Local codes, the protection of the work, the artist's rights and contracts come first: permission in writing before any treatment.", "common practice"},
		{"cause", "These figures show whitened area that looks like mineral scale; its cause is not tested. White can also be worn glaze, salts, bird lime or glare.", "common practice"},
	}
}

// Step is what one trade may do with the order in hand.
type Step struct {
	Trade string // gardener, tiler or conservator
	Texts []string
}

// Steps returns the permitted work by trade, mildest first (all common practice unless a conservator says otherwise).
func Steps() []Step {
	return []Step{
		{"gardener", []string{
			"Cut back what hides tiles, beginning with those unseen for longest; roots and stems stay out of joints.",
			"Keep nozzles and sprinklers off the surface; report drips, leaks, loose and fallen tiles with date and place.",
			"Where the conservator agrees: wipe with water and a soft cloth, dry, often, so that deposits stay soft.",
		}},
		{"tiler", []string{
			"Tap around gaps and mark hollow tiles on the picture; take none out.",
			"Find where water gets in before anything is set again; open joints and movement joints first.",
			"Set tiles again only under the conservator's direction, with joints that let the wall dry.",
		}},
		{"conservator", []string{
			"Tell what the white is before choosing a method: scale, salts, worn glaze.",
			"Test spot first, mildest first: water, soft brush, wood or plastic scraper on sound glaze; anything chemical is your decision and on your record.",
			"Photograph before, during and after, dry, from the marked place, so that the next figures can be held against these.",
		}},
	}
}
