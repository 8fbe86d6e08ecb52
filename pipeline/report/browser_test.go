package report

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// browser starts a headless Chromium, or skips the test where there is none. TILELAPSE_LOOK names a folder that the
// pages and what they look like are written into.
func browser(t *testing.T) context.Context {
	t.Helper()
	path := ""
	for _, n := range []string{"chromium", "chromium-browser", "google-chrome", "google-chrome-stable"} {
		if p, err := exec.LookPath(n); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		t.Skip("no chromium is installed (apt-get install chromium): the page is not driven")
	}
	alloc, stop := chromedp.NewExecAllocator(context.Background(), chromedp.ExecPath(path), chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.NoFirstRun, chromedp.Flag("disable-background-networking", true), chromedp.Flag("hide-scrollbars", true), chromedp.WSURLReadTimeout(2*time.Minute))
	t.Cleanup(stop)
	ctx, end := chromedp.NewContext(alloc)
	t.Cleanup(end)
	do(t, ctx, chromedp.EmulateViewport(1280, 900))        // starts it: its life must not hang on the time limit
	ctx, cancel := context.WithTimeout(ctx, 5*time.Minute) // a machine under load; nothing waits for it
	t.Cleanup(cancel)
	return ctx
}

func do(t *testing.T, ctx context.Context, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, steps...))
}

func run[T any](t *testing.T, ctx context.Context, a chromedp.Action[T]) T {
	t.Helper()
	v, err := chromedp.Run(ctx, a)
	require.NoError(t, err)
	return v
}

// js evaluates an expression in the open page.
func js[T any](t *testing.T, ctx context.Context, code string) T {
	t.Helper()
	return run(t, ctx, chromedp.Evaluate[T](code))
}

// call sends one command of the browser's protocol.
func call[P, R any](t *testing.T, ctx context.Context, cmd cdp.Command[P, R], p P) {
	t.Helper()
	_, err := chromedp.Call(ctx, cmd, p)
	require.NoError(t, err)
}

func scheme(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	call(t, ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: name}}})
}

// heard is what a page said and asked for.
type heard struct {
	mu       sync.Mutex
	opened   bool
	errors   []string
	requests []string
}

func listen(t *testing.T, ctx context.Context, file string) *heard {
	t.Helper()
	h := &heard{}
	require.NoError(t, chromedp.Listen(ctx, func(ev any) {
		h.mu.Lock()
		defer h.mu.Unlock()
		switch e := ev.(type) {
		case *runtime.EventConsoleAPICalled:
			h.errors = append(h.errors, fmt.Sprint(e.Type, " ", e.Args))
		case *runtime.EventExceptionThrown:
			h.errors = append(h.errors, e.ExceptionDetails.Text)
		case *log.EventEntryAdded:
			h.errors = append(h.errors, e.Entry.Text)
		case *network.EventRequestWillBeSent:
			if u := e.Request.URL; u == file {
				h.opened = true
			} else if !strings.HasPrefix(u, "data:") {
				h.requests = append(h.requests, u)
			}
		}
	}))
	call(t, ctx, network.Enable, network.EnableParams{})
	return h
}

// quiet checks that a page said nothing and asked for nothing.
func (h *heard) quiet(t *testing.T) {
	t.Helper()
	h.mu.Lock()
	defer h.mu.Unlock()
	assert.True(t, h.opened, "requests were not listened to")
	assert.Empty(t, h.errors, "console")
	assert.Empty(t, h.requests, "network")
}

// pageFile writes a page where the browser can open it.
func pageFile(t *testing.T, name string, make func(Input) ([]byte, error), in Input) string {
	t.Helper()
	b, err := make(in)
	require.NoError(t, err)
	dir := os.Getenv("TILELAPSE_LOOK")
	if dir == "" {
		dir = t.TempDir()
	}
	file := filepath.Join(dir, name)
	require.NoError(t, os.WriteFile(file, b, 0o644))
	abs, err := filepath.Abs(file)
	require.NoError(t, err)
	return "file://" + abs
}

// look keeps what a page looks like when TILELAPSE_LOOK asks for it.
func look(t *testing.T, ctx context.Context, name string, w int64, colours string) {
	t.Helper()
	dir := os.Getenv("TILELAPSE_LOOK")
	if dir == "" {
		return
	}
	scheme(t, ctx, colours)
	do(t, ctx, chromedp.EmulateViewport(w, 900))
	require.NoError(t, os.WriteFile(filepath.Join(dir, name), run(t, ctx, chromedp.FullScreenshot(100)), 0o644))
}

// axe runs the accessibility rules of axe-core over the open page and returns what they object to.
func axe(t *testing.T, ctx context.Context) []string {
	t.Helper()
	src, err := os.ReadFile("../../testdata/axe/axe.min.js")
	require.NoError(t, err)
	js[chromedp.Void](t, ctx, string(src)+";0")
	out := run(t, ctx, chromedp.Evaluate[string](`axe.run(document,{resultTypes:["violations"]}).then(r=>JSON.stringify({ran:r.passes.length,found:r.violations.map(v=>v.id+": "+v.help+" at "+v.nodes.slice(0,3).map(n=>n.target.join(" ")+" "+n.failureSummary).join(" | "))}))`, chromedp.EvalAwaitPromise))
	var r struct {
		Ran   int
		Found []string
	}
	require.NoError(t, json.Unmarshal([]byte(out), &r))
	require.Greater(t, r.Ran, 20, "the rules were not run")
	return r.Found
}

const edgeAt = `parseFloat(getComputedStyle(document.querySelector(".slide")).getPropertyValue("--at"))`

func TestReportInABrowser(t *testing.T) {
	ctx := browser(t)
	file := pageFile(t, "report.html", Report, large(t))
	h := listen(t, ctx, file)
	do(t, ctx, chromedp.Navigate(file), chromedp.WaitReady("footer"))
	edge := func() float64 { return js[float64](t, ctx, edgeAt) }
	assert.Equal(t, 50.0, edge())
	box := js[[]float64](t, ctx, `document.documentElement.style.scrollBehavior="auto";document.querySelector(".slide").scrollIntoView({block:"center"});(r=>[r.left,r.top,r.width,r.height])(document.querySelector(".slide").getBoundingClientRect())`)
	require.Greater(t, box[2], 300.0)
	x, y := func(share float64) float64 { return box[0] + box[2]*share }, box[1]+box[3]/2

	t.Run("mouse on the picture", func(t *testing.T) {
		do(t, ctx, chromedp.MouseEvent(chromedp.MousePressed, x(0.5), y, chromedp.ButtonLeft), chromedp.MouseEvent(chromedp.MouseMoved, x(0.2), y, chromedp.ButtonLeft), chromedp.MouseEvent(chromedp.MouseReleased, x(0.2), y, chromedp.ButtonLeft))
		assert.InDelta(t, 20, edge(), 1.5)
		do(t, ctx, chromedp.MouseEvent(chromedp.MouseMoved, x(0.9), y))
		assert.InDelta(t, 20, edge(), 1.5, "the edge stays when the button is up")
	})
	t.Run("mouse on the slider", func(t *testing.T) {
		b := js[[]float64](t, ctx, `(r=>[r.left,r.top,r.width,r.height])(document.querySelector("input[type=range]").getBoundingClientRect())`)
		do(t, ctx, chromedp.MouseClickXY(b[0]+b[2]*0.8, b[1]+b[3]/2))
		assert.InDelta(t, 80, edge(), 4)
	})
	t.Run("keyboard", func(t *testing.T) {
		do(t, ctx, chromedp.Focus("input[type=range]"), chromedp.KeyEvent(kb.End))
		assert.Equal(t, 100.0, edge())
		do(t, ctx, chromedp.KeyEvent(kb.ArrowLeft), chromedp.KeyEvent(kb.ArrowLeft))
		assert.Equal(t, 98.0, edge())
	})
	t.Run("touch", func(t *testing.T) {
		call(t, ctx, emulation.SetTouchEmulationEnabled, emulation.SetTouchEmulationEnabledParams{Enabled: true})
		js[chromedp.Void](t, ctx, `document.querySelector(".slide").scrollIntoView({block:"center"})`)
		finger := func(kind input.DispatchTouchEventType, at ...float64) {
			ps := []*input.TouchPoint{}
			for _, a := range at {
				ps = append(ps, &input.TouchPoint{X: x(a), Y: y})
			}
			call(t, ctx, input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: kind, TouchPoints: ps})
		}
		finger(input.DispatchTouchEventTypeTouchStart, 0.5)
		finger(input.DispatchTouchEventTypeTouchMove, 0.6)
		finger(input.DispatchTouchEventTypeTouchMove, 0.7)
		finger(input.DispatchTouchEventTypeTouchEnd)
		assert.InDelta(t, 70, edge(), 2)
		call(t, ctx, emulation.SetTouchEmulationEnabled, emulation.SetTouchEmulationEnabledParams{})
	})
	t.Run("another visit", func(t *testing.T) {
		src := `(s=>s.length+s.slice(-400))(document.querySelector(".slide .before img").src)`
		before := js[string](t, ctx, src)
		js[chromedp.Void](t, ctx, `(s=>{s.value="3";s.dispatchEvent(new Event("change"))})(document.querySelector("select[data-side=before]"))`)
		assert.NotEqual(t, before, js[string](t, ctx, src))
		label := js[string](t, ctx, `document.querySelector(".slide .before figcaption").textContent+"|"+document.querySelector(".slide .before img").alt`)
		assert.Equal(t, "2020-05-09|View view-1 on 2020-05-09, aligned to the reference photo", label)
	})
	t.Run("a hostile title stays text", func(t *testing.T) {
		assert.Zero(t, js[int](t, ctx, `document.querySelectorAll("img[onerror],img[src=x]").length`))
		assert.Contains(t, js[string](t, ctx, `[...document.querySelectorAll("h3")].map(h=>h.textContent).join("\n")`), hostile)
	})
	t.Run("a phone does not scroll sideways", func(t *testing.T) {
		do(t, ctx, chromedp.EmulateViewport(390, 844))
		assert.LessOrEqual(t, js[int](t, ctx, `document.documentElement.scrollWidth-innerWidth`), 0)
		assert.LessOrEqual(t, js[float64](t, ctx, `Math.max(...[...document.querySelectorAll(".why")].map(w=>w.getBoundingClientRect().width))`), 390.0, "reasons are read without moving the table")
		do(t, ctx, chromedp.EmulateViewport(1280, 900))
	})
	t.Run("the summary is on the first screen", func(t *testing.T) {
		js[chromedp.Void](t, ctx, `scrollTo(0,0)`)
		assert.Less(t, js[float64](t, ctx, `document.querySelector(".lead").getBoundingClientRect().bottom`), 900.0)
	})
	for _, colours := range []string{"light", "dark"} {
		t.Run("accessibility, "+colours, func(t *testing.T) {
			scheme(t, ctx, colours)
			js[chromedp.Void](t, ctx, `document.querySelectorAll("details").forEach(d=>d.open=true)`)
			assert.Empty(t, axe(t, ctx))
		})
	}
	t.Run("on paper each picture bears its own date", func(t *testing.T) {
		call(t, ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
		at := js[[]float64](t, ctx, `[".before",".after"].flatMap(s=>{const f=document.querySelector(".slide "+s),p=f.querySelector("img").getBoundingClientRect(),c=f.querySelector("figcaption").getBoundingClientRect();return [p.left,p.right,p.top,p.bottom,c.left,c.right,c.top,c.bottom]})`)
		require.Len(t, at, 16)
		for i, name := range []string{"before", "after"} {
			p, c := at[8*i:8*i+4], at[8*i+4:8*i+8]
			assert.True(t, p[0] <= c[0] && c[1] <= p[1] && p[2] <= c[2] && c[3] <= p[3], "%s: date at %v, picture at %v", name, c, p)
		}
		assert.LessOrEqual(t, at[1], at[8], "side by side")
		wraps := js[int](t, ctx, `[...document.querySelectorAll(".sws")].filter(c=>c.children[0].getBoundingClientRect().top!=c.children[1].getBoundingClientRect().top).length`)
		assert.Zero(t, wraps, "baseline and latest swatch stand beside each other")
		call(t, ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{})
	})
	t.Run("print", func(t *testing.T) {
		js[chromedp.Void](t, ctx, `document.querySelectorAll("details").forEach(d=>d.open=false)`)
		for name, size := range map[string]chromedp.PaperSize{"a4": chromedp.PaperA4, "letter": chromedp.PaperLetter} {
			pdf := run(t, ctx, chromedp.PrintToPDF(chromedp.PDFPaper(size)))
			assert.True(t, strings.HasPrefix(string(pdf), "%PDF-"), name)
			assert.Greater(t, pages(pdf), 4, name)
			if dir := os.Getenv("TILELAPSE_LOOK"); dir != "" {
				require.NoError(t, os.WriteFile(filepath.Join(dir, "report-"+name+".pdf"), pdf, 0o644))
			}
		}
	})
	h.quiet(t)
	look(t, ctx, "light.png", 1280, "light")
	look(t, ctx, "dark.png", 1280, "dark")
	look(t, ctx, "phone.png", 390, "light")
}

// pages counts the pages of a PDF file as Chromium writes it.
func pages(pdf []byte) int { return len(regexp.MustCompile(`/Type\s*/Page\b[^s]`).FindAll(pdf, -1)) }

func TestWorksheetInABrowser(t *testing.T) {
	ctx := browser(t)
	file := pageFile(t, "worksheet.html", Worksheet, large(t))
	h := listen(t, ctx, file)
	do(t, ctx, chromedp.Navigate(file), chromedp.WaitReady("footer"))
	assert.Empty(t, axe(t, ctx))
	look(t, ctx, "worksheet.png", 1000, "light")
	for name, size := range map[string]chromedp.PaperSize{"a4": chromedp.PaperA4, "letter": chromedp.PaperLetter} {
		pdf := run(t, ctx, chromedp.PrintToPDF(chromedp.PDFPaper(size)))
		assert.Equal(t, 3, pages(pdf), "%s: a page a trade", name)
		if dir := os.Getenv("TILELAPSE_LOOK"); dir != "" {
			require.NoError(t, os.WriteFile(filepath.Join(dir, "worksheet-"+name+".pdf"), pdf, 0o644))
		}
	}
	h.quiet(t)
}
