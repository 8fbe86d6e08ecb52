package intake

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	"tilelapse/pipeline/intake/icc"
)

// Limits are checked before anything is decoded. Zero fields take the defaults.
type Limits struct {
	MaxMpx  float64 // megapixels; 0 = 120
	MaxMB   float64 // file size in 10^6 bytes; 0 = 200
	MaxSide int     // longer side in px; 0 = 65000

	// Colourless takes in pictures without colours, too: to be aligned and shown, as nothing can be measured on them.
	Colourless bool
}

// The defaults of Limits. 120 Mpx take in the largest sensors in use (100 Mpx); 200 MB a 16 bit TIFF of 33 Mpx; the side
// stays within what JPEG can hold.
const (
	DefaultMaxMpx  = 120
	DefaultMaxMB   = 200
	DefaultMaxSide = 65_000
)

// What decoding one photo may take, file and result included, grows with the largest picture allowed: 1.14 GB at the default,
// which keeps a run below 1.5 GB (measured). Only deep pictures stored on their side and files far beyond MaxMB need more.
// A small limit leaves room for files with much beside their pixels.
const (
	bytesPerMpx = 9.5e6
	leastMemory = 64e6
)

func (l Limits) withDefaults() Limits {
	if l.MaxMpx <= 0 {
		l.MaxMpx = DefaultMaxMpx
	}
	if l.MaxMB <= 0 {
		l.MaxMB = DefaultMaxMB
	}
	if l.MaxSide <= 0 {
		l.MaxSide = DefaultMaxSide
	}
	return l
}

// Method is raised when a photo may be taken in, refused or decoded otherwise than before.
const Method = "2"

// Read decodes the photo rel (slashes, below root) once and returns it upright, with the facts of the very bytes that
// were decoded. With an error the picture is nil and the facts hold what is known by then; errors are *Error.
func Read(root, rel string, lim Limits) (*Picture, *Facts, error) {
	p, f, err := take(root, rel, lim, true)
	if err == nil && !lim.Colourless && p.Colourless() {
		return nil, f, refuse(NoColours, "black and white, or toned in one hue")
	}
	return p, f, err
}

// Inspect reads what Read does but for the pixels: size, hash, EXIF, profile, limits. Damage further inside goes
// unnoticed.
func Inspect(root, rel string, lim Limits) (*Facts, error) {
	_, f, err := take(root, rel, lim, false)
	return f, err
}

// job is one file on its way in.
type job struct {
	b      []byte
	tags   *tags
	facts  *Facts
	lim    Limits
	pixels bool // decode, not only inspect
	// upright: the decoder turns the picture itself
	upright bool
}

// errHeaderOnly ends a decoder after its header.
var errHeaderOnly = errors.New("header only")

// decoders read a format. They call job.admit when the header is known and before any pixel is, and hand its error on.
// They return the picture as stored, not turned.
var decoders = map[string]func(*job) (*Picture, error){
	fmtJPEG: (*job).jpeg, fmtPNG: (*job).png, fmtTIFF: (*job).tiff, fmtWebP: (*job).webp, fmtHEIF: (*job).heif, fmtAVIF: (*job).heif,
}

func take(root, rel string, lim Limits, pixels bool) (*Picture, *Facts, error) {
	lim = lim.withDefaults()
	facts := &Facts{Orientation: 1}
	b, err := load(root, rel, lim, facts)
	if err != nil {
		return nil, facts, err
	}
	return takeBytes(b, rel, lim, pixels, facts)
}

// takeBytes is take after the file is in memory.
func takeBytes(b []byte, rel string, lim Limits, pixels bool, facts *Facts) (*Picture, *Facts, error) {
	sum := sha256.Sum256(b)
	facts.SHA256 = hex.EncodeToString(sum[:])
	facts.Bytes = int64(len(b))
	if len(b) == 0 {
		return nil, facts, refuse(Empty, "0 bytes")
	}
	format, err := recognise(b, rel)
	if err != nil {
		return nil, facts, err
	}
	facts.Format = format
	if promised, ok := extensions[extension(rel)]; ok && promised != format && !(isoMedia(promised) && isoMedia(format)) {
		facts.note("named %s, but is %s: read as what it is", extension(rel), format)
	}
	t, err := readTags(b, format)
	if err != nil {
		facts.note("metadata damaged, read in part: date and orientation may be missing")
	}
	facts.take(t)

	// libheif applies the container's own rotation, and EXIF's is to be ignored
	j := &job{b: b, tags: t, facts: facts, lim: lim, pixels: pixels, upright: isoMedia(format)}
	p, err := decoders[format](j)
	switch {
	case errors.Is(err, errHeaderOnly):
		return nil, facts, nil
	case err != nil:
		return nil, facts, err
	}
	if !j.upright {
		p.turn(facts.Orientation)
	}
	return p, facts, nil
}

func isoMedia(format string) bool { return format == fmtHEIF || format == fmtAVIF }

// recognise tells the format by the content, and refuses what is not decoded.
func recognise(b []byte, rel string) (string, error) {
	ext := extension(rel)
	format := sniff(b)
	if (format == "" || format == fmtTIFF || format == fmtRaw) && extensions[ext] == fmtRaw {
		return "", refuse(RawFile, "%s", ext)
	}
	switch format {
	case "":
		if len(bytes.Trim(b[:min(len(b), 512)], "\x00")) == 0 {
			return "", refuse(Damaged, "it begins with zeros only, as after a failed copy")
		}
		return "", refuse(NotPicture, "%s", describe(b))
	case fmtRaw:
		return "", refuse(RawFile, "its first bytes are those of a raw format")
	case fmtGIF:
		if n := gifFrames(b); n > 1 {
			return "", refuse(Animated, "GIF of %d frames", n)
		}
		return "", refuse(NotRead, "GIF has too few colours to be measured")
	}
	if decoders[format] == nil {
		return "", refuse(NotRead, "%s", format)
	}
	if isoMedia(format) && isSequence(b) {
		return "", refuse(Animated, "a %s sequence", format)
	}
	return format, nil
}

// admit records a picture's size as stored and refuses it by the limits, naming limit, value and setting. With only the
// header wanted it ends the decoder. perPixel is the memory that decoding takes, bytes a pixel.
func (j *job) admit(w, h, perPixel int) error {
	j.facts.W, j.facts.H = w, h
	if j.facts.Orientation >= 5 && !isoMedia(j.facts.Format) {
		j.facts.W, j.facts.H = h, w
	}
	if w <= 0 || h <= 0 {
		return refuse(Damaged, "a size of %d x %d px in its header", w, h)
	}
	if long := max(w, h); long > j.lim.MaxSide {
		return refuse(TooLong, "%d px on its longer side, limit %d (fixed)", long, j.lim.MaxSide)
	}
	if mpx := float64(w) * float64(h) / 1e6; mpx > j.lim.MaxMpx {
		return refuse(TooManyMpx, "%.5g Mpx, limit %g (limits.max_mpx in survey.yaml)", mpx, j.lim.MaxMpx)
	}
	if j.facts.Orientation >= 5 && !j.upright { // a quarter turn makes a second copy
		if perPixel = max(perPixel, 7); perPixel >= 8 && j.facts.Format != fmtJPEG {
			perPixel = max(perPixel, 14)
		}
	}
	j.facts.Memory = int64(len(j.b)) + int64(w)*int64(h)*int64(perPixel)
	if limit := max(bytesPerMpx*j.lim.MaxMpx, leastMemory); float64(j.facts.Memory) > limit {
		return refuse(TooManyMpx, "%.3g GB to decode it, limit %.3g GB (9.5 bytes for every pixel of limits.max_mpx in survey.yaml)", float64(j.facts.Memory)/1e9, limit/1e9)
	}
	if !j.pixels {
		return errHeaderOnly
	}
	return nil
}

// space returns the colour space of an embedded profile; of a file without one, what EXIF names, else sRGB.
func (j *job) space(profile []byte, grey bool) (*icc.Space, error) {
	s := icc.SRGB()
	switch {
	case len(profile) > 0:
		var err error
		if s, err = icc.Parse(profile, grey); err != nil {
			return nil, refuse(Profile, "%v", err)
		}
	case j.tags.interop == "R03":
		// DCF 2.0 (CIPA DC-009) optional colour space, which cameras write without embedding a profile.
		s = icc.AdobeRGB()
		s.Name += " (EXIF)"
	default:
		s.Name += " (no profile)"
		if j.tags.colorSpace == 0xffff {
			j.facts.note("EXIF calls the colours uncalibrated and there is no profile: taken as sRGB")
		}
	}
	j.facts.Colour = s.Name
	return s, nil
}

// picture joins samples and a space.
func picture(w, h int, pix []uint8, pix16 []uint16, s *icc.Space) *Picture {
	p := &Picture{W: w, H: h, Pix: pix, Pix16: pix16, Colour: s.Name}
	n := 256
	if pix16 != nil {
		n = 65536
	}
	p.Curve = s.Tables(n)
	for i, v := range s.Matrix {
		p.Matrix[i] = float32(v)
	}
	return p
}

// load reads a file below root into memory, never through a symbolic link, never more than the limit.
func load(root, rel string, lim Limits, facts *Facts) ([]byte, error) {
	f, err := open(root, rel)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, unread(err)
	}
	if !info.Mode().IsRegular() {
		return nil, refuse(NotRegular, "%s", kindOf(info.Mode()))
	}
	facts.Bytes = info.Size()
	limit := int64(lim.MaxMB * 1e6)
	tooLarge := func(n int64) error {
		return refuse(TooManyBytes, "%.5g MB, limit %g (limits.max_mb in survey.yaml)", float64(n)/1e6, lim.MaxMB)
	}
	if info.Size() > limit {
		return nil, tooLarge(info.Size())
	}
	b := make([]byte, info.Size())
	n, err := io.ReadFull(f, b)
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) && !errors.Is(err, io.EOF) {
		return nil, unread(err)
	}
	b = b[:n]
	// A file that is still being copied grows: what was read is then not the file.
	if extra, err := f.Read(make([]byte, 1)); extra > 0 || int64(n) < info.Size() || (err != nil && err != io.EOF) {
		return nil, &Error{Kind: Unread, Reason: Disk, Detail: "the file changed while it was read", Err: err}
	}
	return b, nil
}

// open opens a file below root. Every part of rel is looked at first: none may be a symbolic link or lead out.
func open(root, rel string) (*os.File, error) {
	if !fs.ValidPath(rel) || rel == "." {
		return nil, refuse(NotRegular, "the path leads out of the survey folder")
	}
	at := root
	for part := range strings.SplitSeq(rel, "/") {
		at = filepath.Join(at, part)
		info, err := os.Lstat(at)
		if err != nil {
			return nil, unread(err)
		}
		if info.Mode()&fs.ModeSymlink != 0 {
			return nil, refuse(Link, "")
		}
	}
	// O_NOFOLLOW: it may have become a link since. O_NONBLOCK: it may have become a pipe, on which opening would wait.
	f, err := os.OpenFile(at, os.O_RDONLY|syscall.O_NOFOLLOW|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, unread(err)
	}
	return f, nil
}
