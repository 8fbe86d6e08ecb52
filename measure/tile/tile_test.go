package tile

import (
	"encoding/json"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/plane"
)

func everywhere(int, int) bool { return true }

// states reads one photo of a wall.
func states(t *testing.T, ref *wall, photo *wall) []Call {
	t.Helper()
	s := New(ref.input())
	calls := s.Decide([][]Evidence{s.Evidence(photo.img)})
	require.Len(t, calls, 1)
	require.Len(t, calls[0], ref.cols*ref.rows)
	return calls[0]
}

// count is how many tiles have each state, and which tiles have one of those that mean a loss.
func count(calls []Call) (n map[string]int, lost []int) {
	n = map[string]int{}
	for t, c := range calls {
		n[c.State]++
		if c.State == Missing || c.State == OffPalette {
			lost = append(lost, t)
		}
	}
	return n, lost
}

// TestNothingLost changes everything but the tiles: none may be called missing or another.
func TestNothingLost(t *testing.T) {
	tests := []struct {
		name    string
		change  func(p *wall)
		present float64 // least share called present
	}{
		{"the reference itself", func(*wall) {}, 1},
		{"twice the light", func(p *wall) { p.light([3]float32{2, 2, 2}, everywhere) }, 1},
		{"a warm lamp", func(p *wall) { p.light([3]float32{1.25, 1, 0.7}, everywhere) }, 1},
		{"noise", func(p *wall) { p.grain(0.006) }, 0.98},
		{"a bluish cast shadow over half the wall", func(p *wall) {
			p.light([3]float32{0.28, 0.32, 0.4}, func(x, y int) bool { return 2*x+y < p.w*3/2 })
		}, 0.98},
		{"a railing's shadow", func(p *wall) {
			p.light([3]float32{0.4, 0.43, 0.5}, func(x, y int) bool { return (x+y/3)%47 < 12 })
		}, 0.95},
		{"a gradient and noise", func(p *wall) {
			for y := range p.h {
				for x := range p.w {
					for k := range 3 {
						p.img.RGB[3*(y*p.w+x)+k] *= 0.5 + float32(x)/float32(p.w)
					}
				}
			}
			p.grain(0.004)
		}, 0.98},
		{"scale in streaks over a third", func(p *wall) { p.scale(p.w/3, 2*p.w/3, 0.8) }, 0.95},
		{"thick scale over a third", func(p *wall) { p.scale(p.w/3, 2*p.w/3, 1.6) }, 0.6},
		{"all of one glaze faded", func(p *wall) {
			for k := range p.cols * p.rows {
				if k%p.cols/2%len(glazes) == 0 {
					p.each(k, func(i, _, _ int) {
						g := p.img.RGB[3*i+1]
						for c := range 3 {
							p.img.RGB[3*i+c] = 0.85*p.img.RGB[3*i+c] + 0.15*g
						}
					})
				}
			}
		}, 0.9},
		{"dirt on some tiles", func(p *wall) {
			for _, k := range []int{14, 37, 55} {
				p.each(k, func(i, u, v int) {
					if u+v > p.tile*3/4 {
						for c, f := range [3]float32{0.55, 0.5, 0.42} {
							p.img.RGB[3*i+c] *= f
						}
					}
				})
			}
		}, 0.95},
		{"litter on a tile", func(p *wall) {
			p.cover(p.x0+3*p.pitch+4, p.x0+3*p.pitch+4, p.x0+3*p.pitch+14, p.x0+3*p.pitch+12, linear(85, 0, 60))
		}, 0.98},
		{"a black and white print", func(p *wall) { p.grey(1) }, 0.8},
		{"a faded print", func(p *wall) { p.grey(0.5); p.light([3]float32{1.1, 0.95, 0.7}, everywhere) }, 0.9},
		{"a soft photo", func(p *wall) { p.blur(); p.blur() }, 0.97},
		{"a photo one pixel off", func(p *wall) {
			copy(p.img.RGB, append([]float32(nil), p.img.RGB[3*(p.w+1):]...))
		}, 0.97},
	}
	for _, size := range []struct {
		name        string
		pitch, tile int
	}{{"large tiles", 36, 31}, {"small tiles", 19, 15}} {
		ref := newWall(7, 10, 8, size.pitch, size.tile)
		for _, tt := range tests {
			t.Run(size.name+"/"+tt.name, func(t *testing.T) {
				p := ref.photo()
				tt.change(p)
				calls := states(t, ref, p)
				n, lost := count(calls)
				assert.Empty(t, lost, "tiles called lost: %v", n)
				assert.Zero(t, n[Hidden], "%v", n)
				assert.GreaterOrEqual(t, float64(n[Present])/float64(len(calls)), tt.present, "%v", n)
			})
		}
	}
}

// TestLosses takes tiles away and puts others in, in several lights.
func TestLosses(t *testing.T) {
	ref := newWall(3, 10, 8, 36, 31)
	gone := []int{12, 33, 34, 48, 66}
	other := map[int][3]float64{15: {62, -30, 5}, 41: {55, 45, 20}, 57: {52, -30, 20}, 63: {45, 10, -40}}
	lights := []struct {
		name string
		do   func(p *wall)
	}{
		{"even", func(*wall) {}},
		{"noise", func(p *wall) { p.grain(0.004) }},
		{"half the light, warm", func(p *wall) { p.light([3]float32{0.6, 0.5, 0.4}, everywhere) }},
		{"half in shade", func(p *wall) {
			p.light([3]float32{0.28, 0.32, 0.4}, func(x, y int) bool { return x+y < (p.w+p.h)/2 })
		}},
		{"scaled in streaks", func(p *wall) { p.scale(0, p.w/3, 0.5) }},
	}
	for _, tt := range lights {
		t.Run(tt.name, func(t *testing.T) {
			p := ref.photo()
			for _, k := range gone {
				p.lose(k)
			}
			for k, c := range other {
				p.replace(k, c[0], c[1], c[2])
			}
			tt.do(p)
			for k, c := range states(t, ref, p) {
				want := Present
				if slices.Contains(gone, k) {
					want = Missing
				} else if _, ok := other[k]; ok {
					want = OffPalette
				}
				if want == Present && c.State == Unreadable {
					continue // in doubt is honest, lost would be wrong
				}
				assert.Equal(t, want, c.State, "tile %d: %+v", k, c)
			}
		})
	}
}

// TestInFront covers a part of the wall: tiles behind are hidden, never lost, and the mask finds the thing.
func TestInFront(t *testing.T) {
	ref := newWall(5, 10, 8, 36, 31)
	for _, tt := range []struct {
		name   string
		colour [3]float32
	}{
		{"green", linear(40, -25, 20)},
		{"grey like the joints", linear(48, 0, 3)},
		{"yellow", linear(75, 5, 70)},
		{"black", linear(8, 0, 0)},
	} {
		t.Run(tt.name, func(t *testing.T) {
			p := ref.photo()
			x0, y0 := ref.x0+3*ref.pitch-8, ref.x0+2*ref.pitch-5
			x1, y1 := ref.x0+7*ref.pitch+5, ref.h
			p.cover(x0, y0, x1, y1, tt.colour)
			s := New(ref.input())
			ev := s.Evidence(p.img)
			calls := s.Decide([][]Evidence{ev})[0]
			mask := s.Occluded(ev, calls)
			var inside, found, outside, wrong int
			for k := range calls {
				hidden, all := 0, 0
				ref.each(k, func(i, _, _ int) {
					x, y := i%ref.w, i/ref.w
					all++
					in := x >= x0 && x < x1 && y >= y0 && y < y1
					if in {
						hidden++
						inside++
						if mask[i] {
							found++
						}
					} else {
						outside++
						if mask[i] {
							wrong++
						}
					}
				})
				c := calls[k]
				assert.NotEqual(t, Missing, c.State, "tile %d", k)
				assert.NotEqual(t, OffPalette, c.State, "tile %d", k)
				if hidden == all {
					assert.Equal(t, Hidden, c.State, "tile %d: %+v", k, ev[k])
				}
				if hidden == 0 {
					assert.Equal(t, Present, c.State, "tile %d: %+v", k, ev[k])
				}
			}
			assert.Greater(t, float64(found)/float64(inside), 0.9)
			assert.Less(t, float64(wrong)/float64(outside), 0.1)
		})
	}
}

// TestFrameAndClipping keeps what was not seen apart from what was.
func TestFrameAndClipping(t *testing.T) {
	ref := newWall(9, 8, 6, 30, 26)
	p := ref.photo()
	for y := range p.h {
		for x := range p.w {
			if x < ref.x0+2*ref.pitch+5 {
				p.img.Flags[y*p.w+x] |= plane.Outside
			}
			if x > ref.x0+6*ref.pitch {
				p.img.Flags[y*p.w+x] |= plane.High
			}
		}
	}
	for k, c := range states(t, ref, p) {
		switch k % ref.cols {
		case 0, 1:
			assert.Equal(t, Outside, c.State, "tile %d", k)
		case 6, 7:
			assert.Equal(t, Unreadable, c.State, "tile %d", k)
		default:
			assert.Equal(t, Present, c.State, "tile %d", k)
		}
	}
}

// TestGaps: a tile gone in the reference is missing until it is filled.
func TestGaps(t *testing.T) {
	ref := newWall(11, 8, 6, 36, 31)
	ref.lose(20)
	ref.lose(27)
	in := ref.input()
	in.Gaps = make([]bool, in.N)
	in.Gaps[20], in.Gaps[27] = true, true
	s := New(in)
	p := ref.photo()
	p.replace(27, 70, 12, 50)
	calls := s.Decide([][]Evidence{s.Evidence(p.img)})[0]
	assert.Equal(t, Missing, calls[20].State)
	assert.Equal(t, Present, calls[27].State, "%+v", calls[27])
	assert.NotEmpty(t, calls[27].Reason)
}

// TestWithdrawal: another photo may take a weak finding back, never make one.
func TestWithdrawal(t *testing.T) {
	ref := newWall(13, 8, 6, 36, 31)
	s := New(ref.input())
	whole, lost := ref.photo(), ref.photo()
	lost.lose(19)
	sound, strong := s.Evidence(whole.img), s.Evidence(lost.img)
	require.Equal(t, Missing, s.Decide([][]Evidence{strong})[0][19].State)

	weak := slices.Clone(strong)
	// between the two: as much of the evidence as leaves the photo unsure
	for f := 0.0; ; f += 0.001 {
		require.Less(t, f, 1.0, "no evidence between sound and lost leaves a doubt")
		weak[19] = blend(strong[19], sound[19], f)
		c, p := s.decide(weak)
		if c[19].State == Missing && p[19] < sure {
			break
		}
	}
	assert.Equal(t, Unreadable, s.Decide([][]Evidence{weak})[0][19].State, "alone")
	assert.Equal(t, Unreadable, s.Decide([][]Evidence{weak, sound})[0][19].State, "not upheld")
	assert.Equal(t, Unreadable, s.Decide([][]Evidence{weak, weak})[0][19].State, "a weak finding upholds none")
	assert.Equal(t, Missing, s.Decide([][]Evidence{weak, strong})[0][19].State, "upheld")
	assert.Equal(t, Present, s.Decide([][]Evidence{sound, strong})[0][19].State, "another photo makes no finding")
}

// blend takes back what says that the tile is not its own, and leaves what says that it is the bed.
func blend(a, b Evidence, f float64) Evidence {
	for _, v := range [][2]*float64{{&a.Whole, &b.Whole}, {&a.Clean, &b.Clean}, {&a.Rough, &b.Rough}} {
		*v[0] = (1-f)**v[0] + f**v[1]
	}
	return a
}

// TestSameEverywhere: records survive JSON, photos may come in any order and from many goroutines.
func TestSameEverywhere(t *testing.T) {
	ref := newWall(17, 8, 6, 30, 26)
	s := New(ref.input())
	photos := make([]*wall, 4)
	for i := range photos {
		photos[i] = ref.photo()
		photos[i].grain(0.003)
		for k := 0; k <= i; k++ {
			photos[i].lose(9 + 7*k)
		}
	}
	photos[2].cover(0, 0, 90, ref.h, linear(40, -25, 20))
	one := make([][]Evidence, len(photos))
	for i := range photos {
		one[i] = s.Evidence(photos[i].img)
	}
	many := make([][]Evidence, len(photos))
	var wg sync.WaitGroup
	for i := range photos {
		wg.Go(func() { many[i] = s.Evidence(photos[i].img) })
	}
	wg.Wait()
	require.Equal(t, one, many)

	b, err := json.Marshal(one)
	require.NoError(t, err)
	var back [][]Evidence
	require.NoError(t, json.Unmarshal(b, &back))
	require.Equal(t, one, back)

	calls := s.Decide(one)
	order := []int{2, 0, 3, 1}
	shuffled := make([][]Evidence, len(one))
	for i, k := range order {
		shuffled[i] = one[k]
	}
	for i, c := range s.Decide(shuffled) {
		assert.Equal(t, calls[order[i]], c)
	}
}
