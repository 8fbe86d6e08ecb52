package report

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"html/template"
	"image"
	"image/jpeg"
	"math"

	"golang.org/x/image/draw"
)

// comparePage is a view's pictures for the comparison of two visits.
type comparePage struct {
	View     string
	Pictures []shownPicture
	First    int // shown at first on the left
	Last     int // and on the right
	LeftOut  int // visits without a picture here, to keep the file small
}

type shownPicture struct {
	When string
	URI  template.URL
	W, H int
}

func dataURI(jpg []byte) template.URL {
	return template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(jpg))
}

const (
	leastSide = 760 // px; below it single tiles can no longer be told in a picture
)

// ShownVisits is how many pictures of a view the reports show at most: a list of more is no longer looked through.
const ShownVisits = 40

// Shown returns which of a number of visits get a picture when there are more than ShownVisits: spread evenly, first and
// last among them.
func Shown(visits int) []int { return spread(visits, ShownVisits) }

// pictures fills the comparison, so that all pictures together stay under budget bytes as text: first they get smaller,
// then visits between are left out.
func (p *page) pictures(budget int) error {
	keep := make([][]int, len(p.Views))
	for i, v := range p.Views {
		keep[i] = Shown(len(v.Pictures))
	}
	for side, quality := PictureSide, 82; ; {
		total, err := p.compare(keep, side, quality, budget)
		if err != nil {
			return err
		}
		most := 0
		for _, k := range keep {
			most = max(most, len(k))
		}
		if total <= budget || (side <= leastSide/2 && most <= 2) {
			return nil
		}
		shrinkBy := math.Sqrt(float64(budget)/float64(total)) * 0.97
		switch {
		case side > leastSide:
			side, quality = max(leastSide, int(float64(side)*shrinkBy)), max(70, quality-4)
		case most > 2:
			for i := range keep {
				keep[i] = thin(keep[i], max(2, int(float64(most)*shrinkBy*shrinkBy)))
			}
		default:
			side = side * 3 / 4 // many views: nothing else is left
		}
	}
}

// spread returns up to n of the indices 0..of-1, evenly, first and last among them.
func spread(of, n int) []int {
	all := make([]int, of)
	for i := range all {
		all[i] = i
	}
	return thin(all, n)
}

func thin(ks []int, n int) []int {
	if len(ks) <= n {
		return ks
	}
	out := make([]int, n)
	for i := range out {
		out[i] = ks[i*(len(ks)-1)/(n-1)]
	}
	return out
}

// compare makes the pictures at one size and returns how many bytes they take; it stops early once over budget.
func (p *page) compare(keep [][]int, side, quality, budget int) (int, error) {
	p.Compare = nil
	total, wanted, made := 0, 0, 0
	for _, k := range keep {
		wanted += len(k)
	}
	for i, v := range p.Views {
		c := comparePage{View: v.ID, LeftOut: v.NotPictured + len(v.Pictures) - len(keep[i])}
		for _, k := range keep[i] {
			pic := v.Pictures[k]
			b, w, h, err := shrink(pic.JPEG, side, quality)
			if err != nil {
				return 0, fmt.Errorf("picture of view %s, visit %s: %w", v.ID, pic.Visit, err)
			}
			when := pic.When
			if when == "" {
				when = pic.Visit
			}
			c.Pictures = append(c.Pictures, shownPicture{when, dataURI(b), w, h})
			total += len(b) * 4 / 3
			if made++; total > budget && made < wanted {
				return total * wanted / made, nil // what all of them would take
			}
		}
		if len(c.Pictures) == 0 {
			continue
		}
		c.Last = len(c.Pictures) - 1
		p.Compare = append(p.Compare, c)
		p.Gaps[i].Back = c.Pictures[c.Last].URI
		if len(p.Gaps[i].Rows) > 0 {
			total += len(p.Gaps[i].Back)
		}
	}
	return total, nil
}

// shrink decodes a JPEG and encodes it again with its longer side at most side px.
func shrink(b []byte, side, quality int) ([]byte, int, int, error) {
	img, err := jpeg.Decode(bytes.NewReader(b))
	if err != nil {
		return nil, 0, 0, err
	}
	w, h := img.Bounds().Dx(), img.Bounds().Dy()
	if m := max(w, h); m > side {
		w, h = max(1, w*side/m), max(1, h*side/m)
		small := image.NewRGBA(image.Rect(0, 0, w, h))
		draw.ApproxBiLinear.Scale(small, small.Bounds(), img, img.Bounds(), draw.Src, nil)
		img = small
	}
	var out bytes.Buffer
	err = jpeg.Encode(&out, img, &jpeg.Options{Quality: quality})
	return out.Bytes(), w, h, err
}
