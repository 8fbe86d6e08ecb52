package intake

import (
	"errors"

	"tilelapse/pipeline/intake/icc"
	"tilelapse/pipeline/intake/jpeg"
)

// maxExtraneous is how many warnings of extraneous bytes a whole JPEG may give: some cameras write a few before a
// marker. Damage gives many more, or other warnings (measured on files with 16 bytes changed).
const maxExtraneous = 8

// maxLeftover is how many bytes that are no filling may follow the last block of pixels.
const maxLeftover = 4

func (j *job) jpeg() (*Picture, error) {
	var s *icc.Space
	var no error
	h, pix, damage, err := jpeg.Read(j.b, func(h *jpeg.Header) bool {
		if h.CMYK || h.Channels == 4 {
			// The size is recorded all the same, for the list of photos.
			if no = j.admit(h.W, h.H, 0); no == nil || no == errHeaderOnly {
				no = refuse(NotRGB, "CMYK, which is for printing")
			}
			return false
		}
		if h.Bits != 8 { // newer libjpeg reads the header of deeper ones
			no = depth(h.Bits, "8")
			return false
		}
		if s, no = j.space(h.Profile, h.Channels == 1); no != nil {
			j.facts.W, j.facts.H = h.W, h.H
			return false
		}
		perPixel := 3
		if h.Progressive {
			perPixel = 9 // libjpeg keeps two bytes a sample until the last scan is read
		}
		no = j.admit(h.W, h.H, perPixel)
		return no == nil
	})
	if no != nil {
		return nil, no
	}
	var unread *jpeg.Unread
	if errors.As(err, &unread) {
		if unread.Bits > 0 {
			return nil, depth(unread.Bits, "8")
		}
		return nil, refuse(NotRead, "JPEG, but lossless or another rare process (%v)", err)
	}
	if err != nil {
		if damage != nil && damage.Cut {
			return nil, refuse(CutShort, "the file ends within its header")
		}
		return nil, refuse(Damaged, "%v", err)
	}
	switch {
	case damage.Cut && damage.Starved == 0 && damage.Warnings == 0 && damage.Percent >= 0:
		// One scan, and no block lacked data: only the end mark is missing.
		j.facts.note("the end mark is missing, the picture is all there")
	case damage.Cut && damage.Percent >= 0:
		return nil, refuse(CutShort, "%d %% of the picture is there", damage.Percent)
	case damage.Cut:
		return nil, refuse(CutShort, "the file ends before the picture does")
	case damage.Starved+damage.Warnings > 0:
		return nil, refuse(Damaged, "libjpeg warns %d times, first: %s", damage.Starved+damage.Warnings, damage.Message)
	case damage.Leftover > maxLeftover:
		return nil, refuse(Damaged, "%d bytes of pixels are left over: some before them were misread", damage.Leftover)
	case damage.Extraneous > maxExtraneous:
		return nil, refuse(Damaged, "stray bytes in %d places, at most %d are taken for a camera's habit", damage.Extraneous, maxExtraneous)
	case damage.Extraneous > 0:
		j.facts.note("stray bytes in %d places", damage.Extraneous)
	}
	if cut := findSeam(pix, h.W, h.H, h.BlockH); cut.found() {
		return nil, refuse(Damaged, "from row %d, column %d on it was misread: a seam of %.0f levels runs across", cut.y, cut.x, cut.least)
	}
	return picture(h.W, h.H, pix, nil, s), nil
}
