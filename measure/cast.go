package measure

import "math"

// How many depths of cast shadow are tried on tiles, and how many lights of the sun between shadows (our choice).
const (
	shadeSteps = 4
	sunSteps   = 2
)

// cast lists the lights that cast shadows make, from the deepest shade to the full sun that the controls show, as factors
// to the usual light. None without shadows, or when no control lies in them.
func (l *Light) cast() [][3]float64 {
	if !l.Shadows || l.Line.A == [3]float64{} || !(l.Line.Lo > 0) {
		return nil
	}
	usual := l.Line.At(l.Level)
	var out [][3]float64
	add := func(y float64) {
		g := l.Line.At(y)
		for c := range g {
			g[c] /= math.Max(usual[c], 1e-3)
		}
		out = append(out, g)
	}
	for k := range shadeSteps {
		if l.Line.Lo < l.Level {
			add(l.Line.Lo * math.Pow(l.Level/l.Line.Lo, float64(k)/shadeSteps))
		}
	}
	for k := range sunSteps {
		if l.Line.Hi > l.Level {
			add(l.Level * math.Pow(l.Line.Hi/l.Level, float64(k+1)/sunSteps))
		}
	}
	return out
}
