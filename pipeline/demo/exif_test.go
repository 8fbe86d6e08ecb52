package demo

import (
	"bytes"
	"encoding/binary"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// found is what a plain reader of the TIFF structure finds in a photo's APP1 segment.
type found struct {
	model, taken string
	orientation  int
	tags         []int
}

// parseExif reads the segment by its own few lines, apart from the writer's.
func parseExif(t *testing.T, raw []byte) found {
	t.Helper()
	require.True(t, bytes.HasPrefix(raw, []byte{0xFF, 0xD8, 0xFF, 0xE1}))
	size := int(binary.BigEndian.Uint16(raw[4:]))
	body := raw[6 : 4+size]
	require.Equal(t, byte(0xFF), raw[4+size], "the next segment starts where this one ends")
	require.True(t, bytes.HasPrefix(body, []byte("Exif\x00\x00MM\x00\x2a")))
	tiff := body[6:]
	var f found
	var walk func(at uint32)
	walk = func(at uint32) {
		last := -1
		for n, p := int(binary.BigEndian.Uint16(tiff[at:])), tiff[at+2:]; n > 0; n, p = n-1, p[12:] {
			tag, count, value := int(binary.BigEndian.Uint16(p)), binary.BigEndian.Uint32(p[4:]), p[8:12]
			require.Greater(t, tag, last, "tags ascend")
			last = tag
			f.tags = append(f.tags, tag)
			at := binary.BigEndian.Uint32(value)
			text := func() string { return strings.TrimRight(string(tiff[at:at+count]), "\x00") }
			switch tag {
			case 0x0110:
				f.model = text()
			case 0x0112:
				f.orientation = int(binary.BigEndian.Uint16(value))
			case 0x9003:
				f.taken = text()
			case 0x8769:
				walk(at)
			}
		}
	}
	walk(binary.BigEndian.Uint32(tiff[4:]))
	return f
}
