"use strict";
// The mixing table: a touch lays a tube out, sliders mix, and the colour follows at once, calculated
// here from the numbers that stand in the page. Without this script the same page is forms.
const SPAN = 1000, CURVE = 2.4;
const byId = (id) => document.getElementById(id);
let rows = [], soon = 0, later = 0, shown = "";

// Where an amount stands on a slider, and back: small amounts have the most room.
const placeOf = (amount) => Math.round(SPAN * Math.min(1, amount / N.most) ** (1 / CURVE));
const stepped = (amount) => Number((Math.round(amount / N.step) * N.step).toFixed(6));
const amountAt = (place) => stepped(N.most * (place / SPAN) ** CURVE);

function amountWords(amount) {
  if (!N.quarters) {
    const digits = Math.max(0, -Math.floor(Math.log10(N.step)));
    return amount > 0 && amount < N.step ? amount.toPrecision(2) : amount.toFixed(digits);
  }
  const parts = Math.round(amount * 4), whole = Math.floor(parts / 4), rest = ["", "¼", "½", "¾"][parts % 4];
  return [whole || !rest ? String(whole) : "", rest].filter(Boolean).join(" ");
}

function amountIn(field) {
  const amount = Number(field.value.replace(",", "."));
  return amount > 0 ? amount : 0;
}

// Grams of each paint: what is on the plate, and what the sliders put on top.
function heap(amounts) {
  const grams = [...N.plate];
  for (const row of rows) grams[row.at] += N.each[row.at] * amounts[row.at];
  return grams;
}

const asAmounts = () => {
  const amounts = N.paints.map(() => 0);
  for (const row of rows) if (!row.item.hidden) amounts[row.at] = amountIn(row.field);
  return amounts;
};

// Bands are as much wider or narrower as dried batches of the same paints taught.
function wider(grams) {
  const mine = N.paints.filter((_, i) => grams[i] > 0), [counts, least, most] = N.widening;
  let weight = counts, square = counts;
  for (const [paints, off] of N.batches) {
    const common = paints.filter((paint) => mine.includes(paint)).length;
    const share = common / new Set([...paints, ...mine]).size;
    weight += share; square += share * off;
  }
  return Math.min(most, Math.max(least, Math.sqrt(square / weight)));
}

function predicted(grams) {
  const made = mix(grams, N.dry);
  made.band *= wider(grams);
  if (N.plateBand !== null && N.plate.some((x) => x > 0)) {
    const bare = mix(N.plate, N.dry).band * wider(N.plate);
    made.band = Math.hypot(made.band, Math.sqrt(Math.max(0, N.plateBand ** 2 - bare ** 2)));
  }
  return made;
}

// As surely as it is known: no comfort that its band takes back.
function verdict(off, band) {
  const worst = inWords(Infinity), doubtful = inWords(band) === worst && inWords(off) !== worst;
  return `${capital(doubtful ? `may be ${worst}` : inWords(off))} (${off.toFixed(1)}), sure to within ${band.toFixed(1)}.`;
}

const capital = (text) => text[0].toUpperCase() + text.slice(1);
const hueOf = (angle) => N.hues.find(([limit]) => ((angle % 360) + 360) % 360 < limit)[1];

// What the mix would need to become what is wanted.
function lacks(made, wanted) {
  const words = [], chroma = ([, a, b]) => Math.hypot(a, b);
  if (Math.abs(wanted[0] - made[0]) > 2) words.push(wanted[0] > made[0] ? "lighter" : "darker");
  const [one, other] = [chroma(made), chroma(wanted)];
  if (Math.abs(other - one) > 2) words.push(other > one ? "cleaner" : "greyer");
  if (Math.min(one, other) > 5) {
    const angle = ([, a, b]) => (Math.atan2(b, a) * 180 / Math.PI + 360) % 360;
    const turn = (((angle(wanted) - angle(made) + 180) % 360) + 360) % 360 - 180;
    if (Math.abs(turn) > 4) words.push(`further toward ${hueOf(angle(wanted) + 30 * Math.sign(turn))}`);
  }
  return words.join(" and ");
}

function show() {
  const amounts = asAmounts(), grams = heap(amounts), there = grams.some((x) => x > 0);
  let words = "Lay tubes out, and move their sliders.", code = "none";
  if (there) {
    const made = predicted(grams);
    code = `rgb(${made.rgb.join(" ")})`;
    words = `Sure to within ${made.band.toFixed(1)}.`;
    if (N.target !== null) {
      const off = difference(made.lab, N.target), more = lacks(made.lab, N.target);
      words = verdict(off, made.band) + (off >= 1 && more ? ` It would have to be ${more}.` : "");
    }
    byId("stage").dataset.lab = made.lab.map((x) => x.toFixed(4)).join(" ");
    byId("stage").dataset.band = made.band.toFixed(4);
  }
  for (const patch of document.querySelectorAll("[data-mixed]")) patch.setAttribute("fill", code);
  byId("verdict").textContent = words;
  clearTimeout(later);
  later = setTimeout(() => tooMuch(amounts, grams), 200);
}

const soonShown = () => { if (!soon) soon = requestAnimationFrame(() => { soon = 0; show(); }); };

// From which amount on more of a paint is seen: a mark on its slider, as the order of mixing has it.
const SEEN = 1;
function tooMuch(amounts, grams) {
  const here = grams.some((x) => x > 0) ? look(grams, N.dry).lab : null;
  for (const row of rows) {
    const own = grams[row.at], others = grams.some((x, i) => i !== row.at && x > 0);
    let excess = null;
    if (here && own > 0 && others) {
      const off = (more) => difference(here, look(grams.map((x, i) => (i === row.at ? x * (1 + more) : x)), N.dry).lab);
      let [low, high] = [0, 20];
      if (off(high) >= SEEN) {
        for (let i = 0; i < 18; i++) {
          const middle = (low + high) / 2;
          if (off(middle) >= SEEN) high = middle; else low = middle;
        }
        excess = high;
      }
    }
    const amount = excess === null ? null : amounts[row.at] + excess * own / N.each[row.at];
    row.mark.hidden = amount === null || amount > N.most;
    // The middle of the thumb runs half a thumb inside either end.
    if (!row.mark.hidden) row.mark.style.left = `calc(0.8rem + (100% - 1.6rem) * ${placeOf(amount) / SPAN})`;
    row.much.textContent = amount === null ? "" : `too much from ${amountWords(stepped(amount) || N.step)} ${N.unit}`;
  }
}

function put(row, amount) {
  row.field.value = amountWords(amount) === "0" || !amount ? "" : N.quarters ? String(amount) : amountWords(amount);
  row.slider.value = placeOf(amount);
  row.slider.setAttribute("aria-valuetext", `${amountWords(amount)} ${N.unit}`);
}

function moved(row, amount, typed) {
  if (typed) row.slider.value = placeOf(amount);
  else put(row, amount);
  soonShown();
}

// The address holds what stands on the sliders, so that a reload loses nothing.
function remember() {
  const address = new URL(location);
  for (const key of [...address.searchParams.keys()]) if (key.startsWith("a:")) address.searchParams.delete(key);
  for (const row of rows) if (!row.item.hidden && amountIn(row.field)) address.searchParams.set(`a:${row.nick}`, row.field.value);
  address.searchParams.set("show", "mix");
  history.replaceState(null, "", address);
  shown = address.pathname + address.search;
}

// How far one press goes: a step, or ten where a hundred are on it.
function press(row, way) {
  const amount = amountIn(row.field), steps = amount / N.step;
  const by = N.step * (steps > 999 ? 100 : steps > 99 ? 10 : 1);
  moved(row, Math.max(0, stepped(amount + way * by)));
  remember();
}

function layOut(box) {
  const row = rows.find(({ nick }) => nick === box.value);
  if (!row) { box.form.requestSubmit(); return; }
  row.item.hidden = !box.checked;
  byId("none-out").hidden = rows.some(({ item }) => !item.hidden);
  soonShown();
}

function begin() {
  shown = location.pathname + location.search;
  fullScreen();
  // A film isn't calculated here: it is shown as the server has it.
  if (!byId("numbers")) { rows = []; return; }
  takeNumbers();
  rows = [...document.querySelectorAll("[data-tube]")].map((item) => ({
    item, nick: item.dataset.tube, at: N.paints.indexOf(item.dataset.tube),
    field: item.querySelector("input[type=text]"), slider: item.querySelector("input[type=range]"),
    mark: item.querySelector(".mark-much"), much: item.querySelector(".much"),
  })).filter(({ at }) => at >= 0);
  for (const row of rows) {
    row.slider.max = SPAN;
    put(row, amountIn(row.field));
    row.slider.addEventListener("input", () => moved(row, amountAt(Number(row.slider.value))));
    row.slider.addEventListener("change", remember);
    row.field.addEventListener("input", () => moved(row, amountIn(row.field), true));
    row.field.addEventListener("change", remember);
    for (const button of row.item.querySelectorAll("[data-by]")) button.addEventListener("click", () => press(row, Number(button.dataset.by)));
  }
  for (const box of document.querySelectorAll("#tubes input[name=lay]")) box.addEventListener("change", () => layOut(box));
  byId("none-out").hidden = rows.some(({ item }) => !item.hidden);
  for (const way of document.querySelectorAll("a[data-amounts]")) way.addEventListener("click", () => take(JSON.parse(way.dataset.amounts)));
  byId("wipe").addEventListener("click", () => take({}));
  show();
}

// A way stands on the sliders at once; the server tells how to mix it meanwhile.
function take(amounts) {
  for (const row of rows) {
    const box = document.querySelector(`#tubes input[name=lay][value="${row.nick}"]`);
    if (amounts[row.nick] && box) { box.checked = true; row.item.hidden = false; }
    put(row, amounts[row.nick] || 0);
  }
  byId("none-out").hidden = rows.some(({ item }) => !item.hidden);
  show();
  remember();
}

// Both colours on the whole screen; touched once more the mix alone, to hold paint against; then back.
function fullScreen() {
  const screen = byId("screen");
  byId("patches").addEventListener("click", () => { screen.dataset.only = ""; screen.showModal(); });
  screen.addEventListener("click", () => {
    if (screen.dataset.only || !N?.target) screen.close();
    else screen.dataset.only = "mix";
  });
}

// What the server answers takes the place of the table, with the page where it is.
let asking = null;
async function swap(path) {
  halt();
  asking = new AbortController();
  asking.search = drawnName();
  const mine = asking;
  working(true);
  byId("stop").hidden = false;
  try {
    const answer = await fetch(path, { signal: asking.signal, cache: "no-store", headers: { "X-Search": asking.search } });
    const made = new DOMParser().parseFromString(await answer.text(), "text/html");
    const open = [...document.querySelectorAll("main details[open][id]")].map(({ id }) => id);
    byId("main").replaceChildren(...made.getElementById("main").children);
    for (const id of open) if (byId(id)) byId(id).open = true;
    dress(byId("main"));
    dressAwake();
    history.pushState(null, "", answer.url);
    begin();
    const there = path.split("#")[1];
    if (there && byId(there)) byId(there).scrollIntoView({ block: "nearest" });
  } catch (error) {
    if (error.name !== "AbortError") lost(true);
  }
  if (asking === mine) {
    asking = null;
    byId("stop").hidden = true;
    working(false);
  }
}

// What is no longer waited for isn't searched for any longer either.
function halt() {
  if (!asking) return;
  asking.abort();
  fetch("/mix/stop", { method: "POST", body: new URLSearchParams({ search: asking.search }) }).catch(() => {});
}
byId("stop").addEventListener("click", halt);
window.addEventListener("popstate", () => { if (location.pathname + location.search !== shown) location.reload(); });
document.addEventListener("click", (event) => {
  const link = event.target.closest("main a[href^='/mix?']");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  event.stopImmediatePropagation();
  swap(link.getAttribute("href"));
}, true);
document.addEventListener("submit", (event) => {
  const form = event.target, button = event.submitter;
  if (form.method !== "get" || button?.getAttribute("formmethod") === "post" || !form.closest("main")) return;
  if (form.querySelector("input[type=image]")) return;
  event.preventDefault();
  event.stopImmediatePropagation();
  const asked = new URLSearchParams(new FormData(form, button));
  const anew = button?.name === "look" ? ["seen", "way", "make", "coats", "mixing"] : ["seen"];
  for (const [key] of [...asked]) if (anew.includes(key) || (key.startsWith("a:") && !asked.has("show"))) asked.delete(key);
  const at = new URL(form.action);
  swap(`${at.pathname}?${asked}${at.hash}`);
}, true);
begin();
