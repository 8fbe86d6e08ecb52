package main

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/color/palette"
	"image/draw"
	"image/gif"
	"os"
	"path/filepath"
)

// extraneous is a JPEG file with restart marks and n of them preceded by a stray byte, as some cameras write.
func extraneous(n int) []byte {
	// The encoder writes no restart marks: stray bytes go before markers of the header instead, which libjpeg tells the
	// same way.
	j := jpegOf(pattern())
	out := append([]byte(nil), j[:2]...)
	for at := 2; at < len(j); {
		size := 2 + int(binary.BigEndian.Uint16(j[at+2:]))
		if n > 0 && at > 2 { // the first is what JPEG files are known by
			out = append(out, 0x00)
			n--
		}
		out = append(out, j[at:at+size]...)
		sos := j[at+1] == 0xda
		at += size
		if sos {
			return append(out, j[at:]...)
		}
		if at+2 < len(j) && j[at+1] == 0xda {
			for ; n > 0; n-- { // comments make room for more
				out = append(append(out, 0x00), segment(0xfe, []byte("c"))...)
			}
		}
	}
	return out
}

// scanStart is where the entropy-coded data of a JPEG file begins.
func scanStart(j []byte) int {
	at := 2
	for {
		size := 2 + int(binary.BigEndian.Uint16(j[at+2:]))
		sos := j[at+1] == 0xda
		at += size
		if sos {
			return at
		}
	}
}

func refusedJPEGs() {
	j := jpegOf(pattern())
	big := jpegOf(shaded(96, 96))
	write(bad, "empty.jpg", nil)
	write(bad, "text.jpg", []byte("Photos of the wall, spring visit.\nSee the other folder.\n"))
	write(bad, "page.jpg", []byte("<!DOCTYPE html><html><body>Please log in to see this photo</body></html>\n"))
	write(bad, "zeros.jpg", make([]byte, 600))
	write(bad, "video.jpg", append([]byte("\x00\x00\x00\x18ftypmp42\x00\x00\x00\x00mp42isom"), make([]byte, 40)...))
	write(bad, "document.jpg", []byte("%PDF-1.4\n1 0 obj\nendobj\n"))
	write(bad, "cut.jpg", big[:scanStart(big)+(len(big)-scanStart(big))*6/10])
	write(bad, "cut-in-header.jpg", big[:200])
	s := scanStart(big)
	zeroed := append([]byte(nil), big...)
	clear(zeroed[s+(len(big)-s)/2 : s+(len(big)-s)/2+400])
	write(bad, "block-zeroed.jpg", zeroed)
	other := append([]byte(nil), big...)
	at := s + (len(big)-s)/3
	copy(other[at:], bytes.Repeat([]byte{0xff, 0xd3, 0x55}, 30)) // stray restart marks
	write(bad, "overwritten.jpg", other)
	write(bad, "extraneous.jpg", extraneous(12))
	huge := append([]byte(nil), j...)
	sof := bytes.Index(huge, []byte{0xff, 0xc0})
	binary.BigEndian.PutUint16(huge[sof+5:], 60000)
	binary.BigEndian.PutUint16(huge[sof+7:], 60000)
	write(bad, "huge.jpg", huge)
	write(bad, "lut.jpg", withProfile(j, profileLUT()))
	write(bad, "cmyk-profile.jpg", withProfile(j, profileCMYK()))
	write(bad, "grey-profile.jpg", withProfile(j, profileGrey()))
	// The same file said to be of another process or depth: none of these may pass for damaged.
	for name, c := range map[string]struct{ marker, bits byte }{
		"twelve.jpg": {0xc1, 12}, "lossless.jpg": {0xc3, 8}, "hierarchical.jpg": {0xc5, 8}, "jpeg-ls.jpg": {0xf7, 8},
	} {
		other := append([]byte(nil), j...)
		other[sof+1], other[sof+4] = c.marker, c.bits
		write(bad, name, other)
	}
	write(bad, "no-profile.jpg", withProfile(j, []byte("not a profile at all, but long enough to be looked at"+string(make([]byte, 100)))))
}

func refusedOthers() {
	p := pngOf(shaded(64, 64))
	write(bad, "cut.png", p[:len(p)*6/10])
	write(bad, "no-end.png", p[:len(p)-12])
	crc := append([]byte(nil), p...)
	crc[len(p)/2] ^= 0x10
	write(bad, "damaged.png", crc)
	write(bad, "palette.png", pngOf(paletted()))
	few := pngOf(paletted())
	few[25] = 0 // the same samples as greys
	write(bad, "four-bits.png", append(append(append([]byte(nil), few[:8]...), chunk("IHDR", few[16:29])...), few[33:]...))
	frame := be32(0, wide, high, 0, 0, 0x00010001, 0)
	write(bad, "animated.png", behindHeader(pngOf(pattern()), chunk("acTL", be32(2, 0)), chunk("fcTL", frame[:26])))
	huge := append([]byte(nil), pngOf(pattern())...)
	binary.BigEndian.PutUint32(huge[16:], 40000)
	binary.BigEndian.PutUint32(huge[20:], 40000)
	write(bad, "huge.png", append(append(append([]byte(nil), huge[:8]...), chunk("IHDR", huge[16:29])...), huge[33:]...))
	side := pngOf(deep())
	binary.BigEndian.PutUint32(side[16:], 10000)
	binary.BigEndian.PutUint32(side[20:], 9000)
	write(bad, "huge-on-its-side.png", append(append(append(append([]byte(nil), side[:8]...), chunk("IHDR", side[16:29])...),
		chunk("eXIf", exifBlock(shorts(0x112, 6)))...), side[33:]...))
	write(bad, "hdr.png", behindHeader(pngOf(pattern()), chunk("cICP", []byte{9, 16, 0, 1})))
	write(bad, "bad-profile.png", behindHeader(pngOf(pattern()), chunk("iCCP", []byte("p\x00\x00not deflated"))))

	one := func(name string, fields []field, pix []byte) {
		write(bad, name, tiffFile([][]field{fields}, [][]byte{pix}))
	}
	whole := tiffFile([][]field{page(wide, high, 8, 3, 2)}, [][]byte{raw8(3)})
	write(bad, "cut.tif", whole[:len(whole)/2])
	write(bad, "cut-in-header.tif", whole[:40])
	circle := append([]byte(nil), tiffFile([][]field{page(wide, high, 8, 3, 2)}, [][]byte{raw8(3)})...)
	binary.LittleEndian.PutUint32(circle[8+2+12*9:], 8)
	write(bad, "circle.tif", circle)
	one("cmyk.tif", page(wide, high, 8, 4, 5), raw8(4))
	one("lab.tif", page(wide, high, 8, 3, 8), raw8(3))
	one("float.tif", page(wide, high, 32, 3, 2, shorts(339, 3, 3, 3)), make([]byte, wide*high*12))
	one("signed.tif", page(wide, high, 16, 3, 2, shorts(339, 2, 2, 2)), make([]byte, wide*high*6))
	one("channels.tif", page(wide, high, 8, 5, 2), raw8(5))
	one("planes-missing.tif", page(wide, high, 8, 3, 2, shorts(284, 2)), raw8(3))
	one("palette.tif", page(wide, high, 8, 1, 3, shorts(320, make([]uint16, 768)...)), raw8(1))
	one("fax.tif", page(wide, high, 1, 1, 0), raw8(1))
	one("twelve.tif", page(wide, high, 12, 3, 2), make([]byte, wide*high*9/2))
	one("mixed.tif", page(wide, high, 8, 3, 2, shorts(258, 8, 16, 8)), raw8(4))
	one("reversed.tif", page(wide, high, 8, 3, 2, shorts(266, 2)), raw8(3))
	one("no-rows.tif", page(wide, high, 8, 3, 2, longs(278, 0)), raw8(3))
	one("tile-of-nothing.tif", page(wide, high, 8, 3, 2, longs(322, 0), longs(323, 16), longs(324, 8), longs(325, 8)), raw8(3))
	z := deflated(raw8(3))
	z[len(z)-1] ^= 0x55
	one("check-sum.tif", page(wide, high, 8, 3, 2, shorts(259, 8), longs(279, uint32(len(z)))), z)
	one("jpeg-inside.tif", page(wide, high, 8, 3, 2, shorts(259, 7)), raw8(3))
	one("sensor.tif", page(wide, high, 8, 1, 32803), raw8(1))
	one("sensor.dng", page(wide, high, 8, 3, 2, field{tag: 50706, kind: tByte, count: 4, data: []byte{1, 4, 0, 0}}), raw8(3))
	one("preview.tif", page(wide, high, 8, 3, 2, longs(254, 1)), raw8(3))
	one("huge.tif", page(50000, 50000, 8, 3, 2), raw8(3))
	write(bad, "big.tif", append([]byte("II+\x00\x08\x00\x00\x00"), make([]byte, 24)...))
	write(bad, "raw.cr2", []byte("II*\x00\x10\x00\x00\x00CR\x02\x00\x00\x00\x00\x00\x00\x00"))
	write(bad, "raw.jpg", []byte("II*\x00\x10\x00\x00\x00CR\x02\x00\x00\x00\x00\x00\x00\x00"))

	var b bytes.Buffer
	frames := &gif.GIF{}
	for range 2 {
		m := image.NewPaletted(image.Rect(0, 0, wide, high), palette.WebSafe)
		draw.Draw(m, m.Rect, pattern(), image.Point{}, draw.Src)
		frames.Image, frames.Delay = append(frames.Image, m), append(frames.Delay, 10)
	}
	must(gif.EncodeAll(&b, frames))
	write(bad, "animated.gif", b.Bytes())
	b.Reset()
	must(gif.EncodeAll(&b, &gif.GIF{Image: frames.Image[:1], Delay: frames.Delay[:1]}))
	write(bad, "still.gif", b.Bytes())
	write(bad, "still.bmp", append([]byte("BM\x00\x00\x00\x00\x00\x00\x00\x00\x36\x00\x00\x00\x28\x00\x00\x00"), make([]byte, 60)...))
	write(bad, "layers.psd", append([]byte("8BPS\x00\x01"), make([]byte, 40)...))
	write(bad, "still.jxl", append([]byte("\x00\x00\x00\x0cJXL \r\n\x87\n"), make([]byte, 20)...))
}

// riff joins chunks to a WebP file.
func riff(chunks ...[]byte) []byte {
	body := []byte("WEBP")
	for _, c := range chunks {
		body = append(body, c...)
	}
	return append(append([]byte("RIFF"), binary.LittleEndian.AppendUint32(nil, uint32(len(body)))...), body...)
}

func riffChunk(kind string, d []byte) []byte {
	b := append(append([]byte(kind), binary.LittleEndian.AppendUint32(nil, uint32(len(d)))...), d...)
	if len(d)%2 == 1 {
		b = append(b, 0)
	}
	return b
}

// extended is the VP8X chunk: flags 2 = animation, 8 = EXIF, 32 = profile.
func extended(flags byte) []byte {
	return riffChunk("VP8X", []byte{flags, 0, 0, 0, wide - 1, 0, 0, high - 1, 0, 0})
}

// withTools makes what Go's libraries can't write.
func withTools() {
	tmp, err := os.MkdirTemp("", "testfiles")
	must(err)
	defer os.RemoveAll(tmp)
	in, large := filepath.Join(tmp, "in.png"), filepath.Join(tmp, "large.png")
	must(os.WriteFile(in, pngOf(pattern()), 0o600))
	must(os.WriteFile(large, pngOf(shaded(96, 96)), 0o600))
	out := func(dir, name string) string { return filepath.Join(dir, name) }

	if p := filepath.Join(tmp, "p.jpg"); tool("convert", large, "-strip", "-interlace", "JPEG", "-quality", "92", p) {
		b, err := os.ReadFile(p)
		must(err)
		write(good, "progressive.jpg", b)
		write(bad, "cut-progressive.jpg", b[:len(b)*7/10])
	}
	tool("convert", in, "-strip", "-colorspace", "CMYK", "-quality", "90", out(bad, "cmyk.jpg"))
	tool("convert", in, "-strip", "-interlace", "PNG", "PNG24:"+out(good, "interlaced.png"))
	tool("convert", in, "-strip", "-define", "tiff:tile-geometry=16x16", "-compress", "LZW", out(good, "tiles-lzw.tif"))
	plain, deeper := filepath.Join(tmp, "plain.tif"), filepath.Join(tmp, "deep.tif")
	must(os.WriteFile(plain, tiffFile([][]field{page(wide, high, 8, 3, 2)}, [][]byte{raw8(3)}), 0o600))
	must(os.WriteFile(deeper, tiffFile([][]field{page(wide, high, 16, 3, 2)}, [][]byte{raw16()}), 0o600))
	for name, args := range map[string][]string{
		"big-endian.tif": {"-B", "-c", "none"}, "strips-packbits.tif": {"-c", "packbits", "-r", "5"}, "strips-lzw2.tif": {"-c", "lzw:2", "-r", "7"},
		"planes-lzw.tif": {"-p", "separate", "-c", "lzw", "-r", "9"}, "tiles-zip2.tif": {"-t", "-w", "32", "-l", "16", "-c", "zip:2"},
		"planes-tiles.tif": {"-p", "separate", "-t", "-w", "16", "-l", "16", "-c", "none"},
	} {
		tool("tiffcp", append(args, plain, out(good, name))...)
	}
	tool("tiffcp", "-B", "-c", "zip:2", "-r", "6", deeper, out(good, "deep-big-endian-zip2.tif"))
	tool("tiffcp", "-c", "lzw:2", "-t", "-w", "16", "-l", "32", deeper, out(good, "deep-tiles-lzw2.tif"))
	ppm := filepath.Join(tmp, "in.ppm")
	tool("convert", in, "-depth", "8", ppm)
	tool("cjpeg", "-quality", "95", "-sample", "1x1", "-arithmetic", "-outfile", out(good, "arithmetic.jpg"), ppm)
	tool("cjpeg", "-quality", "95", "-rgb", "-outfile", out(good, "no-transform.jpg"), ppm)
	tool("cjpeg", "-quality", "95", "-sample", "1x1", "-restart", "1", "-outfile", out(good, "restarts.jpg"), ppm)

	if lossless := filepath.Join(tmp, "l.webp"); tool("cwebp", "-quiet", "-lossless", "-o", lossless, in) &&
		tool("cwebp", "-quiet", "-q", "95", large, "-o", out(good, "lossy.webp")) {
		b, err := os.ReadFile(lossless)
		must(err)
		pixels := b[12:]
		write(good, "lossless.webp", b)
		write(good, "swapped.webp", riff(extended(32), riffChunk("ICCP", profileSwapped()), pixels))
		lossy := read(good, "lossy.webp")
		write(bad, "cut.webp", lossy[:len(lossy)*6/10])
		inner := append([]byte(nil), lossy[:len(lossy)*6/10&^1]...)
		binary.LittleEndian.PutUint32(inner[4:], uint32(len(inner)-8))
		binary.LittleEndian.PutUint32(inner[16:], uint32(len(inner)-20))
		write(bad, "cut-inside.webp", inner)
		frame := append([]byte{0, 0, 0, 0, 0, 0, wide - 1, 0, 0, high - 1, 0, 0, 100, 0, 0, 0}, pixels...)
		write(bad, "animated.webp", riff(extended(2), riffChunk("ANIM", make([]byte, 6)), riffChunk("ANMF", frame), riffChunk("ANMF", frame)))
		turned := filepath.Join(tmp, "t.png")
		must(os.WriteFile(turned, pngOf(stored(6)), 0o600))
		tool("cwebp", "-quiet", "-lossless", turned, "-o", lossless)
		b, err = os.ReadFile(lossless)
		must(err)
		exif := exifBlock(shorts(0x112, 6), directory(0x8769, ascii(0x9003, "2021:06:05 14:03:09")))
		vp8x := riffChunk("VP8X", []byte{8, 0, 0, 0, high - 1, 0, 0, wide - 1, 0, 0})
		write(good, "turn-6.webp", riff(vp8x, b[12:], riffChunk("EXIF", exif)))
		write(good, "turn-6-prefix.webp", riff(vp8x, b[12:], riffChunk("EXIF", append([]byte("Exif\x00\x00"), exif...))))
	}
	if heic := out(good, "phone.heic"); tool("heif-enc", "-q", "95", "-p", "chroma=444", in, "-o", heic) {
		b := read(good, "phone.heic")
		write(bad, "cut.heic", b[:len(b)*7/10])
		sideways := filepath.Join(tmp, "sideways.jpg")
		must(os.WriteFile(sideways, withEXIF(jpegOf(stored(6)), shorts(0x112, 6)), 0o600))
		tool("heif-enc", "-q", "95", "-p", "chroma=444", sideways, "-o", out(good, "turned-twice.heic"))
		write(good, "turned-twice.heic", rotated(read(good, "turned-twice.heic"), 3))
		deeper := filepath.Join(tmp, "deep.png")
		must(os.WriteFile(deeper, pngOf(deep()), 0o600))
		tool("heif-enc", "-q", "95", "-b", "10", "-p", "chroma=444", deeper, "-o", out(good, "ten-bits.heic"))
		write(bad, "sequence.heic", bytes.Replace(b[:64], []byte("ftypheic"), []byte("ftyphevc"), 1))
	}
	swapped := filepath.Join(tmp, "s.png")
	must(os.WriteFile(swapped, behindHeader(pngOf(pattern()), iccChunk(profileSwapped())), 0o600))
	tool("heif-enc", "-q", "95", "-p", "chroma=444", swapped, "-o", out(good, "swapped.heic"))
}
