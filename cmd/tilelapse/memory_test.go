package main

import (
	"bytes"
	"image"
	"image/jpeg"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/image/draw"
)

// largestPeak is what a run may have in memory at the most with two jobs, bytes, whatever photos it is given.
const largestPeak = 1_500_000_000

// Two photos of 100 megapixels come at once; together with a third of 12 they stay within the memory of a small machine.
func TestPeakOfMemoryWithVeryLargePhotos(t *testing.T) {
	if testing.Short() {
		t.Skip("draws and measures photos of 100 megapixels")
	}
	dir := filepath.Join(t.TempDir(), "demo")
	copyTree(t, demoDir, dir)
	var shots []string
	require.NoError(t, filepath.Walk(filepath.Join(dir, "photos"), func(p string, i os.FileInfo, err error) error {
		if err == nil && filepath.Ext(p) == ".jpg" {
			shots = append(shots, p)
		}
		return err
	}))
	require.GreaterOrEqual(t, len(shots), 3)
	os.Remove(filepath.Join(dir, "archive.csv"))
	for i, p := range shots {
		if i > 2 {
			require.NoError(t, os.Remove(p))
			continue
		}
		enlarge(t, p, map[bool]float64{true: 12e6, false: 100e6}[i == 2])
	}
	var stderr bytes.Buffer
	c := exec.Command(binary, "run", dir, "--quiet", "--jobs", "2")
	c.Stderr = &stderr
	require.NoError(t, c.Run(), stderr.String())
	peak := c.ProcessState.SysUsage().(*syscall.Rusage).Maxrss * 1024 // Linux tells kibibytes
	t.Logf("peak %d MB", peak/1e6)
	assert.Less(t, peak, int64(largestPeak))
}

// enlarge draws a picture anew with about so many px.
func enlarge(t *testing.T, name string, px float64) {
	t.Helper()
	b, err := os.ReadFile(name)
	require.NoError(t, err)
	small, err := jpeg.Decode(bytes.NewReader(b))
	require.NoError(t, err)
	k := math.Sqrt(px / float64(small.Bounds().Dx()*small.Bounds().Dy()))
	w, h := int(k*float64(small.Bounds().Dx())), int(k*float64(small.Bounds().Dy()))
	big := image.NewRGBA(image.Rect(0, 0, w, h))
	draw.ApproxBiLinear.Scale(big, big.Rect, small, small.Bounds(), draw.Src, nil)
	f, err := os.Create(name)
	require.NoError(t, err)
	require.NoError(t, jpeg.Encode(f, big, &jpeg.Options{Quality: 85}))
	require.NoError(t, f.Close())
}
