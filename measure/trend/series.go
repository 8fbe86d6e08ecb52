package trend

import (
	"cmp"
	"math"
	"slices"

	"tilelapse/measure/middle"
)

// MinVisits is the smallest number of visits for which a slope is given: three points are on no line or on any. With
// four, the smallest two-sided p-value there is, 2/4!, is 0.083, so a test starts at five.
const MinVisits = 4

// ClaimVisits is the number of visits from which a p-value is worded as support; below it S takes too few values
// (from memory: 8 to 10 in guidance on trends; we take 8).
const ClaimVisits = 8

// ForecastVisits is the smallest number of visits a date ahead is worked out from (our choice).
const ForecastVisits = 6

// Point is a measure on one visit, on the tiles common to the series. NaN Value = not measured; NaN Lo or Hi = its
// error is not known.
type Point struct {
	When          Span
	Value, Lo, Hi float64 // Lo and Hi at Level
}

func comparePoints(a, b Point) int {
	return cmp.Or(compareSpans(a.When, b.When), cmp.Compare(a.Value, b.Value))
}

// usable returns the measured points in order of date.
func usable(points []Point) []Point {
	var r []Point
	for _, p := range points {
		if !math.IsNaN(p.Value) {
			r = append(r, p)
		}
	}
	slices.SortStableFunc(r, comparePoints)
	return r
}

// half returns the half width of a point's interval, 0 when not known.
func (p Point) half() float64 {
	if w := (p.Hi - p.Lo) / 2; w > 0 {
		return w
	}
	return 0
}

// Trend is how one measure of one zone went over the visits. NaN and "" = not available; Notes say why.
type Trend struct {
	Visits      int // measured
	From, To    Span
	Slope       float64 // per year
	Lo, Hi      float64 // of the slope, at Level, measuring error included
	Ranks       Ranks   // convention of the slope's interval
	Kendall     Kendall
	P           float64 // Kendall.P from five visits on, wider for visits that resemble the ones before; else NaN
	Serial      float64 // growth of the variance for that likeness, 1 = none or too few visits to tell
	Season      Season
	SameSeasonP float64
	Threshold   float64 // as asked for, NaN = none
	ReachedOn   string  // ISO date
	ReachedLo   string
	ReachedHi   string
	Notes       []Note
}

// Rising reports whether the series rises by more than chance and error: p at most 0.05 and an interval above 0.
func (t Trend) Rising() bool { return t.P <= 1-Level && t.Lo > 0 }

// Falling is the reverse of Rising.
func (t Trend) Falling() bool { return t.P <= 1-Level && t.Hi < 0 }

// Summarise describes a series, in any order of its points. A NaN threshold asks for none; the date a threshold is
// reached is told for rising measures.
func Summarise(points []Point, threshold float64) Trend {
	nan := math.NaN()
	t := Trend{Slope: nan, Lo: nan, Hi: nan, P: nan, SameSeasonP: nan, Serial: 1, Threshold: threshold}
	t.Season.P, t.Season.Slope = nan, nan
	t.Kendall = kendall(nil, nil)
	pts := usable(points)
	t.Visits = len(pts)
	if len(pts) == 0 {
		if len(points) > 0 {
			t.note(NoReading, len(points))
		}
		return t
	}
	t.From, t.To = pts[0].When, pts[0].When
	for _, p := range pts {
		if p.When.To > t.To.To {
			t.To = p.When
		}
	}
	if len(pts) < MinVisits {
		t.note(TooFewVisits, len(pts), MinVisits)
		t.reach(pts, Slope{})
		return t
	}
	time := newSigns(len(pts), func(i, j int) bool { return pts[i].When.Before(pts[j].When) })
	x, y := make([]float64, len(pts)), make([]float64, len(pts))
	for i, p := range pts {
		x[i], y[i] = p.When.Mid()/YearDays, p.Value
	}
	t.Kendall = kendall(time, y)
	if unordered := len(pts)*(len(pts)-1)/2 - t.Kendall.Pairs; unordered > 0 {
		t.note(Overlapping, unordered)
	}
	if t.Kendall.Pairs == 0 {
		t.note(NoOrder)
		return t
	}
	sen := theilSen(time, x, y, RanksFor(len(pts)))
	t.Slope, t.Lo, t.Hi, t.Ranks = sen.PerUnit, sen.Lo, sen.Hi, sen.Ranks
	t.Season = SameSeason(pts)
	t.SameSeasonP = t.Season.P
	if len(pts) > MinVisits {
		t.P = t.Kendall.P
	} else {
		t.note(NoTestAtFour)
	}
	if len(pts) < ClaimVisits {
		t.note(FewVisits, len(pts), ClaimVisits)
	}
	if unchanging(pts) {
		// All slopes are 0, and with them their ranks' interval: that would say for certain that nothing changes.
		t.Lo, t.Hi = nan, nan
		t.note(Unchanging)
	} else if math.IsNaN(t.Lo) || math.IsNaN(t.Hi) {
		t.note(NoInterval)
	} else if e := slopeError(x, pts); e > 0 {
		if t.Slope-e < t.Lo || t.Slope+e > t.Hi {
			t.note(Widened)
		}
		t.Lo, t.Hi = math.Min(t.Lo, t.Slope-e), math.Max(t.Hi, t.Slope+e)
	}
	t.serial(pts, sen)
	sen.Lo, sen.Hi = t.Lo, t.Hi
	t.reach(pts, sen)
	return t
}

// unchanging reports whether a series without measuring errors, such as a count, has one value on every visit.
func unchanging(pts []Point) bool {
	for _, p := range pts {
		if p.Value != pts[0].Value || p.half() > 0 {
			return false
		}
	}
	return true
}

// serial makes p and interval wider for visits that resemble the ones before.
func (t *Trend) serial(pts []Point, sen Slope) {
	dev := make([]float64, len(pts))
	for i, p := range pts {
		dev[i] = p.Value - sen.At(p.When.Mid()/YearDays)
	}
	t.Serial = serialInflation(dev)
	if t.Serial <= 1 {
		return
	}
	if _, p := normalScore(t.Kendall.S, t.Kendall.VarS*t.Serial); p > t.P {
		t.P = p
		t.note(Resemble, t.Kendall.P)
	}
	wide := math.Sqrt(t.Serial)
	t.Lo, t.Hi = t.Slope-wide*(t.Slope-t.Lo), t.Slope+wide*(t.Hi-t.Slope)
}

// slopeError is the half width at Level that the measuring errors of the points alone give a slope, as for least
// squares: ranks cannot see it when the values happen to agree, for instance when all are 0.
func slopeError(x []float64, pts []Point) float64 {
	mean := 0.0
	for _, v := range x {
		mean += v / float64(len(x))
	}
	sxx, e := 0.0, 0.0
	for i, p := range pts {
		d := x[i] - mean
		sxx += d * d
		e += d * d * p.half() * p.half()
	}
	if sxx == 0 {
		return 0
	}
	return math.Sqrt(e) / sxx
}

// reach fills in when the threshold was or will be reached.
func (t *Trend) reach(pts []Point, sen Slope) {
	if math.IsNaN(t.Threshold) {
		return
	}
	last := pts[len(pts)-1]
	if last.Value >= t.Threshold {
		t.reached(pts)
		return
	}
	if len(pts) < ForecastVisits {
		t.note(NoForecastFew, len(pts), ForecastVisits)
		return
	}
	if !t.Rising() {
		t.note(NoForecastFlat)
		return
	}
	// The line's own height is uncertain as well: an interval for its median residual, and the common error of reading.
	h := levelError(sen, pts)
	centre := sen.Centre.X
	when := func(slope, level float64) float64 {
		return (centre + (t.Threshold-level)/slope) * YearDays
	}
	span := float64(t.To.To - t.From.From)
	horizon := float64(t.To.To) + span
	on := when(sen.PerUnit, sen.Centre.Y)
	lo := when(sen.Hi, sen.Centre.Y+h)
	hi := when(sen.Lo, sen.Centre.Y-h)
	after := float64(t.To.To) // it was below the threshold on the last visit
	if math.IsNaN(lo) || lo > horizon {
		t.note(BeyondHorizon)
		return
	}
	t.ReachedLo = ISO(int(math.Round(math.Max(lo, after))))
	if on <= horizon {
		t.ReachedOn = ISO(int(math.Round(math.Max(on, after))))
	} else {
		t.note(CentreBeyond)
	}
	if hi <= horizon {
		t.ReachedHi = ISO(int(math.Round(math.Max(hi, after))))
	} else {
		t.note(OpenEnd)
	}
	t.note(Forecast)
}

// reached tells between which visits the threshold was crossed for the last time.
func (t *Trend) reached(pts []Point) {
	i := len(pts) - 1
	for i > 0 && pts[i-1].Value >= t.Threshold {
		i--
	}
	t.ReachedHi = ISO(pts[i].When.To)
	if pts[i].Lo < t.Threshold {
		t.note(CrossedUnsure)
	}
	if i == 0 {
		t.note(AlwaysAbove, pts[0].When)
		return
	}
	t.ReachedLo = ISO(pts[i-1].When.From)
	t.note(Crossed, pts[i-1].When, pts[i].When)
}

// levelError is the half width at Level of the line's height: 1.2533/sqrt(n) times the residuals' spread (the standard
// error of a median under normal errors, common practice), or the points' own error if that is larger.
func levelError(sen Slope, pts []Point) float64 {
	res, halves := make([]float64, len(pts)), make([]float64, len(pts))
	for i, p := range pts {
		res[i] = math.Abs(p.Value - sen.At(p.When.Mid()/YearDays))
		halves[i] = p.half()
	}
	spread := 1.4826 * middle.Of(res) * 1.96 * 1.2533 / math.Sqrt(float64(len(pts)))
	return math.Max(spread, middle.Of(halves))
}
