"use strict";
// The before/after comparison: a range input moves the edge (mouse, touch, keyboard come with it); two lists pick visits.
for (const c of document.querySelectorAll("[data-compare]")) {
  const slide = c.querySelector(".slide"), range = c.querySelector("input[type=range]");
  const set = () => slide.style.setProperty("--at", range.value + "%");
  range.addEventListener("input", set);
  const drag = e => {
    const r = slide.getBoundingClientRect();
    range.value = Math.min(100, Math.max(0, 100 * (e.clientX - r.left) / r.width));
    set();
  };
  slide.addEventListener("pointerdown", e => { slide.setPointerCapture(e.pointerId); drag(e); e.preventDefault(); });
  slide.addEventListener("pointermove", e => { if (slide.hasPointerCapture(e.pointerId)) drag(e); });
  for (const s of c.querySelectorAll("select")) {
    s.addEventListener("change", () => {
      const from = c.querySelector("template").content.querySelectorAll("img")[s.selectedIndex];
      const to = slide.querySelector(s.dataset.side + " img");
      to.src = from.src; to.alt = from.alt;
    });
  }
  set();
}
// Folded parts print unfolded.
addEventListener("beforeprint", () => { for (const d of document.querySelectorAll("details")) d.open = true; });
