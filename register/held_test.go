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
	fillHoles(few, inside, jump, w, h, 3)
	assert.Equal(t, held, few, "four cells are more than three")
	fillHoles(held, inside, jump, w, h, 4)
	for _, k := range []int{2*w + 2, 2*w + 3, 3*w + 2, 3*w + 3} {
		assert.True(t, held[k])
	}
	assert.False(t, held[3*w+5], "parts that differ stay apart")
	assert.False(t, held[5*w+7])
	assert.False(t, held[0])
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
