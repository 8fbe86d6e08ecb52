package intake

import (
	"bufio"
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"golang.org/x/image/tiff/lzw"
)

// Compressions of TIFF 6.0 and its supplements that are read.
const (
	tiffPlain      = 1
	tiffLZW        = 5
	tiffDeflate    = 8
	tiffPackBits   = 32773
	tiffDeflateOld = 32946
)

// maxTileSide bounds a tile, px: its rows are held one at a time.
const maxTileSide = 1 << 16

// tiffBlock is a strip or tile: where it stands in the picture, and which channels it holds.
type tiffBlock struct {
	x, y, w, h int // px, may reach beyond the picture
	channel    int // of a file in planes; 0 with all channels side by side
	data       []byte
}

// tiffLayout lists the blocks of a file in order.
func (h *tiffHead) tiffLayout(b []byte) ([]tiffBlock, error) {
	w, ht := int(h.values[tiffWidth]), int(h.values[tiffHeight])
	bw, bh, at, size := w, int(min(h.get(tiffRowsPerStrip, uint32(ht)), uint32(ht))), h.lists[tiffStripOffsets], h.lists[tiffStripBytes]
	if h.values[tiffTileWidth] != 0 || h.lists[tiffTileOffsets] != nil {
		bw, bh, at, size = int(h.values[tiffTileWidth]), int(h.values[tiffTileHeight]), h.lists[tiffTileOffsets], h.lists[tiffTileBytes]
		if bw > maxTileSide || bh > maxTileSide {
			return nil, fmt.Errorf("tiles of %d x %d px", bw, bh)
		}
	}
	if bw <= 0 || bh <= 0 {
		return nil, errors.New("strips or tiles without a size")
	}
	across, down, planes := (w+bw-1)/bw, (ht+bh-1)/bh, 1
	if h.get(tiffPlanar, 1) == 2 {
		planes = int(h.get(tiffSamples, 1))
	}
	n := across * down * planes
	if len(at) < n || len(size) < n {
		return nil, fmt.Errorf("%d of %d strips or tiles are placed", min(len(at), len(size)), n)
	}
	blocks := make([]tiffBlock, n)
	for i := range blocks {
		from, to := uint64(at[i]), uint64(at[i])+uint64(size[i])
		if to > uint64(len(b)) {
			return nil, io.ErrUnexpectedEOF
		}
		k := i % (across * down)
		blocks[i] = tiffBlock{x: k % across * bw, y: k / across * bh, w: bw, h: bh, channel: i / (across * down), data: b[from:to]}
	}
	return blocks, nil
}

// tiffSamplesInto decodes a file's pixels into out, interleaved RGB, one row of a strip or tile at a time. What is
// see-through becomes black and is counted.
func tiffSamplesInto[T uint8 | uint16](h *tiffHead, b []byte, to upright, out []T) (holes int, err error) {
	blocks, err := h.tiffLayout(b)
	if err != nil {
		return 0, err
	}
	w, ht := int(h.values[tiffWidth]), int(h.values[tiffHeight])
	channels := int(h.get(tiffSamples, 1))
	beside := channels // samples side by side in a row
	if h.get(tiffPlanar, 1) == 2 {
		beside = 1
	}
	bytesEach := int(h.get(tiffBits, 8)) / 8
	compression := h.get(tiffCompression, tiffPlain)
	predicted := compression != tiffPlain && compression != tiffPackBits && h.get(tiffPredictor, 1) == 2
	row := make([]byte, blocks[0].w*beside*bytesEach)
	line := make([]T, blocks[0].w*beside)
	for _, k := range blocks {
		r, err := unpacker(compression, k.data)
		if err != nil {
			return holes, err
		}
		for y := k.y; y < min(k.y+k.h, ht); y++ {
			if _, err := io.ReadFull(r, row); err != nil {
				return holes, short(err)
			}
			samplesOf(row, h.order, line)
			if predicted {
				for i := beside; i < len(line); i++ {
					line[i] += line[i-beside]
				}
			}
			if h.get(tiffPhotometric, 0) == 0 {
				for i := range line {
					line[i] = ^line[i] // white is written as 0
				}
			}
			for x := k.x; x < min(k.x+k.w, w); x++ {
				o, s := 3*(to.base+x*to.dx+y*to.dy), line[(x-k.x)*beside:]
				switch {
				case channels == 1:
					out[o], out[o+1], out[o+2] = s[0], s[0], s[0]
				case beside == 1 && k.channel < 3:
					out[o+k.channel] = s[0]
				default:
					if beside > 1 {
						out[o], out[o+1], out[o+2] = s[0], s[1], s[2]
					}
					if channels == 4 && s[beside-1] != ^T(0) {
						out[o], out[o+1], out[o+2] = 0, 0, 0
						holes++
					}
				}
			}
		}
		// Deflate's check sum follows the last row.
		if _, err := r.Read(row[:1]); errors.Is(err, zlib.ErrChecksum) {
			return holes, err
		}
	}
	return holes, nil
}

// short tells the end of a strip's data as the end of the file's.
func short(err error) error {
	if errors.Is(err, io.EOF) {
		return io.ErrUnexpectedEOF
	}
	return err
}

// samplesOf reads a row's bytes as samples.
func samplesOf[T uint8 | uint16](row []byte, order binary.ByteOrder, line []T) {
	if len(row) == len(line) {
		for i, v := range row {
			line[i] = T(v)
		}
		return
	}
	for i := range line {
		line[i] = T(order.Uint16(row[2*i:]))
	}
}

// unpacker reads a strip's or tile's bytes unpacked.
func unpacker(compression uint32, data []byte) (io.Reader, error) {
	r := bytes.NewReader(data)
	switch compression {
	case tiffLZW:
		return bufio.NewReader(lzw.NewReader(r, lzw.MSB, 8)), nil
	case tiffDeflate, tiffDeflateOld:
		z, err := zlib.NewReader(r)
		return z, short(err)
	case tiffPackBits:
		return &packBits{in: r}, nil
	}
	return r, nil
}

// packBits unpacks runs of bytes (TIFF 6.0, section 9).
type packBits struct {
	in   *bytes.Reader
	left int  // bytes of the present run
	same bool // the run repeats one byte
	with byte
}

func (p *packBits) Read(out []byte) (int, error) {
	for i := range out {
		for p.left == 0 {
			n, err := p.in.ReadByte()
			if err != nil {
				return i, err
			}
			switch v := int8(n); {
			case v >= 0:
				p.left, p.same = int(v)+1, false
			case v > -128: // -128 stands for nothing
				if p.with, err = p.in.ReadByte(); err != nil {
					return i, err
				}
				p.left, p.same = 1-int(v), true
			}
		}
		if !p.same {
			v, err := p.in.ReadByte()
			if err != nil {
				return i, err
			}
			p.with = v
		}
		out[i] = p.with
		p.left--
	}
	return len(out), nil
}
