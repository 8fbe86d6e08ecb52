package survey

import (
	"bufio"
	"fmt"
	"image"
	_ "image/jpeg" // formats whose header tells a reference photo's size
	_ "image/png"
	"io"
	"os"

	"github.com/bep/imagemeta"
	_ "golang.org/x/image/tiff" // as above
	_ "golang.org/x/image/webp" // as above
)

// UprightSize reads a photo's size in px from its header, turned as its EXIF orientation says. Formats whose header it
// does not know are an error.
func UprightSize(name string) (w, h int, err error) {
	f, err := os.Open(name)
	if err != nil {
		return 0, 0, err
	}
	defer f.Close()
	return uprightSize(f)
}

func uprightSize(f io.ReadSeeker) (w, h int, err error) {
	defer func() {
		if r := recover(); r != nil { // a damaged header is the photo's fault, told when the photo is read
			w, h, err = 0, 0, fmt.Errorf("header: %v", r)
		}
	}()
	c, format, err := image.DecodeConfig(bufio.NewReader(f))
	if err != nil {
		return 0, 0, err
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return 0, 0, err
	}
	o, err := orientation(f, format)
	if err != nil {
		return 0, 0, err
	}
	if o >= 5 && o <= 8 { // EXIF 2.3, tag 274: 5 to 8 exchange rows and columns
		return c.Height, c.Width, nil
	}
	return c.Width, c.Height, nil
}

// orientation returns the EXIF orientation, 1 when there is none.
func orientation(f io.ReadSeeker, format string) (o int, err error) {
	kind, ok := map[string]imagemeta.ImageFormat{"jpeg": imagemeta.JPEG, "png": imagemeta.PNG, "tiff": imagemeta.TIFF,
		"webp": imagemeta.WebP}[format]
	if !ok {
		return 1, nil
	}
	o = 1
	_, err = imagemeta.Decode(imagemeta.Options{
		R: f, ImageFormat: kind, Sources: imagemeta.EXIF,
		ShouldHandleTag: func(t imagemeta.TagInfo) bool { return t.Tag == "Orientation" && t.Namespace == "IFD0" },
		HandleTag: func(t imagemeta.TagInfo) error {
			if v, ok := t.Value.(uint16); ok {
				o = int(v)
			}
			return nil
		},
	})
	return o, err
}
