package demo

import (
	"os"
	"testing"
)

func TestScratch(t *testing.T) {
	if d := os.Getenv("DEMO_OUT"); d != "" {
		if err := Write(d); err != nil {
			t.Fatal(err)
		}
	}
}
