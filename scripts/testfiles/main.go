// Command testfiles makes the files of testdata/intake (photos that must be taken in) and testdata/damaged (files that
// must be refused, each for its own reason). Run it from the project's root:
//
//	go run ./scripts/testfiles
//
// It needs convert (ImageMagick 6), tiffcp, cjpeg, cwebp and heif-enc for the files that Go can't write; without one of them
// the files concerned are left as they are, and it says which. All pictures are invented patterns of a few pixels.
package main

import (
	"fmt"
	"image"
	"image/color"
	"log"
	"os"
	"os/exec"
	"path/filepath"
)

const (
	good = "testdata/intake"
	bad  = "testdata/damaged"
)

// Size of the pattern: 3 x 2 blocks of 16 px, all different, so that every turn and flip shows.
const (
	blockPx = 16
	wide    = 3 * blockPx
	high    = 2 * blockPx
)

// blocks are the colours of the pattern, row by row. tests know them too.
var blocks = [2][3]color.NRGBA{
	{{200, 40, 40, 255}, {40, 160, 60, 255}, {50, 70, 190, 255}},
	{{220, 200, 60, 255}, {128, 128, 128, 255}, {235, 230, 220, 255}},
}

func main() {
	log.SetFlags(0)
	for _, d := range []string{good, bad} {
		must(os.MkdirAll(d, 0o755))
	}
	turns()
	captures()
	profiles()
	pngs()
	tiffs()
	refusedJPEGs()
	refusedOthers()
	withTools()
}

func must(err error) {
	if err != nil {
		log.Fatal(err)
	}
}

func write(dir, name string, b []byte) {
	must(os.WriteFile(filepath.Join(dir, name), b, 0o644))
}

func read(dir, name string) []byte {
	b, err := os.ReadFile(filepath.Join(dir, name))
	must(err)
	return b
}

// pattern draws the blocks.
func pattern() *image.NRGBA {
	m := image.NewNRGBA(image.Rect(0, 0, wide, high))
	for y := range high {
		for x := range wide {
			m.SetNRGBA(x, y, blocks[y/blockPx][x/blockPx])
		}
	}
	return m
}

// shaded draws a pattern with detail everywhere, so that damage to its data shows: slopes, waves and a fixed noise.
func shaded(w, h int) *image.NRGBA {
	m := image.NewNRGBA(image.Rect(0, 0, w, h))
	seed := uint32(1)
	for y := range h {
		for x := range w {
			seed = seed*1664525 + 1013904223
			n := int(seed>>24) % 48
			m.SetNRGBA(x, y, color.NRGBA{uint8(40 + x*150/w + n), uint8(60 + y*120/h + n/2), uint8(90 + (x*y)%64 + n), 255})
		}
	}
	return m
}

// tool runs a program, and reports whether it is there.
func tool(name string, args ...string) bool {
	if _, err := exec.LookPath(name); err != nil {
		fmt.Printf("%s is not installed: left out %s\n", name, args[len(args)-1])
		return false
	}
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		log.Fatalf("%s %v: %v\n%s", name, args, err, out)
	}
	return true
}
