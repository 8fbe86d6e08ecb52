package main

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"math"

	"golang.org/x/image/tiff"
)

func jpegOf(m image.Image) []byte {
	var b bytes.Buffer
	must(jpeg.Encode(&b, m, &jpeg.Options{Quality: 95}))
	return b.Bytes()
}

// segment is a JPEG marker segment.
func segment(marker byte, data []byte) []byte {
	return append([]byte{0xff, marker, byte((len(data) + 2) >> 8), byte(len(data) + 2)}, data...)
}

// insert puts segments behind the start mark of a JPEG file.
func insert(j []byte, segments ...[]byte) []byte {
	out := append([]byte(nil), j[:2]...)
	for _, s := range segments {
		out = append(out, s...)
	}
	return append(out, j[2:]...)
}

func withEXIF(j []byte, f ...field) []byte {
	return insert(j, segment(0xe1, append([]byte("Exif\x00\x00"), exifBlock(f...)...)))
}

func withProfile(j, p []byte) []byte {
	return insert(j, segment(0xe2, append([]byte("ICC_PROFILE\x00\x01\x01"), p...)))
}

// stored returns the picture as a camera held in the way of an EXIF orientation stores it: applying the orientation
// gives the pattern back.
func stored(o int) image.Image {
	up := pattern()
	w, h := wide, high
	if o >= 5 {
		w, h = h, w
	}
	m := image.NewNRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			// Where row y and column x of what is stored belong in the upright picture, by the words of the EXIF
			// standard for the 0th row and 0th column: 1 top left, 2 top right, 3 bottom right, 4 bottom left,
			// 5 left top, 6 right top, 7 right bottom, 8 left bottom.
			var ux, uy int
			switch o {
			case 1:
				ux, uy = x, y
			case 2:
				ux, uy = wide-1-x, y
			case 3:
				ux, uy = wide-1-x, high-1-y
			case 4:
				ux, uy = x, high-1-y
			case 5:
				ux, uy = y, x
			case 6:
				ux, uy = wide-1-y, x
			case 7:
				ux, uy = wide-1-y, high-1-x
			case 8:
				ux, uy = y, high-1-x
			}
			m.Set(x, y, up.At(ux, uy))
		}
	}
	return m
}

func turns() {
	for o := 1; o <= 8; o++ {
		write(good, fmt.Sprintf("turn-%d.jpg", o), withEXIF(jpegOf(stored(o)), shorts(0x112, uint16(o))))
	}
}

// captures are JPEG files that differ in what their EXIF says.
func captures() {
	j := jpegOf(pattern())
	camera := []field{ascii(0x10f, "Halyard"), ascii(0x110, "HX-12")}
	date := ascii(0x9003, "2021:06:05 14:03:09")
	exposure := []field{rationals(0x829a, 1, 250), rationals(0x829d, 56, 10), shorts(0x8827, 200)}
	exif := func(f ...field) field { return directory(0x8769, f...) }
	all := merge(append([]field(nil), exposure...), []field{
		date, ascii(0x9004, "2022:01:01 00:00:00"), ascii(0x9011, "+02:00"), rationals(0x920a, 350, 10), undefined(0xa300, 3),
		ascii(0xa434, "HX 24-70"),
	})
	// A position, which must not come out anywhere: 12° 34' 56.78" N, 98° 45' 43.21" E.
	gps := directory(0x8825, ascii(1, "N"), rationals(2, 12, 1, 34, 1, 5678, 100), ascii(3, "E"), rationals(4, 98, 1, 45, 1, 4321, 100))
	write(good, "capture.jpg", withEXIF(j, merge(camera, []field{shorts(0x112, 1), exif(all...), gps})...))
	write(good, "scanner-source.jpg", withEXIF(j, merge(camera, []field{exif(date, undefined(0xa300, 2))})...))
	write(good, "scanner-word.jpg", withEXIF(j, ascii(0x110, "Flatbed 4800"), exif(date)))
	write(good, "scan-program.jpg", withEXIF(j, ascii(0x131, "EasyScan 3"), exif(date)))
	write(good, "camera-scan-program.jpg", withEXIF(j, ascii(0x131, "Scanline fixer"), exif(date, undefined(0xa300, 3))))
	write(good, "no-exposure.jpg", withEXIF(j, merge(camera, []field{exif(date)})...))
	write(good, "date-zero.jpg", withEXIF(j, exif(ascii(0x9003, "0000:00:00 00:00:00"))))
	write(good, "date-bad.jpg", withEXIF(j, exif(ascii(0x9003, "2021:13:45 99:00:00"))))
	write(good, "date-digitised-only.jpg", withEXIF(j, exif(ascii(0x9004, "2021:06:05 14:03:09"))))
	write(good, "turn-bad.jpg", withEXIF(j, shorts(0x112, 77)))
	write(good, "exif-damaged.jpg", insert(j, segment(0xe1, []byte("Exif\x00\x00II*\x00\x08\x00\x00\x00\x01\x00\x12\x01\x63\x00\x01\x00\x00\x00\x06\x00\x00\x00\x00\x00\x00\x00"))))
	write(good, "plain.jpg", j)
	write(good, "mislabelled.jpg", pngOf(pattern()))
	write(good, "second.dat", j) // a picture by its first bytes alone
	write(good, "extraneous.jpg", extraneous(3))
	write(good, "no-end.jpg", j[:len(j)-2])
	write(good, "two-pictures.jpg", append(append([]byte(nil), j...), jpegOf(stored(3))...))
	write(good, "with-film.jpg", append(append(append([]byte(nil), j...), "\x00\x00\x00\x18ftypmp42\x00\x00\x00\x00mp42isom"...), bytes.Repeat([]byte("\xff\xd8film"), 50)...))
}

// profiles are files whose colours are not plain sRGB.
func profiles() {
	j := jpegOf(pattern())
	write(good, "p3.jpg", withProfile(j, profileP3()))
	write(good, "adobe.jpg", withProfile(j, profileAdobe()))
	write(good, "d50-gamma18.jpg", withProfile(j, profileD50()))
	write(good, "srgb-v2.jpg", withProfile(j, profileSRGBv2()))
	write(good, "srgb-v4.jpg", withProfile(j, profileSRGBv4()))
	write(good, "r03.jpg", withEXIF(j, directory(0x8769, shorts(0xa001, 0xffff), directory(0xa005, ascii(1, "R03")))))
	write(good, "uncalibrated.jpg", withEXIF(j, directory(0x8769, shorts(0xa001, 0xffff))))
	write(good, "grey.jpg", jpegOf(grey()))
	write(good, "grey-gamma18.jpg", withProfile(jpegOf(grey()), profileGrey()))
	for name, p := range map[string][]byte{"p3.icc": profileP3(), "adobe.icc": profileAdobe(), "srgb-v2.icc": profileSRGBv2(), "grey.icc": profileGrey(), "d50-gamma18.icc": profileD50()} {
		write(good, name, p)
	}
}

func grey() *image.Gray {
	m := image.NewGray(image.Rect(0, 0, wide, high))
	for y := range high {
		for x := range wide {
			m.SetGray(x, y, color.Gray{uint8(40 * (1 + x/blockPx + 3*(y/blockPx)))})
		}
	}
	return m
}

func pngOf(m image.Image) []byte {
	var b bytes.Buffer
	must((&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&b, m))
	return b.Bytes()
}

func chunk(kind string, d []byte) []byte {
	b := append(be32(uint32(len(d))), kind...)
	b = append(b, d...)
	return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[4:]))
}

// behindHeader puts chunks behind a PNG file's header chunk.
func behindHeader(p []byte, chunks ...[]byte) []byte {
	out := append([]byte(nil), p[:33]...)
	for _, c := range chunks {
		out = append(out, c...)
	}
	return append(out, p[33:]...)
}

func iccChunk(p []byte) []byte {
	var z bytes.Buffer
	w := zlib.NewWriter(&z)
	_, err := w.Write(p)
	must(err)
	must(w.Close())
	return chunk("iCCP", append([]byte("p\x00\x00"), z.Bytes()...))
}

// deep is the pattern in 16 bits: 257 times the 8 bit value, plus 0..127 below what 8 bits can show.
func deep() *image.NRGBA64 {
	m := image.NewNRGBA64(image.Rect(0, 0, wide, high))
	for y := range high {
		for x := range wide {
			c := blocks[y/blockPx][x/blockPx]
			v := func(c uint8) uint16 { return uint16(c)*257 + uint16(x%16)*8 }
			m.SetNRGBA64(x, y, color.NRGBA64{v(c.R), v(c.G), v(c.B), 0xffff})
		}
	}
	return m
}

// seeThrough16 is deep with its first 8 columns not opaque.
func seeThrough16() *image.NRGBA64 {
	m := deep()
	for y := range high {
		for x := range 8 {
			c := m.NRGBA64At(x, y)
			c.A = 0x8000
			m.SetNRGBA64(x, y, c)
		}
	}
	return m
}

// toned is a slope from black to white in the hue of an old print, and beside it the pattern in so little of its colours
// as to be told: share 1 leaves none of them, 0 all.
func toned(share float64) *image.NRGBA {
	m := image.NewNRGBA(image.Rect(0, 0, 4*wide, 4*high))
	for y := range 4 * high {
		for x := range 4 * wide {
			v := float64(x+y) / float64(4*(wide+high))
			c := blocks[y/(4*blockPx)][x/(4*blockPx)]
			mix := func(tone float64, of uint8) uint8 { return uint8(math.Round(share*tone + (1-share)*float64(of))) }
			m.SetNRGBA(x, y, color.NRGBA{mix(250*math.Pow(v, 0.9), c.R), mix(235*v, c.G), mix(205*math.Pow(v, 1.1), c.B), 255})
		}
	}
	return m
}

// raw16 is the pattern's samples of 16 bits, little endian, red, green and blue.
func raw16() []byte {
	var b []byte
	m := deep()
	for y := range high {
		for x := range wide {
			c := m.NRGBA64At(x, y)
			for _, v := range []uint16{c.R, c.G, c.B} {
				b = binary.LittleEndian.AppendUint16(b, v)
			}
		}
	}
	return b
}

func deflated(b []byte) []byte {
	var z bytes.Buffer
	w := zlib.NewWriter(&z)
	_, err := w.Write(b)
	must(err)
	must(w.Close())
	return z.Bytes()
}

func deepGrey() *image.Gray16 {
	m := image.NewGray16(image.Rect(0, 0, wide, high))
	for y := range high {
		for x := range wide {
			m.SetGray16(x, y, color.Gray16{uint16(1000*x + 300*y)})
		}
	}
	return m
}

func paletted() *image.Paletted {
	m := image.NewPaletted(image.Rect(0, 0, wide, high), nil)
	for y := range high {
		for x := range wide {
			i := 3*(y/blockPx) + x/blockPx
			if i == len(m.Palette) {
				m.Palette = append(m.Palette, blocks[y/blockPx][x/blockPx])
			}
			m.SetColorIndex(x, y, uint8(i))
		}
	}
	return m
}

func seeThrough() *image.NRGBA {
	m := pattern()
	for y := range blockPx {
		for x := range blockPx {
			m.SetNRGBA(x, y, color.NRGBA{200, 40, 40, 128})
		}
	}
	return m
}

func pngs() {
	p := pngOf(pattern())
	write(good, "rgb.png", p)
	write(good, "rgb16.png", pngOf(deep()))
	write(good, "grey.png", pngOf(grey()))
	write(good, "grey16.png", pngOf(deepGrey()))
	write(good, "rgba16.png", pngOf(seeThrough16()))
	write(good, "behind.png", append(append([]byte(nil), p...), "something behind the picture"...))
	write(good, "toned.png", pngOf(toned(1)))
	write(good, "toned.jpg", jpegOf(toned(1)))
	write(good, "tinted.png", pngOf(toned(0.2)))
	write(good, "see-through.png", pngOf(seeThrough()))
	write(good, "p3.png", behindHeader(p, iccChunk(profileP3())))
	write(good, "swapped.png", behindHeader(p, iccChunk(profileSwapped())))
	write(good, "srgb.png", behindHeader(p, chunk("sRGB", []byte{0})))
	write(good, "cicp-p3.png", behindHeader(p, chunk("cICP", []byte{12, 13, 0, 1})))
	write(good, "gamma.png", behindHeader(p, chunk("gAMA", be32(55556)))) // 1/1.8
	write(good, "gamma-srgb.png", behindHeader(p, chunk("gAMA", be32(45455)),
		chunk("cHRM", be32(31270, 32900, 64000, 33000, 30000, 60000, 15000, 6000))))
	write(good, "turn-6.png", behindHeader(pngOf(stored(6)), chunk("eXIf", exifBlock(shorts(0x112, 6),
		directory(0x8769, ascii(0x9003, "2021:06:05 14:03:09"))))))
	write(good, "one-frame.png", behindHeader(p, chunk("acTL", be32(1, 0))))
}

// raw8 is the pattern's samples, n a pixel, for TIFF pages.
func raw8(n int) []byte {
	var b []byte
	m := pattern()
	for i := 0; i < len(m.Pix); i += 4 {
		b = append(b, m.Pix[i:i+min(n, 4)]...)
		for range n - 4 {
			b = append(b, 0)
		}
	}
	return b
}

func tiffs() {
	of := func(m image.Image, c tiff.CompressionType) []byte {
		var b bytes.Buffer
		must(tiff.Encode(&b, m, &tiff.Options{Compression: c, Predictor: c == tiff.Deflate}))
		return b.Bytes()
	}
	write(good, "rgba-deflate.tif", of(pattern(), tiff.Deflate))
	write(good, "rgb16.tif", of(deep(), tiff.Deflate))
	write(good, "grey16.tif", of(deepGrey(), tiff.Deflate))
	negative := grey()
	for i := range negative.Pix {
		negative.Pix[i] = ^negative.Pix[i]
	}
	write(good, "grey-white0.tif", tiffFile([][]field{page(wide, high, 8, 1, 0)}, [][]byte{negative.Pix}))
	p3 := profileP3()
	write(good, "p3.tif", tiffFile([][]field{page(wide, high, 8, 3, 2, undefined(34675, p3...))}, [][]byte{raw8(3)}))
	turned := stored(8).(*image.NRGBA)
	var pix []byte
	for i := 0; i < len(turned.Pix); i += 4 {
		pix = append(pix, turned.Pix[i:i+3]...)
	}
	write(good, "turn-8.tif", tiffFile([][]field{page(high, wide, 8, 3, 2, shorts(0x112, 8),
		directory(0x8769, ascii(0x9003, "2021:06:05 14:03:09")))}, [][]byte{pix}))
	small := page(2, 2, 8, 3, 2)
	write(good, "pages.tif", tiffFile([][]field{page(wide, high, 8, 3, 2), small, small}, [][]byte{raw8(3), make([]byte, 12), make([]byte, 12)}))
}
