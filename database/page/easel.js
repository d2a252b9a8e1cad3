"use strict";
// At the easel: what went on the plate is kept in this browser while the studio can't be reached,
// and sent once it can; and the screen stays on where the browser allows that.
const UNSENT = `unsent ${document.querySelector(".studio").textContent}`, THIS_PAGE = drawnName();
const GOAL = ["target", "again", "photo", "at", "grey", "white", "black"];
const unsent = () => JSON.parse(localStorage.getItem(UNSENT) || "[]");
let sending = false;

function keep(entries) {
  if (entries.length) localStorage.setItem(UNSENT, JSON.stringify(entries));
  else localStorage.removeItem(UNSENT);
}

// A form that could not be sent is kept, each once, in their order.
function keepUnsent(form, action, body) {
  const path = new URL(action, location).pathname, adds = path === "/mix/plate" && body.get("do") === "add";
  if (!adds && path !== "/mix/keep") return;
  const entry = { path, body: body.toString(), page: THIS_PAGE, goal: GOAL.map((key) => body.get(key)).join(" "), words: `${body.get("name")} is to be kept`, grams: null };
  if (adds) {
    const amounts = asAmounts(), named = rows.filter(({ at }) => amounts[at] > 0);
    if (!named.length) return;
    entry.grams = N.paints.map((_, i) => N.each[i] * amounts[i]);
    entry.words = `${named.map((row) => `${amountWords(amounts[row.at])} ${N.unit} ${row.item.querySelector("label").textContent}`).join(", ")} on the plate`;
    entry.grams.forEach((grams, i) => { N.plate[i] += grams; });
    for (const row of rows) put(row, 0);
    show();
    remember();
  }
  delete form.dataset.once;
  keep([...unsent(), entry]);
  tell();
}

const buttonFor = (words, does) => {
  const made = Object.assign(document.createElement("button"), { type: "button", className: "quiet", textContent: words });
  made.addEventListener("click", does);
  return made;
};

// What is kept here, and what can be done about it.
function tell(refused = "") {
  const bar = byId("unsent"), entries = unsent();
  bar.hidden = !entries.length;
  if (bar.hidden) return;
  const words = document.createElement("p");
  const list = entries.map((entry) => entry.words).join("; ");
  words.textContent = refused ? `${list}: not sent, for ${refused}` : `Kept in this browser until the studio answers: ${list}.`;
  bar.replaceChildren(words);
  if (refused) bar.append(buttonFor("It holds all the same", holds), buttonFor("Forget it", () => { keep(entries.slice(1)); tell(); sendUnsent(); }));
  else if (!sending) bar.append(buttonFor("Take the last back", () => takeBack(entries)));
}

function takeBack(entries) {
  const last = entries.at(-1);
  if (sending) return;
  if (last.grams && last.page === THIS_PAGE) last.grams.forEach((grams, i) => { N.plate[i] = Math.max(0, N.plate[i] - grams); });
  keep(entries.slice(0, -1));
  show();
  tell();
}

const pageAt = async (path) => new DOMParser().parseFromString(await (await fetch(path, { cache: "no-store" })).text(), "text/html");
const seenIn = (page) => page.querySelector("#tubes input[name=seen]")?.value || "";

// Whatever was done elsewhere meanwhile, it goes on top of what is on the plate now.
async function holds() {
  const [first] = unsent(), asked = new URLSearchParams(first.body);
  for (const key of [...asked.keys()]) if (!GOAL.includes(key) && key !== "lay" && key !== "look") asked.delete(key);
  try {
    basedOn(first.goal, seenIn(await pageAt(`/mix?${asked}`)));
    sendUnsent();
  } catch {
    lost(true);
  }
}

function basedOn(goal, seen) {
  keep(unsent().map((entry) => {
    const body = new URLSearchParams(entry.body);
    if (entry.goal === goal && body.has("seen")) body.set("seen", seen);
    return { ...entry, body: body.toString() };
  }));
}

async function sendUnsent() {
  if (sending || !unsent().length) return;
  sending = true;
  let refused = "", path = null;
  try {
    for (let first = unsent()[0]; first && !refused; first = unsent()[0]) {
      const answer = await fetch(first.path, { method: "POST", body: new URLSearchParams(first.body), headers: { Accept: "application/json" } });
      const said = JSON.parse(await answer.text());
      if (!answer.ok) { refused = said.line; break; }
      path = said.path;
      const next = seenIn(await pageAt(path));
      keep(unsent().slice(1));
      basedOn(first.goal, next);
    }
  } catch { /* It is gone again; what is left stays kept. */ }
  sending = false;
  tell(refused);
  if (path && !unsent().length) swap(path);
}

addEventListener("reached", sendUnsent);
addEventListener("online", alive);
tell();
sendUnsent();

// Browsers keep the screen on for pages of this machine alone, or over an encrypted line.
let lock = null;
async function stayOn() {
  const wanted = byId("awake")?.querySelector("input")?.checked;
  if (wanted && !lock && document.visibilityState === "visible") lock = await navigator.wakeLock.request("screen").catch(() => null);
  lock?.addEventListener("release", () => { lock = null; });
  if (!wanted) await lock?.release();
}
function dressAwake() {
  const awake = byId("awake");
  if (!awake) return;
  const can = "wakeLock" in navigator, box = awake.querySelector("input");
  awake.querySelector("label").hidden = !can;
  awake.querySelector("span.how").hidden = can || root.dataset.phone === undefined;
  awake.hidden = !can && root.dataset.phone === undefined;
  box.checked = can && localStorage.getItem("awake") === "yes";
  box.addEventListener("change", () => { localStorage.setItem("awake", box.checked ? "yes" : "no"); stayOn(); });
  stayOn();
}
document.addEventListener("visibilitychange", stayOn);
dressAwake();
