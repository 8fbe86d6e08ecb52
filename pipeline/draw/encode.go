package draw

import (
	"bytes"
	"fmt"
	"image"
	"image/jpeg"
)

// EncodeJPEG returns a picture as JPEG without any metadata; quality is 1 to 100. The same picture gives the same bytes.
func EncodeJPEG(img image.Image, quality int) ([]byte, error) {
	if quality < 1 || quality > 100 {
		return nil, fmt.Errorf("JPEG quality %d: 1 to 100 is needed", quality)
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: quality}); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}
