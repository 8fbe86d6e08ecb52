"use strict";
// The before/after comparison: a range input moves the edge (mouse, touch and keyboard come with it), the picture itself
// can be dragged, and two lists pick the visits.
for (const c of document.querySelectorAll("[data-compare]")) {
  const slide = c.querySelector(".slide"), range = c.querySelector("input[type=range]"), lists = [...c.querySelectorAll("select")];
  const pictures = new Map();
  for (const i of c.querySelector("template").content.querySelectorAll("img")) pictures.set(i.dataset.at, {src: i.src, alt: i.alt});
  for (const s of lists) {
    const i = slide.querySelector("." + s.dataset.side + " img");
    pictures.set(s.value, {src: i.src, alt: i.alt});
  }
  const set = () => slide.style.setProperty("--at", range.value + "%");
  const drag = e => {
    const r = slide.getBoundingClientRect();
    range.value = Math.min(100, Math.max(0, 100 * (e.clientX - r.left) / r.width));
    set();
  };
  range.addEventListener("input", set);
  slide.addEventListener("pointerdown", e => { slide.setPointerCapture(e.pointerId); drag(e); if (e.pointerType === "mouse") e.preventDefault(); });
  slide.addEventListener("pointermove", e => { if (slide.hasPointerCapture(e.pointerId)) drag(e); });
  for (const s of lists) s.addEventListener("change", () => {
    const f = slide.querySelector("." + s.dataset.side), p = pictures.get(s.value);
    f.querySelector("img").src = p.src;
    f.querySelector("img").alt = p.alt;
    f.querySelector("figcaption").textContent = s.selectedOptions[0].textContent;
  });
  set();
}
// Folded parts print unfolded, but for long lists that are files of their own.
const folded = () => document.querySelectorAll("details:not([open]):not([data-folded])");
addEventListener("beforeprint", () => { for (const d of folded()) { d.open = true; d.dataset.was = ""; } });
addEventListener("afterprint", () => { for (const d of document.querySelectorAll("details[data-was]")) { d.open = false; delete d.dataset.was; } });
