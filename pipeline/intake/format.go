package intake

import (
	"bytes"
	"encoding/binary"
	"path"
	"strings"
	"unicode/utf8"
)

// The formats that are decoded, as in Facts.Format.
const (
	fmtJPEG = "JPEG"
	fmtPNG  = "PNG"
	fmtTIFF = "TIFF"
	fmtWebP = "WebP"
	fmtHEIF = "HEIF"
	fmtAVIF = "AVIF"
)

// Formats that are recognised to be named in the refusal.
const (
	fmtGIF     = "GIF"
	fmtBMP     = "BMP"
	fmtJP2     = "JPEG 2000"
	fmtJXL     = "JPEG XL"
	fmtPSD     = "layered editor file (PSD)"
	fmtRaw     = "raw"
	fmtBigTIFF = "BigTIFF"
)

// sniffLen is how many bytes sniff needs.
const sniffLen = 64

// sniff tells a picture's format by its first bytes; "" = none that is known.
func sniff(b []byte) string {
	has := func(at int, s string) bool { return len(b) >= at+len(s) && string(b[at:at+len(s)]) == s }
	switch {
	case has(0, "\xff\xd8\xff"):
		return fmtJPEG
	case has(0, "\x89PNG\r\n\x1a\n"):
		return fmtPNG
	case (has(0, "II*\x00") || has(0, "MM\x00*")) && !has(8, "CR\x02"):
		return fmtTIFF
	case has(0, "II+\x00") || has(0, "MM\x00+"):
		return fmtBigTIFF
	case has(0, "RIFF") && has(8, "WEBP"):
		return fmtWebP
	case has(0, "GIF87a") || has(0, "GIF89a"):
		return fmtGIF
	case has(0, "BM") && len(b) >= 18 && binary.LittleEndian.Uint32(b[14:]) >= 12 && binary.LittleEndian.Uint32(b[14:]) <= 124:
		return fmtBMP
	case has(0, "\x00\x00\x00\x0cjP  ") || has(0, "\xff\x4f\xff\x51"):
		return fmtJP2
	case has(0, "\x00\x00\x00\x0cJXL ") || has(0, "\xff\x0a"):
		return fmtJXL
	case has(0, "8BPS"):
		return fmtPSD
	case has(0, "II*\x00") || has(0, "IIU\x00") || has(0, "IIRO") || has(0, "IIRS") || has(0, "MMOR") || has(0, "FOVb"):
		return fmtRaw // headers of raw files that are nearly, but not, TIFF
	case has(4, "ftyp"):
		return brand(b)
	}
	return ""
}

// brand tells the format of an ISO base media file (ISO/IEC 14496-12) by its brands; "" = no picture, such as a video.
func brand(b []byte) string {
	n := int(binary.BigEndian.Uint32(b))
	n = min(max(n, 12), len(b))
	if n < 12 {
		return ""
	}
	for at := 8; at+4 <= n; at += 4 {
		if at == 12 {
			continue // the minor version
		}
		switch string(b[at : at+4]) {
		case "avif", "avis":
			return fmtAVIF
		case "heic", "heix", "heim", "heis", "hevc", "hevx", "hevm", "hevs":
			return fmtHEIF
		case "crx ":
			return fmtRaw
		}
	}
	if s := string(b[8:12]); s == "mif1" || s == "msf1" {
		return fmtHEIF
	}
	return ""
}

// isSequence reports whether an ISO base media file's main brand is that of a picture sequence.
func isSequence(b []byte) bool {
	if len(b) < 12 {
		return false
	}
	switch string(b[8:12]) {
	case "hevc", "hevx", "hevm", "hevs", "msf1", "avis":
		return true
	}
	return false
}

// extensions are those of pictures, with the format they promise.
var extensions = map[string]string{
	".jpg": fmtJPEG, ".jpeg": fmtJPEG, ".jpe": fmtJPEG, ".jfif": fmtJPEG, ".mpo": fmtJPEG,
	".png": fmtPNG, ".apng": fmtPNG, ".tif": fmtTIFF, ".tiff": fmtTIFF, ".webp": fmtWebP,
	".heic": fmtHEIF, ".heif": fmtHEIF, ".hif": fmtHEIF, ".avif": fmtAVIF,
	".gif": fmtGIF, ".bmp": fmtBMP, ".jp2": fmtJP2, ".j2k": fmtJP2, ".jxl": fmtJXL, ".psd": fmtPSD,
	".dng": fmtRaw, ".cr2": fmtRaw, ".cr3": fmtRaw, ".crw": fmtRaw, ".nef": fmtRaw, ".nrw": fmtRaw, ".arw": fmtRaw,
	".srf": fmtRaw, ".sr2": fmtRaw, ".orf": fmtRaw, ".raf": fmtRaw, ".rw2": fmtRaw, ".rwl": fmtRaw, ".pef": fmtRaw,
	".srw": fmtRaw, ".x3f": fmtRaw, ".3fr": fmtRaw, ".fff": fmtRaw, ".iiq": fmtRaw, ".mos": fmtRaw, ".mrw": fmtRaw,
	".kdc": fmtRaw, ".dcr": fmtRaw, ".erf": fmtRaw, ".gpr": fmtRaw, ".raw": fmtRaw,
}

// extension returns a path's extension in lower case, with the dot.
func extension(rel string) string { return strings.ToLower(path.Ext(rel)) }

// describe names bytes that are no picture, as far as they can be told.
func describe(b []byte) string {
	head := b[:min(len(b), 512)]
	lower := bytes.ToLower(bytes.TrimLeft(head, "\xef\xbb\xbf \t\r\n"))
	switch {
	case bytes.HasPrefix(head, []byte("%PDF")):
		return "it is a PDF"
	case bytes.HasPrefix(head, []byte("PK\x03\x04")):
		return "it is a ZIP archive"
	case len(head) >= 8 && string(head[4:8]) == "ftyp":
		return "it is a video or another media file"
	case bytes.HasPrefix(lower, []byte("<!doctype html")), bytes.HasPrefix(lower, []byte("<html")):
		return "it is a web page"
	case bytes.HasPrefix(lower, []byte("<svg")), bytes.HasPrefix(lower, []byte("<?xml")):
		return "it is XML or SVG"
	case bytes.IndexByte(head, 0) < 0 && textual(head):
		return "it is text"
	}
	return "its first bytes are of no picture format that is known"
}

// textual reports whether b is UTF-8 but for a character cut at its end.
func textual(b []byte) bool {
	for i := 0; i < 4 && len(b) > 0; i++ {
		if utf8.Valid(b) {
			return true
		}
		b = b[:len(b)-1]
	}
	return false
}
