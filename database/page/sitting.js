"use strict";
// A sitting at the instrument: the page follows what is asked, in every window that shows it.

async function renew() {
  const answer = await fetch(location.pathname, { cache: "no-store" });
  const made = new DOMParser().parseFromString(await answer.text(), "text/html");
  document.title = made.title;
  document.getElementById("main").replaceChildren(...made.getElementById("main").children);
  attend();
  return document.querySelector("main form") || document.getElementById("main");
}

// The usual answer has the focus; but where something looks wrong, where the instrument works and
// when it is over, a key struck too early must not decide.
function attend() {
  const live = document.querySelector("[data-live]");
  const asked = document.getElementById("asked");
  if (!live) document.getElementById("ended")?.focus();
  else if (live.dataset.works !== undefined || asked.dataset.care !== undefined) asked.focus();
  else live.querySelector("button").focus();
}

async function follow() {
  const live = document.querySelector("[data-live]");
  if (!live) return;
  const stamp = live.dataset.stamp;
  try {
    const answer = await fetch(live.dataset.live, { headers: { Accept: "application/json" }, cache: "no-store" });
    const said = await answer.json();
    lost(false);
    if (said.stamp !== stamp && document.querySelector("[data-live]")?.dataset.stamp === stamp) await renew();
  } catch {
    lost(true);
  }
  setTimeout(follow, live.dataset.works === undefined ? 1000 : 250);
}

document.addEventListener("keydown", (event) => {
  // A key that is held down reads once.
  if (event.repeat && (event.key === "Enter" || event.key === " ") && event.target.closest("[data-live]")) event.preventDefault();
});
attend();
follow();
