package associate

import (
	"fmt"
	"math"
	"math/rand"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/trend"
)

// How often each test speaks, out of runs made-up walls, each held against 0.05 by itself.
func spoke(w wall, runs int) (own, alone [4]float64, holdsOne float64) {
	rng := rand.New(rand.NewSource(7))
	o := Options{Permutations: 199, Seed: 1}
	n := 1 / float64(runs)
	for range runs {
		for i, r := range Tests([]View{w.make(rng)}, nil, o)[:4] {
			if r.P <= 0.05 {
				own[i] += n
			}
			if r.PAlone <= 0.05 {
				alone[i] += n
			}
			if i == 0 && r.Lo <= 1 && 1 <= r.Hi {
				holdsOne += n
			}
		}
	}
	return own, alone, holdsOne
}

// Where nothing goes together, no test may speak in more than about 5 of 100 walls: also when whitening and losses are
// each patchy, which makes tests that take every tile on its own speak in a fifth to a third of the walls.
func TestNothingToFind(t *testing.T) {
	const runs = 120
	limit := 0.05 + 3.5*math.Sqrt(0.05*0.95/runs)
	plain := wall{cols: 18, rows: 12, visits: 6, base: -4, hidden: 0.1}
	own, _, holds := spoke(plain, runs)
	t.Logf("every tile on its own: %.3f, interval holds 1: %.3f", own, holds)
	for i, share := range own {
		assert.LessOrEqual(t, share, limit, IDs()[i])
	}
	patchy := wall{cols: 18, rows: 12, visits: 6, base: -4.5, smooth: 3, own: 1.2}
	own, alone, holds := spoke(patchy, runs)
	t.Logf("patchy: %.3f, as if alone %.3f, interval holds 1: %.3f", own, alone, holds)
	assert.LessOrEqual(t, own[0], limit)
	assert.LessOrEqual(t, own[3], limit)
	assert.GreaterOrEqual(t, holds, 1-limit)
	assert.Greater(t, alone[0], limit, "the correction must be needed for this check to mean anything")
}

func TestSomethingToFind(t *testing.T) {
	const runs = 40
	own, _, _ := spoke(wall{cols: 20, rows: 12, visits: 7, base: -4.5, byScale: 1.3}, runs)
	t.Logf("losses follow scale: %.2f", own)
	assert.Greater(t, own[0], 0.8)
	assert.Greater(t, own[3], 0.8)
	own, _, _ = spoke(wall{cols: 20, rows: 12, visits: 7, base: -4, byGap: 1.8}, runs)
	t.Logf("losses follow gaps: %.2f", own)
	assert.Greater(t, own[1], 0.8)
}

func one0(t *testing.T, states ...State) View {
	t.Helper()
	v := View{ID: "v", Tiles: []Tile{{ID: "t", Zone: "z"}}}
	for k, s := range states {
		v.Visits = append(v.Visits, trend.Span{From: 100 * k, To: 100 * k})
		v.Tiles[0].States = append(v.Tiles[0].States, s)
		v.Tiles[0].Scale = append(v.Tiles[0].Scale, 1)
	}
	require.NoError(t, v.Validate())
	return v
}

func TestLosses(t *testing.T) {
	const p, m, h, o = Present, Missing, State("hidden"), OffPalette
	tests := []struct {
		name   string
		states []State
		want   []Loss
	}{
		{"kept", []State{p, p, p}, nil},
		{"lost", []State{p, p, m, m}, []Loss{{0, 1, 2}}},
		{"lost behind a plant", []State{p, h, h, m}, []Loss{{0, 0, 3}}},
		{"gone from the start", []State{m, m, m}, nil},
		{"missing once, back again", []State{p, m, p, p}, nil},
		{"missing, unread, back again", []State{p, m, h, p}, nil},
		{"missing twice, set again", []State{p, m, m, p}, []Loss{{0, 0, 1}}},
		{"missing, another tile there", []State{p, m, o, o}, []Loss{{0, 0, 1}}},
		{"another tile", []State{p, o, m}, nil},
		{"back once, lost later", []State{p, m, p, m, m}, []Loss{{0, 2, 3}}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) { assert.Equal(t, tt.want, one0(t, tt.states...).Losses()) })
	}
	v := one0(t, p, m)
	v.Visits[0].To = 150
	assert.Empty(t, v.Losses(), "dates that overlap have no order")
}

func TestAtRisk(t *testing.T) {
	v := one0(t, Present)
	v.Tiles = []Tile{
		{ID: "a", Zone: "z", Neighbours: []int{1}, States: []State{Present}, Scale: []float64{0}},
		{ID: "b", Zone: "z", Neighbours: []int{0, 2}, States: []State{Missing}, Scale: []float64{0}},
		{ID: "c", Zone: "y", Neighbours: []int{1}, States: []State{Present}, Scale: []float64{0}},
	}
	n, beside := v.AtRisk("z", 0)
	assert.Equal(t, 1, n)
	assert.Equal(t, []int{1, 0, 1}, beside)
}

// Whitening must come from a visit before the last sighting: scale that shows up only on that one plays no part.
func TestScaleOfTheLastSightingPlaysNoPart(t *testing.T) {
	w := wall{cols: 10, rows: 8, visits: 4, base: -2}
	v := w.make(rand.New(rand.NewSource(3)))
	before := Tests([]View{v}, nil, DefaultOptions())[0]
	for _, l := range v.Losses() {
		v.Tiles[l.Tile].Scale[l.Seen] = 100
	}
	after := Tests([]View{v}, nil, DefaultOptions())[0]
	require.Positive(t, before.Losses)
	assert.Equal(t, before.P, after.P)
	assert.Equal(t, before.Counts.ExposedLost, after.Counts.ExposedLost)
}

// The exact law is that of drawing losses at random within the groups.
func TestExactLawIsThatOfPermutations(t *testing.T) {
	v := wall{cols: 12, rows: 9, visits: 5, base: -3, byGap: 1}.make(rand.New(rand.NewSource(11)))
	groups := byGroup(cases([]View{v}, false))
	exposeByGap([]View{v}, groups)
	strata, _, _ := tables(groups)
	e := NewExact(strata...)
	rng := rand.New(rand.NewSource(1))
	const runs = 20000
	as := 0
	for range runs {
		sum := 0
		for _, s := range strata {
			n := s.ExposedLost + s.ExposedKept + s.OtherLost + s.OtherKept
			for _, i := range rng.Perm(n)[:s.ExposedLost+s.OtherLost] {
				if i < s.ExposedLost+s.ExposedKept {
					sum++
				}
			}
		}
		if sum >= e.observed {
			as++
		}
	}
	assert.InDelta(t, e.Greater(), float64(as)/runs, 4*math.Sqrt(0.25/runs))
}

func TestExactTurnsAround(t *testing.T) {
	rng := rand.New(rand.NewSource(2))
	for range 50 {
		var a, b []Table
		for range 1 + rng.Intn(3) {
			x := Table{rng.Intn(5), rng.Intn(9) + 1, rng.Intn(5), rng.Intn(9) + 1}
			a, b = append(a, x), append(b, Table{x.OtherLost, x.OtherKept, x.ExposedLost, x.ExposedKept})
		}
		e, f := NewExact(a...), NewExact(b...)
		assert.InDelta(t, e.TwoSided(), f.TwoSided(), 1e-9)
		assert.InDelta(t, e.Greater(), f.Less(), 1e-9)
		sum := 0.0
		for _, p := range e.p {
			sum += p
		}
		assert.InDelta(t, 1, sum, 1e-9)
		lo, hi := e.Interval(0.95)
		flo, fhi := f.Interval(0.95)
		if lo > 0 {
			assert.InDelta(t, 1, lo*fhi, 1e-6)
		} else {
			assert.True(t, math.IsInf(fhi, 1))
		}
		if !math.IsInf(hi, 1) {
			assert.InDelta(t, 1, hi*flo, 1e-6)
			assert.LessOrEqual(t, e.OddsRatio(), hi)
		}
	}
}

func TestShift(t *testing.T) {
	o := Options{Permutations: 4999, Seed: 3}
	// Complete separation of 4 and 4: two of the 70 orders are as extreme.
	a, b := []float64{5, 6.5, 7.1, 8}, []float64{1, 2.2, 3, 4.3}
	s := NewShift([][2][]float64{{a, b}}, o)
	assert.InDelta(t, 2.0/70, s.P, 1e-12)
	assert.True(t, s.Exact)
	// Critical rank for 4 and 4 at 0.05: 0, so the interval runs over all differences.
	assert.InDelta(t, 5-4.3, s.Lo, 1e-12)
	assert.InDelta(t, 8-1, s.Hi, 1e-12)
	back := NewShift([][2][]float64{{b, a}}, o)
	assert.InDelta(t, s.P, back.P, 1e-12)
	assert.InDelta(t, -s.Estimate, back.Estimate, 1e-12)
	assert.InDelta(t, -s.Lo, back.Hi, 1e-12)
	// Ties: permutation must come near the exact one when a tie hardly matters.
	tied := NewShift([][2][]float64{{[]float64{5, 6.5, 7.1, 8}, []float64{1, 1, 3, 4.3}}, {[]float64{2, 3}, []float64{3}}}, o)
	assert.False(t, tied.Exact)
	assert.Greater(t, tied.P, 0.0)
	assert.LessOrEqual(t, tied.P, 1.0)
	// Strata: a difference between zones is none between the groups.
	zones := NewShift([][2][]float64{{{1, 2, 3.5}, {1.5, 2.5, 3}}, {{101, 102, 103.5}, {101.5, 102.5, 103}}}, o)
	assert.Greater(t, zones.P, 0.5)
	assert.True(t, math.IsNaN(NewShift([][2][]float64{{a, nil}}, o).P))
}

func TestShiftIntervalCovers(t *testing.T) {
	rng := rand.New(rand.NewSource(9))
	const runs = 2000
	in := 0
	for range runs {
		var st [2][2][]float64
		for z := range st {
			for range 4 + z {
				st[z][0] = append(st[z][0], 10*float64(z)+2+rng.NormFloat64())
				st[z][1] = append(st[z][1], 10*float64(z)+rng.NormFloat64())
			}
		}
		if s := NewShift(st[:], DefaultOptions()); s.Lo <= 2 && 2 <= s.Hi {
			in++
		}
	}
	t.Logf("%.3f", float64(in)/runs)
	assert.GreaterOrEqual(t, float64(in)/runs, 0.933)
}

func TestGrowths(t *testing.T) {
	day := func(iso string) int {
		d, err := trend.Day(iso)
		require.NoError(t, err)
		return d
	}
	at := func(iso string, v float64) trend.Point {
		return trend.Point{When: trend.Span{From: day(iso), To: day(iso)}, Value: v}
	}
	pts := []trend.Point{at("2015-01-01", 1), at("2017-01-01", 5), at("2018-01-01", 7), at("2019-01-01", 2)}
	clean := trend.Entry{When: trend.Span{From: day("2018-06-01"), To: day("2018-06-02")}, Kind: "clean"}
	rec := trend.Record{Covers: trend.Span{From: day("2016-01-01"), To: day("2020-01-01")}, Source: "file"}
	g := Growths("v", "z", pts, []trend.Entry{clean}, rec)
	require.Len(t, g, 3)
	assert.False(t, g[0].Work || g[0].Silent, "the file does not cover all of it")
	assert.True(t, g[1].Silent)
	assert.True(t, g[2].Work && g[2].Cleaned)
	ivy := clean
	ivy.Kind = "cut_back"
	assert.False(t, Growths("v", "z", pts, []trend.Entry{ivy}, rec)[2].Cleaned)
	assert.InDelta(t, 2, g[1].PerYear, 0.01)
	for _, x := range Growths("v", "z", pts, nil, trend.Unstated) {
		assert.False(t, x.Silent, "what a file covers must be stated before its silence is used")
	}
}

// What a cleaning removed is no slow growth: the same question is asked without the times that hold one.
func TestGrowthIsAlsoComparedWithoutCleanings(t *testing.T) {
	var g []Growth
	for i := range 16 {
		x := Growth{View: "v", Zone: "z", From: trend.Span{From: 100 * i, To: 100 * i}, To: trend.Span{From: 100*i + 100, To: 100*i + 100}, PerYear: 5 + float64(i)/100, Silent: i%4 != 0}
		if i%4 == 0 {
			x.Work, x.Cleaned = true, i%8 == 0
			if x.Cleaned {
				x.PerYear = -20 - float64(i)
			}
		}
		g = append(g, x)
	}
	r := growthUpkeep(g, DefaultOptions())
	assert.Equal(t, [2]int{12, 4}, r.Shift.N)
	assert.Equal(t, 2, r.Cleaned)
	assert.Equal(t, [2]int{12, 2}, r.Uncleaned.N)
	assert.Greater(t, r.Effect, 5.0)
	assert.InDelta(t, 0, r.Uncleaned.Estimate, 0.1, "nothing is left of it")
	assert.Greater(t, r.Uncleaned.P, 0.3)
}

func TestResultsAreTheSameEveryTimeAndWorded(t *testing.T) {
	w := wall{cols: 16, rows: 10, visits: 6, base: -3, byScale: 1.5, byGap: 1, hidden: 0.05}
	v := w.make(rand.New(rand.NewSource(5)))
	require.NoError(t, v.Validate())
	var g []Growth
	for i := range 12 {
		g = append(g, Growth{View: "v", Zone: "z", From: trend.Span{From: 100 * i, To: 100 * i}, To: trend.Span{From: 100*i + 100, To: 100*i + 100},
			PerYear: float64(i%3) + 3*float64(i%2) + float64(i)/50, Work: i%2 == 0, Silent: i%2 == 1})
	}
	o := Options{Permutations: 999, Seed: 20}
	a, b := Tests([]View{v}, g, o), Tests([]View{v}, g, o)
	assert.Equal(t, fmt.Sprint(a), fmt.Sprint(b))
	require.Len(t, a, len(IDs()))
	for i, r := range a {
		assert.Equal(t, IDs()[i], r.ID)
		assert.GreaterOrEqual(t, r.Holm, r.P)
		assert.LessOrEqual(t, r.Made, len(a))
	}
	assert.Equal(t, Found, a[0].Finding)

	none := Tests(nil, nil, o)
	require.Len(t, none, len(IDs()))
	for _, r := range none {
		assert.Equal(t, NotMade, r.Finding)
		assert.Zero(t, r.Made)
		assert.True(t, math.IsNaN(r.P))
	}
}

func TestOneClusterCountsOnce(t *testing.T) {
	// Six neighbouring tiles fall at once, all heavily scaled; nothing else ever falls.
	v := wall{cols: 12, rows: 2, visits: 4, base: -50}.make(rand.New(rand.NewSource(8)))
	for i := range v.Tiles {
		v.Tiles[i].Y = 0
		for k := range v.Visits {
			v.Tiles[i].Scale[k] = float64(i % 12)
		}
	}
	for _, i := range []int{9, 10, 11, 21, 22, 23} {
		v.Tiles[i].States[3] = Missing
	}
	r := Tests([]View{v}, nil, Options{Permutations: 199, Seed: 1})[0]
	assert.Equal(t, 6, r.Losses)
	assert.Less(t, r.PAlone, 0.05)
	assert.Greater(t, r.POnceEach, 0.3, "one loss tells little")
}

func TestLeaveOut(t *testing.T) {
	run := func(without string) []Result {
		r := newResult(WhitenedBefore)
		r.P, r.Effect, r.Finding = 0.01, 3, Found
		switch without {
		case "b":
			r.P, r.Effect, r.Finding = 0.2, 1.4, NotTold
		case "c":
			r.Finding, r.P, r.Effect = NotMade, math.NaN(), math.NaN()
		case "d":
			r.P, r.Effect = 0.001, 5
		}
		return []Result{r}
	}
	s := LeaveOut([]string{"a", "b", "c", "d"}, run)
	require.Len(t, s, 1)
	assert.Equal(t, []string{"b"}, s[0].Changes)
	assert.Equal(t, []string{"c"}, s[0].NotMade)
	assert.InDelta(t, 0.001, s[0].PLo, 0)
	assert.InDelta(t, 0.2, s[0].PHi, 0)
	assert.Equal(t, "b", s[0].EffectLoWithout)
	assert.Equal(t, "d", s[0].EffectHiWithout)
}

func TestWoolf(t *testing.T) {
	// By hand: ln(8*5/(2*1)) = 2.9957, standard error sqrt(1/8+1/2+1/1+1/5) = 1.3509.
	ratio, lo, hi := Table{8, 2, 1, 5}.Woolf(0.95)
	assert.InDelta(t, 20, ratio, 1e-9)
	assert.InDelta(t, math.Exp(2.995732-1.959964*1.350926), lo, 1e-4)
	assert.InDelta(t, math.Exp(2.995732+1.959964*1.350926), hi, 1e-2)
	ratio, _, _ = Table{3, 0, 1, 5}.Woolf(0.95) // an empty cell: 3.5*5.5/(0.5*1.5)
	assert.InDelta(t, 3.5*5.5/(0.5*1.5), ratio, 1e-9)
}

func TestJointsFromGap(t *testing.T) {
	v := wall{cols: 6, rows: 1, visits: 1}.make(rand.New(rand.NewSource(1)))
	v.Tiles[0].States[0] = Missing
	assert.Equal(t, []int{0, 1, 2, 3, -1, -1}, v.jointsFromGap(0))
}

// A patch that sheds tiles passes for spread from gaps; held against the tiles around, it does so less, and true spread
// from gaps still shows.
func TestCloserComparisonBesideGaps(t *testing.T) {
	count := func(w wall) (beside, near int) {
		rng := rand.New(rand.NewSource(3))
		for range 60 {
			r := besideGap([]View{w.make(rng)})
			if r.P <= 0.05 {
				beside++
			}
			if r.Near.P <= 0.05 {
				near++
			}
		}
		return beside, near
	}
	beside, near := count(wall{cols: 20, rows: 12, visits: 7, base: -4.5, smooth: 2, own: 1.2})
	t.Logf("patches: beside %d, near %d of 60", beside, near)
	assert.Less(t, near, beside)
	beside, near = count(wall{cols: 20, rows: 12, visits: 7, base: -4, byGap: 1.8})
	t.Logf("spread: beside %d, near %d of 60", beside, near)
	assert.Greater(t, near, 48)
}

// Losses are permuted within zone and height band only: where a whole band fell and nothing else, every permutation is
// what was seen, however far the rest of the wall would let the losses scatter.
func TestPermutationsStayWithinZoneAndHeightBand(t *testing.T) {
	v := View{ID: "v", Visits: []trend.Span{{From: 0, To: 0}, {From: 300, To: 300}}}
	const cols = 12
	for z := range 2 {
		for i := range 3 * cols { // three bands of twelve tiles a zone
			row, col := i/cols, i%cols
			tile := Tile{ID: fmt.Sprintf("z%d-%d", z, i), Zone: fmt.Sprint("z", z), Y: float64(100*z + 10*row), States: []State{Present, Present}, Scale: []float64{1, 1}}
			at := z*3*cols + i
			if col > 0 {
				tile.Neighbours = append(tile.Neighbours, at-1)
			}
			if col < cols-1 {
				tile.Neighbours = append(tile.Neighbours, at+1)
			}
			if z == 0 && row == 2 {
				tile.States[1] = Missing
			}
			v.Tiles = append(v.Tiles, tile)
		}
	}
	require.NoError(t, v.Validate())
	groups := byGroup(cases([]View{v}, false))
	require.Len(t, groups, 6, "a zone and a band each")
	got := together([]View{v}, groups, Options{Permutations: 199, Seed: 1})
	assert.Equal(t, cols-1, got.Pairs)
	assert.InDelta(t, cols-1, got.Expected, 1e-9)
	assert.Equal(t, [2]int{cols - 1, cols - 1}, [2]int{got.Lo, got.Hi})
	assert.Equal(t, 1.0, got.P)

	for i := range v.Tiles { // one band for both zones and all heights: the same losses stand out
		v.Tiles[i].Zone, v.Tiles[i].Y = "z", 0
	}
	all := byGroup(cases([]View{v}, false))
	for i := range all {
		for j := range all[i] {
			all[i][j].group.band = 0
		}
	}
	one := together([]View{v}, byGroup(slices.Concat(all...)), Options{Permutations: 199, Seed: 1})
	assert.Less(t, one.P, 0.05, "else this check could not fail")
}

// Every test of the list that was made counts in the correction, found or not.
func TestEveryTestMadeCountsInTheCorrection(t *testing.T) {
	v := wall{cols: 16, rows: 10, visits: 6, base: -3, byScale: 1.5, byGap: 1, hidden: 0.05}.make(rand.New(rand.NewSource(5)))
	rs := Tests([]View{v}, nil, Options{Permutations: 999, Seed: 20})
	smallest, made := rs[0], 0
	for _, r := range rs {
		if !math.IsNaN(r.P) {
			made++
			if r.P < smallest.P {
				smallest = r
			}
		}
	}
	require.Equal(t, 4, made, "no growth was given")
	for _, r := range rs {
		assert.Equal(t, made, r.Made)
	}
	assert.InDelta(t, float64(made)*smallest.P, smallest.Holm, 1e-12)
}
