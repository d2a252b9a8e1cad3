"use strict";
// The page works without this script; with it nothing typed is lost where something goes wrong.
const root = document.documentElement;
const notice = document.getElementById("notice");
const busy = document.getElementById("busy");

// Colours on grey or on white paper, as chosen last in this browser.
const ground = localStorage.getItem("ground") || "grey";
root.dataset.ground = ground;
for (const choice of document.querySelectorAll("[name=ground]")) {
  choice.checked = choice.value === ground;
  choice.addEventListener("change", () => {
    root.dataset.ground = choice.value;
    localStorage.setItem("ground", choice.value);
  });
}

// Anything that takes longer than a moment says so.
let slow;
function working(on) {
  clearTimeout(slow);
  if (on) slow = setTimeout(() => { busy.hidden = false; }, 400);
  else busy.hidden = true;
}
window.addEventListener("pageshow", () => working(false));
document.addEventListener("click", (event) => {
  const link = event.target.closest("a[href]");
  if (link && !link.target && !link.hasAttribute("download") && !link.hash && !event.ctrlKey && !event.metaKey) working(true);
});

const STOPPED = "The page's server has stopped. What you typed is still here, and what was kept is in the studio. Start it again in the terminal, as you did before, then go on.";
const AWAY = "The studio can't be reached. Mixing goes on, and what you typed is still here.";
function lost(on, words = root.dataset.phone === undefined ? STOPPED : AWAY) {
  notice.hidden = !on;
  if (on) notice.textContent = words;
}

async function alive() {
  try {
    const answer = await fetch("/alive", { cache: "no-store" });
    if (!answer.ok) { lost(true, "This phone is not let in any more. Load the page again and type another code."); return; }
    lost(false);
    const { phones } = await answer.json(), shows = document.querySelector("[data-phones]");
    if (shows?.dataset.phones && Number(shows.dataset.phones) !== phones) location.reload();
    dispatchEvent(new Event("reached"));
  } catch {
    lost(true);
  }
}
setInterval(alive, 5000);

// What was typed and not yet sent is there again after a reload or the way back, in this window,
// unless what the form shows was changed meanwhile.
const place = `typed ${location.pathname}`;
const typing = "input[type=text], input[type=date], input[type=checkbox], input[type=radio], select, textarea";
const ticked = (field) => field.type === "checkbox" || field.type === "radio";
const fields = () => [...document.querySelectorAll(typing)].filter((field) => field.form?.method === "post" && !field.closest("[data-live]"));
const known = (field) => [field.form.action, field.form.elements.seen?.value, field.name, ticked(field) ? field.value : ""].join(" ");
function changed(field) {
  if (ticked(field)) return field.checked !== field.defaultChecked;
  if (field.options) return field.selectedIndex !== Math.max(0, [...field.options].findIndex((each) => each.defaultSelected));
  return field.value !== field.defaultValue;
}
window.addEventListener("pagehide", () => {
  const left = fields().filter((field) => !field.form.dataset.sent && changed(field));
  const said = left.map((field) => [known(field), ticked(field) ? field.checked : field.value]);
  if (said.length) sessionStorage.setItem(place, JSON.stringify(said));
  else sessionStorage.removeItem(place);
});
const before = new Map(JSON.parse(sessionStorage.getItem(place) || "[]"));
for (const field of before.size ? fields() : []) {
  const said = before.get(known(field));
  if (said === undefined) continue;
  if (ticked(field)) field.checked = said;
  else field.value = said;
  for (let around = field.closest("details"); around; around = around.parentElement.closest("details")) around.open = true;
}

// A form that is refused says why beside its button, and keeps what was typed and chosen.
function refuse(form, line) {
  let fault = form.querySelector(".fault");
  if (!fault) {
    fault = document.createElement("div");
    fault.className = "fault";
    fault.tabIndex = -1;
    fault.setAttribute("role", "alert");
    form.prepend(fault);
  }
  fault.textContent = line;
  fault.focus();
  fault.scrollIntoView({ block: "nearest" });
}

const drawnName = () => [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");

async function send(form, button, action) {
  const content = new FormData(form);
  if (button && button.name) content.append(button.name, button.value);
  // Sent again because its answer was lost, it is known for the same one.
  if (form.closest("[data-table]")) content.set("once", form.dataset.once ||= drawnName());
  const body = form.enctype === "multipart/form-data" ? content : new URLSearchParams(content);
  const buttons = form.querySelectorAll("button");
  for (const each of buttons) each.disabled = true;
  working(true);
  try {
    const answer = await fetch(action, { method: "POST", body, headers: { Accept: "application/json" } });
    const said = await answer.text();
    if (answer.ok && form.closest("[data-live]")) {
      await renew();
      working(false);
      return;
    }
    if (answer.ok) {
      form.dataset.sent = "yes";
      const path = JSON.parse(said).path;
      if (form.closest("[data-table]") && path.startsWith("/mix?")) {
        await swap(path);
        return;
      }
      const there = new URL(path, location);
      const here = there.pathname + there.search === location.pathname + location.search;
      location.assign(there);
      if (here) location.reload();
      return;
    }
    let line = said;
    try { line = JSON.parse(said).line; } catch { /* a plain line */ }
    if (answer.status === 409 && form.closest("[data-live]")) form = await renew();
    refuse(form, line);
  } catch {
    lost(true);
    if (typeof keepUnsent === "function") keepUnsent(form, action, body);
  }
  for (const each of buttons) each.disabled = false;
  working(false);
}

document.addEventListener("submit", (event) => {
  const form = event.target, button = event.submitter;
  const method = button?.getAttribute("formmethod") || form.method;
  if (method !== "post") { working(true); return; }
  event.preventDefault();
  send(form, button, button?.hasAttribute("formaction") ? button.formAction : form.action);
});

// Parts that need the script are shown, those that it stands for are not; files are taken as soon as they are chosen or dropped; a
// colour chosen with the browser's own chooser is written where it is asked for.
function dress(part) {
  for (const each of part.querySelectorAll("[data-scripted]")) each.hidden = false;
  for (const each of part.querySelectorAll("[data-plain]")) each.hidden = true;
  for (const zone of part.querySelectorAll(".drop")) {
    const field = zone.querySelector("input[type=file]");
    const form = zone.closest("form");
    if (form.dataset.atOnce !== undefined) field.addEventListener("change", () => { if (field.files.length) form.requestSubmit(); });
    for (const kind of ["dragenter", "dragover"]) {
      zone.addEventListener(kind, (event) => { event.preventDefault(); zone.classList.add("over"); });
    }
    zone.addEventListener("dragleave", () => zone.classList.remove("over"));
    zone.addEventListener("drop", (event) => {
      event.preventDefault();
      zone.classList.remove("over");
      field.files = event.dataTransfer.files;
      field.dispatchEvent(new Event("change"));
    });
  }
  for (const chooser of part.querySelectorAll("input[type=color][data-for]")) {
    const field = document.getElementById(chooser.dataset.for);
    chooser.addEventListener("input", () => { field.value = chooser.value; });
    chooser.addEventListener("change", () => field.form.requestSubmit());
  }
}
dress(document);

// A file dropped anywhere else goes to the place for files that the view has, or to where any is read.
document.addEventListener("dragover", (event) => { if (event.dataTransfer?.types.includes("Files")) event.preventDefault(); });
document.addEventListener("drop", (event) => {
  if (event.defaultPrevented || !event.dataTransfer?.files.length) return;
  event.preventDefault();
  const places = [...document.querySelectorAll("main .drop input[type=file]")];
  const field = places.find((each) => each.offsetParent) || places[0] || document.querySelector("#anywhere input");
  field.files = event.dataTransfer.files;
  field.dispatchEvent(new Event("change"));
  if (field.form.dataset.atOnce === undefined) field.scrollIntoView({ block: "center" });
});

// Work that goes on beside the page is asked after until it has ended.
const job = document.querySelector("[data-job]");
async function ask() {
  try {
    const answer = await fetch(job.dataset.job, { headers: { Accept: "application/json" }, cache: "no-store" });
    lost(false);
    const said = await answer.json();
    if (said.path) { location.replace(said.path); return; }
    if (said.fault || said.lost) { location.reload(); return; }
    const words = document.getElementById("words");
    if (words.textContent !== said.words) words.textContent = said.words;
  } catch {
    lost(true);
  }
  setTimeout(ask, 250);
}
if (job) ask();
