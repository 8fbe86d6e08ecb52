package intake

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/pipeline/intake/heif"
)

// refusals is every file of testdata/damaged: its reason, and what the message must say.
var refusals = map[string]struct {
	reason Reason
	says   string
	format string // as far as it was recognised
}{
	"empty.jpg":            {Empty, "0 bytes", ""},
	"text.jpg":             {NotPicture, "it is text", ""},
	"page.jpg":             {NotPicture, "web page", ""},
	"zeros.jpg":            {Damaged, "zeros", ""},
	"video.jpg":            {NotPicture, "video", ""},
	"document.jpg":         {NotPicture, "PDF", ""},
	"cut.jpg":              {CutShort, "% of the picture is there", "JPEG"},
	"cut-in-header.jpg":    {CutShort, "ends within its header", "JPEG"},
	"cut-progressive.jpg":  {CutShort, "ends before", "JPEG"},
	"block-zeroed.jpg":     {Damaged, "left over", "JPEG"},
	"overwritten.jpg":      {Damaged, "libjpeg warns", "JPEG"},
	"extraneous.jpg":       {Damaged, "in 12 places", "JPEG"},
	"huge.jpg":             {TooManyMpx, "3600 Mpx, limit 120 (limits.max_mpx in survey.yaml)", "JPEG"},
	"lut.jpg":              {Profile, "table of colours", "JPEG"},
	"cmyk-profile.jpg":     {Profile, "CMYK", "JPEG"},
	"grey-profile.jpg":     {Profile, "for grey", "JPEG"},
	"no-profile.jpg":       {Profile, "no ICC profile", "JPEG"},
	"cmyk.jpg":             {NotRGB, "CMYK", "JPEG"},
	"cut.png":              {CutShort, "ends before", "PNG"},
	"no-end.png":           {CutShort, "ends before", "PNG"},
	"damaged.png":          {Damaged, "", "PNG"},
	"animated.png":         {Animated, "2 frames", "PNG"},
	"huge.png":             {TooManyMpx, "1600 Mpx", "PNG"},
	"huge-on-its-side.png": {TooManyMpx, "1.26 GB to decode it, limit 1.14 GB (9.5 bytes for every pixel of limits.max_mpx in survey.yaml)", "PNG"},
	"hdr.png":              {Profile, "high dynamic range", "PNG"},
	"bad-profile.png":      {Profile, "unpacked", "PNG"},
	"cut.tif":              {CutShort, "ends before", "TIFF"},
	"cut-in-header.tif":    {CutShort, "ends before", "TIFF"},
	"circle.tif":           {Damaged, "circle", "TIFF"},
	"cmyk.tif":             {NotRGB, "CMYK", "TIFF"},
	"lab.tif":              {NotRGB, "CIELAB", "TIFF"},
	"float.tif":            {TooDeep, "32 bits a sample, limit 8 or 16 (fixed)", "TIFF"},
	"signed.tif":           {TooDeep, "unsigned", "TIFF"},
	"channels.tif":         {NotRead, "5 channels", "TIFF"},
	"planes-missing.tif":   {Damaged, "1 of 3 strips", "TIFF"},
	"check-sum.tif":        {Damaged, "checksum", "TIFF"},
	"mixed.tif":            {NotRead, "channels of 8 and 16 bits", "TIFF"},
	"reversed.tif":         {NotRead, "reversed", "TIFF"},
	"no-rows.tif":          {Damaged, "without a size", "TIFF"},
	"tile-of-nothing.tif":  {Damaged, "without a size", "TIFF"},
	"fax.tif":              {TooDeep, "1 bits a sample, limit 8 or 16 (fixed)", "TIFF"},
	"twelve.tif":           {TooDeep, "12 bits a sample, limit 8 or 16 (fixed)", "TIFF"},
	"palette.tif":          {TooDeep, "at most 256 colours", "TIFF"},
	"palette.png":          {TooDeep, "too few to be measured", "PNG"},
	"four-bits.png":        {TooDeep, "4 bits a sample, limit 8 or 16 (fixed)", "PNG"},
	"twelve.jpg":           {TooDeep, "12 bits a sample, limit 8 (fixed)", "JPEG"},
	"lossless.jpg":         {NotRead, "lossless or another rare process", "JPEG"},
	"hierarchical.jpg":     {NotRead, "rare process", "JPEG"},
	"jpeg-ls.jpg":          {NotRead, "rare process", "JPEG"},
	"jpeg-inside.tif":      {NotRead, "compressed as JPEG", "TIFF"},
	"sensor.tif":           {RawFile, "sensor data", "TIFF"},
	"sensor.dng":           {RawFile, ".dng", ""},
	"preview.tif":          {RawFile, "preview", "TIFF"},
	"huge.tif":             {TooManyMpx, "2500 Mpx", "TIFF"},
	"big.tif":              {NotRead, "BigTIFF", ""},
	"raw.cr2":              {RawFile, ".cr2", ""},
	"raw.jpg":              {RawFile, "raw format", ""},
	"animated.gif":         {Animated, "2 frames", ""},
	"still.gif":            {NotRead, "GIF", ""},
	"still.bmp":            {NotRead, "BMP", ""},
	"still.jxl":            {NotRead, "JPEG XL", ""},
	"layers.psd":           {NotRead, "layered", ""},
	"cut.webp":             {CutShort, "of 5470 bytes", "WebP"},
	"cut-inside.webp":      {CutShort, "ends before", "WebP"},
	"animated.webp":        {Animated, "2 frames", "WebP"},
	"cut.heic":             {CutShort, "bytes are there", "HEIF"},
	"sequence.heic":        {Animated, "sequence", ""},
}

func TestRefusals(t *testing.T) {
	entries, err := os.ReadDir(badDir)
	require.NoError(t, err)
	require.Len(t, entries, len(refusals), "every file of %s has its row", badDir)
	for _, e := range entries {
		c, ok := refusals[e.Name()]
		require.True(t, ok, e.Name())
		t.Run(e.Name(), func(t *testing.T) {
			p, f, err := Read(badDir, e.Name(), Limits{})
			require.Error(t, err)
			assert.Nil(t, p)
			var r *Error
			require.ErrorAs(t, err, &r)
			assert.Equal(t, c.reason, r.Reason, err.Error())
			assert.Equal(t, Rejected, r.Kind)
			assert.Contains(t, err.Error(), c.says)
			assert.Contains(t, err.Error(), wordings[c.reason].todo)
			assert.Equal(t, c.format, f.Format)
			assert.Len(t, f.SHA256, 64, "hashed all the same")
			assert.NotContains(t, err.Error(), "testdata", "no path in the reason: it is beside it in the table")
			t.Log(err)
		})
	}
}

// TestInspectRefuses tells that what needs no pixels is refused without them.
func TestInspectRefuses(t *testing.T) {
	needsPixels := map[string]bool{
		"cut.jpg": true, "cut-progressive.jpg": true, "block-zeroed.jpg": true, "overwritten.jpg": true, "extraneous.jpg": true,
		"cut.png": true, "no-end.png": true, "damaged.png": true, "cut.tif": true, "cut-inside.webp": true,
		"planes-missing.tif": true, "check-sum.tif": true, "no-rows.tif": true, "tile-of-nothing.tif": true,
	}
	for name, c := range refusals {
		_, err := Inspect(badDir, name, Limits{})
		if needsPixels[name] {
			assert.NoError(t, err, name)
			continue
		}
		var r *Error
		if assert.ErrorAs(t, err, &r, name) {
			assert.Equal(t, c.reason, r.Reason, name)
		}
	}
}

func TestLimits(t *testing.T) {
	for _, c := range []struct {
		name   string
		lim    Limits
		reason Reason
		says   string
	}{
		{"plain.jpg", Limits{MaxMpx: 0.001}, TooManyMpx, "0.001536 Mpx, limit 0.001 (limits.max_mpx in survey.yaml)"},
		{"plain.jpg", Limits{MaxMB: 0.0005}, TooManyBytes, "0.000644 MB, limit 0.0005 (limits.max_mb in survey.yaml)"},
		{"rgb.png", Limits{MaxSide: 40}, TooLong, "48 px on its longer side, limit 40 (fixed)"},
		{"rgb16.tif", Limits{MaxMpx: 0.001}, TooManyMpx, "limits.max_mpx"},
		{"lossy.webp", Limits{MaxMpx: 0.001}, TooManyMpx, "limits.max_mpx"},
		{"phone.heic", Limits{MaxMpx: 0.001}, TooManyMpx, "limits.max_mpx"},
	} {
		if _, err := heif.Version(); err != nil && strings.HasSuffix(c.name, ".heic") {
			continue
		}
		_, f, err := Read(goodDir, c.name, c.lim)
		var r *Error
		require.ErrorAs(t, err, &r, c.name)
		assert.Equal(t, c.reason, r.Reason)
		assert.Contains(t, err.Error(), c.says)
		assert.NotZero(t, f.Bytes)
	}
	_, _, err := Read(goodDir, "plain.jpg", Limits{MaxMpx: 48 * 32 / 1e6, MaxSide: 48, MaxMB: 644e-6})
	assert.NoError(t, err, "at the limit is within the limit")
}

// TestNoLibrary tells what is said where libheif is missing or can't decode a kind of file.
func TestNoLibrary(t *testing.T) {
	defer func() { readHEIF = heif.Read }()
	for _, c := range []error{
		fmt.Errorf("%w: libheif is not installed", heif.ErrNoLibrary), fmt.Errorf("%w: unsupported codec", heif.ErrNoCodec),
	} {
		readHEIF = func([]byte, func(*heif.Header) bool) (*heif.Header, []uint8, error) { return nil, nil, c }
		_, f, err := Read(goodDir, "phone.heic", Limits{})
		var r *Error
		require.ErrorAs(t, err, &r)
		assert.Equal(t, NoDecoder, r.Reason)
		assert.Equal(t, Rejected, r.Kind)
		assert.Contains(t, err.Error(), "install libheif")
		assert.Equal(t, fmtHEIF, f.Format)
	}
}

// TestHugeHeadersCostNothing reads files that announce gigapixels: they must be refused without the memory they ask for.
func TestHugeHeadersCostNothing(t *testing.T) {
	for _, name := range []string{"huge.jpg", "huge.png", "huge.tif"} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, _, err := Read(badDir, name, Limits{})
		runtime.ReadMemStats(&after)
		require.Error(t, err)
		assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(4<<20), name)
	}
}

func TestFilesThatCannotBeRead(t *testing.T) {
	dir := t.TempDir()
	j, err := os.ReadFile(filepath.Join(goodDir, "plain.jpg"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "a.jpg"), j, 0o644))
	require.NoError(t, os.Symlink("a.jpg", filepath.Join(dir, "link.jpg")))
	require.NoError(t, os.Mkdir(filepath.Join(dir, "real"), 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "real", "b.jpg"), j, 0o644))
	require.NoError(t, os.Symlink("real", filepath.Join(dir, "linked")))
	require.NoError(t, os.Mkdir(filepath.Join(dir, "folder.jpg"), 0o755))
	require.NoError(t, syscall.Mkfifo(filepath.Join(dir, "pipe.jpg"), 0o644))
	for _, c := range []struct {
		rel    string
		kind   Kind
		reason Reason
	}{
		{"link.jpg", Rejected, Link},
		{"linked/b.jpg", Rejected, Link},
		{"folder.jpg", Rejected, NotRegular},
		{"pipe.jpg", Rejected, NotRegular},
		{"gone.jpg", Unread, Gone},
		{"../a.jpg", Rejected, NotRegular},
		{"/etc/hostname", Rejected, NotRegular},
		{"a.jpg/x.jpg", Unread, Disk},
	} {
		_, f, err := Read(dir, c.rel, Limits{})
		var r *Error
		require.ErrorAs(t, err, &r, c.rel)
		assert.Equal(t, c.reason, r.Reason, c.rel)
		assert.Equal(t, c.kind, r.Kind, c.rel)
		assert.NotContains(t, err.Error(), dir, "no absolute path in a message")
		assert.Empty(t, f.SHA256)
	}
	_, _, err = Read(dir, "a.jpg", Limits{})
	assert.NoError(t, err, "the others are read")
}

// TestPermission reads as another user: root may read everything.
func TestPermission(t *testing.T) {
	dir, err := os.MkdirTemp("", "intake") // not t.TempDir: others may not enter the folder above that
	require.NoError(t, err)
	defer os.RemoveAll(dir)
	require.NoError(t, os.Chmod(dir, 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "closed.jpg"), []byte("x"), 0o000))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "closed"), []byte("x"), 0o000))
	require.NoError(t, os.Mkdir(filepath.Join(dir, "shut"), 0o000))
	if os.Getuid() == 0 {
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		if err := syscall.Setfsuid(65534); err != nil {
			t.Skip("can't act as another user: ", err)
		}
		defer syscall.Setfsuid(0) //nolint:errcheck // back to what it was
		if _, err := os.ReadFile(filepath.Join(dir, "closed.jpg")); !errors.Is(err, fs.ErrPermission) {
			t.Skip("can't act as another user here")
		}
	}
	_, _, err = Read(dir, "closed.jpg", Limits{})
	var r *Error
	require.ErrorAs(t, err, &r)
	assert.Equal(t, NoPermission, r.Reason)
	assert.Equal(t, Unread, r.Kind)

	found, err := Find(dir, []string{"."})
	require.NoError(t, err)
	got := map[string]bool{}
	for _, f := range found {
		var r *Error
		got[f.Path] = errors.As(f.Err, &r) && r.Reason == NoPermission
	}
	assert.Equal(t, map[string]bool{"closed.jpg": false, "closed": true, "shut": true}, got)
}

// TestUnreadWords tells the file system's failures apart.
func TestUnreadWords(t *testing.T) {
	for _, c := range []struct {
		err    error
		reason Reason
		says   string
	}{
		{&fs.PathError{Op: "open", Path: "/secret/a.jpg", Err: syscall.EACCES}, NoPermission, "right to read"},
		{&fs.PathError{Op: "read", Path: "/secret/a.jpg", Err: syscall.EIO}, Disk, "input/output error"},
		{&fs.PathError{Op: "open", Path: "/secret/a.jpg", Err: syscall.ELOOP}, Link, "never followed"},
		{&fs.PathError{Op: "open", Path: "/secret/a.jpg", Err: syscall.ENOENT}, Gone, "network share"},
	} {
		e := unread(c.err)
		assert.Equal(t, c.reason, e.Reason)
		assert.Contains(t, e.Error(), c.says)
		assert.NotContains(t, e.Error(), "secret")
	}
}

// TestEveryReasonHasWords tells that the table of wordings is whole.
func TestEveryReasonHasWords(t *testing.T) {
	for _, r := range []Reason{Empty, NotPicture, NotRead, RawFile, Animated, CutShort, Damaged, TooManyBytes, TooManyMpx, TooLong,
		TooDeep, Profile, NotRGB, NoColours, NoDecoder, Link, NotRegular, BadName, NoPermission, Gone, Disk} {
		assert.NotEmpty(t, wordings[r].todo, string(r))
		assert.NotZero(t, wordings[r].kind, string(r))
	}
	assert.Len(t, wordings, 21)
}

// TestCutAnywhere cuts files at many places: none may pass for a whole one, however close to its end.
func TestCutAnywhere(t *testing.T) {
	for _, name := range []string{"progressive.jpg", "lossy.webp", "grey16.tif", "rgb16.png", "phone.heic", "turn-6.png", "p3.tif", "lossless.webp", "p3.jpg"} {
		if _, err := heif.Version(); err != nil && strings.HasSuffix(name, ".heic") {
			continue
		}
		b, err := os.ReadFile(filepath.Join(goodDir, name))
		require.NoError(t, err)
		whole, _, err := takeBytes(b, name, Limits{}.withDefaults(), true, &Facts{Orientation: 1})
		require.NoError(t, err)
		step := max(1, len(b)/150)
		for n := 1; n < len(b); n += step {
			p, f, err := takeBytes(b[:n:n], name, Limits{}.withDefaults(), true, &Facts{Orientation: 1})
			if err == nil {
				// What is missing must then have been no pixel: an end mark, metadata behind the pixels.
				assert.True(t, bytes.Equal(whole.Pix, p.Pix) && len(whole.Pix16) == len(p.Pix16), "%s cut at %d of %d passed, notes %v", name, n, len(b), f.Notes)
			}
		}
	}
}

// TestProfileInPieces: a profile spread over two segments is joined; with a piece missing the colours are not guessed.
func TestProfileInPieces(t *testing.T) {
	b, err := os.ReadFile(filepath.Join(goodDir, "p3.jpg"))
	require.NoError(t, err)
	icc, err := os.ReadFile(filepath.Join(goodDir, "p3.icc"))
	require.NoError(t, err)
	rest := b[2+2+2+14+len(icc):] // behind the start mark and the one segment
	piece := func(n byte, p []byte) []byte {
		size := 2 + 14 + len(p)
		return append(append([]byte{0xff, 0xe2, byte(size >> 8), byte(size)}, "ICC_PROFILE\x00"...), append([]byte{n, 2}, p...)...)
	}
	build := func(pieces ...[]byte) []byte {
		return append(append([]byte{0xff, 0xd8}, bytes.Join(pieces, nil)...), rest...)
	}
	first, second := piece(1, icc[:200]), piece(2, icc[200:])
	for name, whole := range map[string][]byte{"in order": build(first, second), "out of order": build(second, first)} {
		p, _, err := takeBytes(whole, "a.jpg", Limits{}.withDefaults(), true, &Facts{Orientation: 1})
		require.NoError(t, err, name)
		assert.Equal(t, "Display P3", p.Colour, name)
	}
	_, _, err = takeBytes(build(first), "a.jpg", Limits{}.withDefaults(), true, &Facts{Orientation: 1})
	var r *Error
	require.ErrorAs(t, err, &r)
	assert.Equal(t, Damaged, r.Reason)
	assert.Contains(t, err.Error(), "ICC")
}
