"use strict";
// A photograph fits its box: a touch is told in its own px, and what lies under the finger is shown
// large beside it. Without this script the photograph stands in its own size.
const LENS = 132, LARGER = 5, ABOVE = 92, AROUND = 3;
let lens = null, source = null;

// What is shown of a photograph, and how many of its px a px of the screen is.
function spotOf(photo, event) {
  const box = photo.getBoundingClientRect(), wide = Number(photo.getAttribute("width"));
  const scale = wide / box.width, inside = (value, most) => Math.min(Math.max(value, 0), most - 1);
  return {
    x: Math.round(inside((event.clientX - box.left) * scale, wide)),
    y: Math.round(inside((event.clientY - box.top) * scale, Number(photo.getAttribute("height")))),
  };
}

function lensFor(photo) {
  if (!lens) {
    lens = document.createElement("canvas");
    lens.className = "lens";
    lens.width = lens.height = LENS;
    lens.setAttribute("aria-hidden", "true");
    document.body.append(lens);
  }
  if (source?.dataset.of !== photo.src) {
    source = new Image();
    source.dataset.of = photo.src;
    source.src = photo.src;
  }
}

function magnify(photo, event) {
  lensFor(photo);
  if (!source.complete || !source.naturalWidth) return;
  const { x, y } = spotOf(photo, event), draw = lens.getContext("2d"), half = LENS / 2 / LARGER;
  draw.imageSmoothingEnabled = false;
  draw.fillStyle = "#777";
  draw.fillRect(0, 0, LENS, LENS);
  draw.drawImage(source, x - half, y - half, 2 * half, 2 * half, 0, 0, LENS, LENS);
  // The colour there, flat: the mean of what the finger points at.
  const side = 2 * AROUND * LARGER, seen = draw.getImageData((LENS - side) / 2, (LENS - side) / 2, side, side).data;
  const sum = [0, 0, 0];
  for (let i = 0; i < seen.length; i++) if (i % 4 < 3) sum[i % 4] += seen[i];
  draw.fillStyle = `rgb(${sum.map((each) => Math.round(4 * each / seen.length)).join(" ")})`;
  draw.fillRect(0, LENS - 34, LENS, 34);
  for (const [width, colour] of [[4, "#fff"], [1.5, "#000"]]) {
    draw.lineWidth = width;
    draw.strokeStyle = colour;
    draw.strokeRect((LENS - side) / 2, (LENS - side) / 2, side, side);
  }
  const left = Math.min(Math.max(event.clientX - LENS / 2, 4), innerWidth - LENS - 4);
  const top = event.clientY - LENS - 24 > 4 ? event.clientY - LENS - 24 : event.clientY + ABOVE / 2;
  lens.style.left = `${left}px`;
  lens.style.top = `${top}px`;
  lens.hidden = false;
}

const photoOf = (event) => event.target.closest?.("input[type=image][name=spot]");
const putAway = () => { if (lens) lens.hidden = true; };

for (const kind of ["pointerdown", "pointermove"]) {
  document.addEventListener(kind, (event) => {
    const photo = photoOf(event);
    if (!photo) { putAway(); return; }
    if (kind === "pointerdown") photo.setPointerCapture(event.pointerId);
    magnify(photo, event);
  });
}
document.addEventListener("pointercancel", putAway);
document.addEventListener("pointerup", (event) => {
  const photo = photoOf(event);
  putAway();
  if (!photo || event.button > 0) return;
  const form = photo.form;
  for (const [axis, value] of Object.entries(spotOf(photo, event))) {
    const field = document.createElement("input");
    Object.assign(field, { type: "hidden", name: `spot.${axis}`, value });
    form.append(field);
  }
  form.requestSubmit();
});
// A touch was told already when the finger left; the keyboard's press has no place of its own.
document.addEventListener("click", (event) => { if (photoOf(event)) event.preventDefault(); });
