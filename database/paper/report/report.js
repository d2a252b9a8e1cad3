"use strict";
// Finding and ordering; without a script the page is whole, in order of names.
for (const part of document.querySelectorAll(".scripted")) part.hidden = false;
const lists = [...document.querySelectorAll("[data-list]")].map((list) => ({
  list,
  items: [...list.querySelectorAll(":scope > [data-item]")],
}));
const paints = lists[0].items.length;
// A paint is found by any word on its part of the page.
const words = Array.from({ length: paints }, (_, i) =>
  lists.map(({ items }) => items[i].textContent).join(" ").toLowerCase());
const find = document.getElementById("find");
const order = document.getElementById("order");
const found = document.getElementById("found");

function show() {
  const asked = find.value.toLowerCase().split(/\s+/).filter(Boolean);
  let count = 0;
  words.forEach((text, i) => {
    const hit = asked.every((word) => text.includes(word));
    count += hit;
    for (const { items } of lists) items[i].hidden = !hit;
  });
  found.textContent = asked.length ? `${count} of ${paints} paints` : "";
}

function arrange() {
  const key = order.value;
  for (const { list, items } of lists) {
    const sorted = key === "name"
      ? items
      : [...items].sort((a, b) => a.dataset[key] - b.dataset[key]);
    list.append(...sorted);
  }
}

let waiting;
find.addEventListener("input", () => {
  clearTimeout(waiting);
  waiting = setTimeout(show, 80);
});
order.addEventListener("change", arrange);
document.querySelector("form.bar").addEventListener("submit", (event) => event.preventDefault());
