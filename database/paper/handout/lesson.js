"use strict";
// The sliders of the handout. Without it the page is a sheet to read.
const PARTS = [0, 0.05, 0.1, 0.15, 0.2, 0.25, 0.33, 0.5, 0.67, 0.75, 1, 1.25, 1.5, 2, 2.5, 3, 4, 5,
  6, 8, 10, 12, 15, 20];

const said = (part) => ({ 0.25: "¼", 0.33: "⅓", 0.5: "½", 0.67: "⅔", 0.75: "¾", 1.25: "1 ¼",
  1.5: "1 ½", 2.5: "2 ½" }[part] || String(part));

const sliders = [...document.querySelectorAll("#sliders input")];
const aims = [...document.querySelectorAll("input[name=aim]")];
const byId = (id) => document.getElementById(id);

function show() {
  const parts = sliders.map((slider) => PARTS[slider.value]);
  sliders.forEach((slider, i) => {
    slider.setAttribute("aria-valuetext", `${said(parts[i])} parts`);
    slider.nextElementSibling.textContent = said(parts[i]);
  });
  const aim = aims.find((one) => one.checked);
  byId("wanted").style.background = aim.dataset.shown;
  byId("wanted").hidden = aim.dataset.lab === "";
  if (parts.every((part) => part === 0)) {
    byId("mixed").style.background = "transparent";
    byId("verdict").textContent = "Nothing mixed yet.";
    return;
  }
  const made = mix(parts);
  byId("mixed").style.background = `rgb(${made.rgb.join(" ")})`;
  let words = "";
  if (aim.dataset.lab !== "") {
    const off = difference(made.lab, JSON.parse(aim.dataset.lab));
    words = `From what is wanted: ${inWords(off)} (${off.toFixed(1)}). `;
  }
  byId("verdict").textContent = `${words}Sure to within ${made.band.toFixed(1)}.`;
}

function serve() {
  const people = Math.max(1, Math.min(200, Math.round(byId("people").value) || 1));
  for (const cell of document.querySelectorAll("[data-each]")) {
    cell.textContent = (people * cell.dataset.each).toFixed(cell.dataset.digits);
  }
}

for (const one of document.querySelectorAll(".scripted")) one.hidden = false;
for (const slider of sliders) { slider.max = PARTS.length - 1; slider.addEventListener("input", show); }
for (const aim of aims) aim.addEventListener("change", show);
byId("empty").addEventListener("click", () => { for (const s of sliders) s.value = 0; show(); });
byId("people").addEventListener("input", serve);
// On paper nothing can be tapped.
addEventListener("beforeprint", () => {
  for (const answer of document.querySelectorAll("details")) answer.open = true;
});
show();
serve();
