package demo

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"image/png"
	"math"
	"os"
	"path/filepath"
)

// texelMM is the grain of the wall's textures at full size, a little finer than the photos' pixels on the wall.
const texelMM = 1.0

// Write writes the demo survey into dir, made if need be: what a user's survey folder holds (survey.yaml, reference/,
// regions/, photos/, palette.csv, upkeep.csv, archive.csv) and beside it the truth: truth.json and truth/, the opacity of
// the scale at every reference pixel of every visit (grey pictures, 255 = opaque). A folder that already holds a
// survey.yaml is refused. Errors carry the path.
func Write(dir string) error { return write(dir, 1) }

// write is Write with the pictures' sides reduced by a factor in (0,1].
func write(dir string, size float64) error {
	if _, err := os.Stat(filepath.Join(dir, "survey.yaml")); err == nil {
		return fmt.Errorf("%s: holds a survey already; name a new or empty folder", dir)
	}
	out := folder{dir: dir}
	truth := &truthFile{Format: 1, Scene: "millrace-wall", Split: "demo", Site: "Millrace Wall", Threshold: threshold,
		ColourNote: "glaze colour = mean linear reflectance of the tile (sRGB primaries); Lab under D65 (2 degree); drift_de00 = CIEDE2000 with kL=kC=kH=1",
		PixelNote:  "reference and photo coordinates are pixel centres, x right, y down, upright (EXIF orientation already applied)",
	}
	for _, s := range scenes() {
		if err := out.view(s, size, truth); err != nil {
			return err
		}
	}
	img := stranger(scaled(1600, size), scaled(1200, size))
	if err := out.photo(strangerFile, exif{model: oldCamera}, img); err != nil {
		return err
	}
	truth.Photos = append(truth.Photos, truthPhoto{File: strangerFile, Visit: visits[2], Role: "impostor", Impostor: "other_view", Expect: "rejected", Width: img.Rect.Dx(), Height: img.Rect.Dy(), Orientation: 1, Shadows: []string{}, InFront: []string{}, Cleaned: []string{}})
	text, err := json.Marshal(truth)
	if err != nil {
		return fmt.Errorf("truth.json: %w", err)
	}
	for _, f := range []struct {
		name string
		data []byte
	}{
		{"truth.json", append(text, '\n')}, {"palette.csv", []byte(paletteText())}, {"upkeep.csv", []byte(upkeepText)},
		{"archive.csv", []byte(archiveText)}, {"survey.yaml", []byte(surveyText)},
	} {
		if err := out.put(f.name, f.data); err != nil {
			return err
		}
	}
	return nil
}

func scaled(n int, size float64) int { return max(int(math.Round(float64(n)*size)), 16) }

// folder is where the survey goes.
type folder struct{ dir string }

// put writes a file below the folder; name has slashes.
func (o folder) put(name string, data []byte) error {
	path := filepath.Join(o.dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	return os.WriteFile(path, data, 0o644)
}

// photo writes a photo with its camera's notes.
func (o folder) photo(name string, notes exif, img *image.RGBA) error {
	data, err := notes.picture(img)
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return o.put(name, data)
}

// view draws one view: builds its wall, ages it, takes its photos and notes the truth.
func (o folder) view(s *scene, size float64, truth *truthFile) error {
	shots := shotsOf(s.id)
	w := build(s, texelMM/size)
	grow := sprout(w)
	ages := newAgeing(w, grow, yearsAfter(referenceDay, cleaningDay))
	st := &state{alpha: make([]float32, w.w*w.h), gone: make([]bool, len(w.cells)), odd: -1} // as new
	desk := &desk{}

	ref := newFrame(w, shots[0].camera(s.surface, size))
	truth.Views = append(truth.Views, ref.view(shots[0].file))
	if err := o.put("regions/"+s.id+".svg", []byte(ref.regions(shots[0].file))); err != nil {
		return err
	}
	var opacity []float32
	for n := range shots { // the reference first, then by visit
		sh := &shots[n]
		for sh.visit >= ages.visit {
			day := visits[ages.visit]
			st = ages.next(yearsAfter(referenceDay, day))
			opacity = w.plane(st.alpha, ref.camera)
			if err := o.opacity(fmt.Sprintf("truth/%s_%s.png", s.id, day), opacity, ref.camera); err != nil {
				return err
			}
		}
		c := sh.camera(s.surface, size)
		img := w.expose(desk, sh.light.shine(desk, w, grow, st), c, &sh.light, sh.front, s.seed+uint64(n)*31)
		if err := o.photo(sh.file, sh.notes, img); err != nil {
			return err
		}
		if sh.visit < 0 {
			continue
		}
		p := sh.truth(s, c)
		p.Map = ref.mapping(c)
		p.Tiles, p.Zones = ref.photo(sh, c, st, opacity)
		truth.Photos = append(truth.Photos, p)
	}
	return nil
}

// camera returns the shot's camera with its picture reduced.
func (sh *shot) camera(wall surface, size float64) *camera {
	return newCamera(wall, scaled(sh.w, size), scaled(sh.h, size), sh.lens, sh.pose)
}

// truth returns what the truth file says of a repeat photo besides its measures.
func (sh *shot) truth(s *scene, c *camera) truthPhoto {
	p := truthPhoto{File: sh.file, Visit: visits[sh.visit], View: &s.id, Role: "visit", Expect: "used", Width: c.w, Height: c.h,
		Orientation: sh.notes.orientation, DateInExif: sh.notes.taken != "", Light: sh.light.name, Shadows: append([]string{}, sh.light.shadows...), InFront: []string{}, Cleaned: []string{}}
	if day := "reference"; sh.visit == 0 {
		p.NoChange = &day // taken on the reference photo's day: only camera and light differ
	}
	if sh.front != nil {
		p.InFront = append(p.InFront, sh.front.name)
	}
	if visits[sh.visit] > cleaningDay && visits[sh.visit-1] < cleaningDay {
		for _, z := range s.zones {
			if z.cleaned {
				p.Cleaned = append(p.Cleaned, z.id)
			}
		}
	}
	return p
}

// opacity writes a plane of opacities as a grey picture.
func (o folder) opacity(name string, plane []float32, c *camera) error {
	img := image.NewGray(image.Rect(0, 0, c.w, c.h))
	for k, a := range plane {
		img.Pix[k] = uint8(255*clamp(float64(a), 0, 1) + 0.5)
	}
	var b bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.BestSpeed}).Encode(&b, img); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return o.put(name, b.Bytes())
}
