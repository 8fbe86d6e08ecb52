package register

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestNothingIsReadWhereTheMappingIsNotHeld(t *testing.T) {
	l := latticeFor(100, 50, 10)
	h := newHeld(&l)
	for k := range h.NX * h.NY {
		h.set(k, k%h.NX < 4)
	}
	m := Mapping{PhotoFromRef: mat3{1, 0, 5, 0, 1, 0, 0, 0, 1}, Held: h}
	require.NoError(t, m.Valid())
	b, err := json.Marshal(m)
	require.NoError(t, err)
	var back Mapping
	require.NoError(t, json.Unmarshal(b, &back))
	assert.Equal(t, m, back)
	for x := -3.; x < 110; x += 1.7 {
		px, _ := m.Read(x, 20)
		assert.Equal(t, x < h.X0+4*h.Step, !math.IsNaN(px), "x = %v", x)
		qx, _ := m.Photo(x, 20)
		assert.Equal(t, x+5, qx, "where it would lie is still told")
	}
	assert.InDelta(t, .4, m.Overlap(100, 50, 300, 300), .03)
	back.Held.Bits = back.Held.Bits[1:]
	assert.ErrorContains(t, back.Valid(), "cells")
}

func TestHolesAreFilledAndRimsAreNot(t *testing.T) {
	const w, h = 9, 7
	draw := []string{
		".........",
		".#######.",
		".#..####.",
		".#..#j##.",
		".####j##.",
		".######..",
		".........",
	}
	held, inside, jump := make([]bool, w*h), make([]bool, w*h), make([]bool, w*h)
	for k := range held {
		held[k], jump[k], inside[k] = draw[k/w][k%w] == '#', draw[k/w][k%w] == 'j', true
	}
	few := append([]bool(nil), held...)
	fillHoles(few, inside, jump, w, h, 3, 0)
	assert.Equal(t, held, few, "four cells are more than three")
	fillHoles(held, inside, jump, w, h, 4, 0)
	rim := append([]bool(nil), held...)
	fillHoles(rim, inside, jump, w, h, len(held), len(held))
	assert.True(t, rim[0], "unless they may be filled, too")
	assert.False(t, rim[3*w+5])
	for _, k := range []int{2*w + 2, 2*w + 3, 3*w + 2, 3*w + 3} {
		assert.True(t, held[k])
	}
	assert.False(t, held[3*w+5], "parts that differ stay apart")
	assert.False(t, held[5*w+7])
	assert.False(t, held[0])
}

// TestWhatSpeaksForAMapping: a flat wall keeps what windows are silent on, and loses what they, or key points, put elsewhere.
func TestWhatSpeaksForAMapping(t *testing.T) {
	const w, h = 1600, 1200
	type area struct{ x0, y0, x1, y1 float64 }
	in := func(a area, x, y float64) bool { return x >= a.x0 && y >= a.y0 && x < a.x1 && y < a.y1 }
	frames := []struct{ step, px float64 }{{64, 4}, {40, 2}, {32, 1}}
	// votes of windows all over: silent in one area, off by so many px in another, or there is none beyond a line.
	say := func(silent, off area, by float64, from float64, lone float64) (out []said) {
		for n, f := range frames {
			s := said{step: f.step, px: f.px}
			for y := f.step / 2; y < h; y += f.step {
				for x := f.step / 2; x < w; x += f.step {
					if x > from {
						continue
					}
					s.asked = append(s.asked, [2]float64{x, y})
					v := vote{X: x, Y: y, PX: x, PY: y, Scale: 1, Lone: lone, Info: [3]float64{1, 0, 1}}
					if in(off, x, y) {
						v.PX += by
						if reach := []float64{40, 10, 4}[n]; by > reach {
							continue // further than this frame's windows look
						}
					}
					if !in(silent, x, y) {
						s.votes = append(s.votes, v)
					}
				}
			}
			out = append(out, s)
		}
		return out
	}
	none, right, middle := area{}, area{1100, 0, w, h}, area{600, 400, 900, 700}
	moved := func(a area, by float64) (out []Pair) {
		for y := a.y0 + 20; y < a.y1; y += 45 {
			for x := a.x0 + 20; x < a.x1; x += 45 {
				out = append(out, Pair{x, y, x + by, y - by/3})
			}
		}
		return out
	}
	for _, c := range []struct {
		name       string
		said       []said
		pairs      []Pair
		several    bool
		x, y       float64
		held, flat bool
	}{
		{"all agree", say(none, none, 0, w, .4), nil, false, 1300, 600, true, true},
		{"silence at the rim", say(right, none, 0, w, .4), nil, false, 1200, 600, true, false},
		{"silence in the midst", say(middle, none, 0, w, .4), nil, true, 750, 550, true, true},
		{"wide silence where several planes were found", say(right, none, 0, w, .4), nil, true, 1300, 600, false, false},
		{"light moves edges", say(none, right, 3, w, .4), nil, false, 1300, 600, true, true},
		{"another depth", say(none, right, 14, w, .4), nil, false, 1300, 600, false, false},
		{"chance", say(none, right, 14, w, .05), nil, false, 1200, 600, true, false},
		{"beyond what windows see", say(none, right, 90, w, .4), moved(right, 90), false, 1300, 600, false, false},
		{"far from all windows", say(none, none, 0, 500, .4), nil, false, 1300, 600, false, false},
		{"near the windows", say(none, none, 0, 500, .4), nil, false, 600, 600, true, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := refined{m: Mapping{PhotoFromRef: mat3{1, 0, 0, 0, 1, 0, 0, 0, 1}}, said: c.said}
			got, _ := r.hold(&Reference{W: w, H: h}, c.pairs, c.several, w, h)
			if c.flat {
				assert.Nil(t, got, "all is held")
			}
			m := Mapping{PhotoFromRef: r.m.PhotoFromRef, Held: got}
			assert.Equal(t, c.held, m.Holds(c.x, c.y))
			assert.True(t, m.Holds(200, 600), "where windows agree")
		})
	}
}

func TestHull(t *testing.T) {
	ring := hull([][2]float64{{0, 0}, {4, 0}, {4, 4}, {0, 4}, {2, 2}, {1, 3}, {4, 2}})
	assert.Len(t, ring, 4)
	assert.True(t, within(ring, 3, 3.9))
	assert.False(t, within(ring, 4.1, 2))
	assert.False(t, within(hull([][2]float64{{0, 0}, {1, 1}}), .5, .5))
}

func TestAffineFollowsTheMostVotes(t *testing.T) {
	want := [6]float64{3, -2, .5, .25, -.5, .1}
	var near []sample
	for j := -3; j <= 3; j++ {
		for i := -3; i <= 3; i++ {
			x, y := float64(i)/4, float64(j)/4
			s := sample{x, y, want[0] + want[2]*x + want[3]*y, want[1] + want[4]*x + want[5]*y, [3]float64{1, 0, 1}}
			if j > 1 { // beyond a step
				s.EX += 9
			}
			near = append(near, s)
		}
	}
	got := affine(near, .1)
	for i := range want {
		assert.InDelta(t, want[i], got[i], .05)
	}
}
