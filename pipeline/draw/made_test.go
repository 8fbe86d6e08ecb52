package draw

import (
	"image"
	"math"
	"math/rand"

	"tilelapse/measure/plane"
	"tilelapse/pipeline/report/words"
)

// english are the words of the pictures.
var english, _ = words.Load(words.English)

func rect(x, y, w, h float64) [][]plane.Point {
	return [][]plane.Point{{{X: x, Y: y}, {X: x + w, Y: y}, {X: x + w, Y: y + h}, {X: x, Y: y + h}}}
}

// madeScene is a wall of 12 × 6 tiles in two zones on a frame of 240 × 160 px, with every state on it.
func madeScene() Scene {
	const w, h = 240, 160
	rnd := rand.New(rand.NewSource(3))
	s := Scene{Site: "Millrace Wall", View: "step-1", Visit: "2024-05-17", W: w, H: h, MMPerPx: 8, Words: english, Masked: true,
		Picture: image.NewRGBA(image.Rect(0, 0, w, h)), Opacity: make([]uint8, w*h), Notes: []string{"light cancelled with: control"}}
	for y := range h {
		for x := range w {
			g := [3]float64{120 + 30*math.Sin(float64(y)/7), 110, 90} // a hedge
			if rnd.Float64() < 0.1 {
				g[1] += 60
			}
			if x >= 20 && x < 220 && y >= 30 && y < 130 {
				g = [3]float64{178, 172, 160}
			}
			i := y*w + x
			s.Opacity[i] = pixElsewhere
			s.Picture.Pix[4*i+3] = 255
			for c := range 3 {
				s.Picture.Pix[4*i+c] = uint8(g[c])
			}
		}
	}
	states := map[int]string{14: Missing, 15: Missing, 31: OffPalette, 40: Hidden, 41: Hidden, 53: Hidden, 62: Unreadable, 71: OutOfFrame}
	for j := range 6 {
		for i := range 12 {
			k := j*12 + i
			x0, y0 := 22+16*i, 34+16*j
			tile := Tile{ID: "t" + string(rune('a'+j)) + string(rune('a'+i)), Rings: rect(float64(x0), float64(y0), 13, 13), State: Present}
			if st, ok := states[k]; ok {
				tile.State = st
			}
			if k == 15 || k == 31 {
				tile.Recorded = "replaced"
			}
			s.Tiles = append(s.Tiles, tile)
			for y := y0; y < y0+14; y++ {
				for x := x0; x < x0+14; x++ {
					n := y*w + x
					copy(s.Picture.Pix[4*n:], []uint8{uint8(60 + 14*i), uint8(80 + 8*j), uint8(200 - 14*i)})
					a := 1.4*math.Sin(float64(x)/9)*math.Sin(float64(x)/9)*float64(y-34)/100 - 0.3
					s.Opacity[n] = uint8(opacityMax * clamp(a))
					switch {
					case tile.State == Missing:
						s.Opacity[n] = pixGap
					case tile.State == Hidden:
						s.Opacity[n] = pixHidden
					case tile.State == Unreadable || k == 25 && x < x0+7:
						s.Opacity[n] = pixUnread
					case tile.State == OutOfFrame:
						s.Opacity[n] = pixUnread
						s.Picture.Pix[4*n+3] = 0
					case k == 20:
						s.Opacity[n] = pixOther
					}
				}
			}
		}
	}
	s.Zones = []Zone{{ID: "upper", Text: "4.1 % (2.0 to 6.5)", Rings: rect(20, 32, 200, 49)}, {ID: "lower", Rings: rect(20, 81, 200, 49)}}
	s.Controls = []plane.Region{{ID: "coping", Rings: rect(60, 14, 110, 10)}}
	return s
}

// madeBefore is the visit before that of madeScene: less scale but in one corner, other tiles missing and hidden.
func madeBefore() Scene {
	s := madeScene()
	s.Visit = "2023-04-02"
	states := map[int]string{14: Present, 15: Missing, 31: Present, 40: Present, 41: Missing, 53: OffPalette, 62: Present, 3: Missing, 5: OffPalette, 66: Hidden, 71: Present}
	for k, st := range states {
		s.Tiles[k].State = st
	}
	for y := range s.H {
		for x := range s.W {
			i := y*s.W + x
			if c := s.Opacity[i]; c <= opacityMax {
				s.Opacity[i] = c / 3
				if x < 70 && y > 90 {
					s.Opacity[i] = uint8(min(opacityMax, int(c)+90))
				}
			}
		}
	}
	return s
}
