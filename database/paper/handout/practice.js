"use strict";
// Practice by feel: a colour of some of the tubes, the parts that someone would take, and what they
// give. Nothing is kept, and no network is asked.
const felt = [...document.querySelectorAll("#felt input")];
const USED = 3, RIGHT = 3;
let right = [];

// A mix of some of the tubes, each of which can be seen in it, and what it looks like.
function drawn() {
  for (let tried = 0; tried < 200; tried++) {
    const order = felt.map((_, i) => [Math.random(), i]).sort((a, b) => a[0] - b[0]);
    const some = order.slice(0, Math.min(USED, felt.length)).map((each) => each[1]);
    const part = () => PARTS[6 + Math.floor(14 * Math.random())];
    const parts = felt.map((_, i) => (some.includes(i) ? part() : 0));
    const made = mix(parts);
    const without = some.map((i) => look(parts.map((part, j) => (j === i ? part / 2 : part))));
    if (without.every((less) => difference(less.lab, made.lab) > RIGHT)) return { parts, made };
  }
  return null;
}

function another() {
  const found = drawn();
  if (found === null) { byId("practise").parentElement.hidden = true; return; }
  right = found.parts;
  byId("asked").style.background = `rgb(${found.made.rgb.join(" ")})`;
  byId("gave").hidden = true;
  byId("told").textContent = "";
  felt.forEach((input, i) => { input.value = ""; input.parentElement.hidden = right[i] === 0; });
}

const names = felt.map((input) => input.parentElement.textContent.trim());

// The one tube whose part, changed alone, brings the mix nearest, and by how much it is changed.
function advice(parts, wanted) {
  let best = { off: Infinity };
  parts.forEach((part, i) => {
    if (part === 0) return;
    for (let n = -60; n <= 60; n++) {
      const times = Math.exp(n / 25);
      const there = look(parts.map((other, j) => (j === i ? other * times : other)));
      const off = difference(there.lab, wanted);
      if (off < best.off) best = { off, times, i };
    }
  });
  return best;
}

function see() {
  const parts = felt.map((input, i) => (right[i] === 0 ? 0 : Math.max(0, Number(input.value) || 0)));
  if (parts.every((part) => part === 0)) {
    byId("told").textContent = "Say how many parts you would take of each.";
    return;
  }
  const made = mix(parts), wanted = look(right).lab;
  const off = difference(made.lab, wanted);
  byId("gave").style.background = `rgb(${made.rgb.join(" ")})`;
  byId("gave").hidden = false;
  let words = `That is ${inWords(off)} (${off.toFixed(1)}).`;
  const turn = advice(parts, wanted);
  if (off >= 1 && Math.abs(Math.log(turn.times)) > 0.05) {
    words += ` There is too ${turn.times > 1 ? "little" : "much"} ${names[turn.i]}: `
      + `${turn.times.toFixed(2)} times as much would bring it to ${turn.off.toFixed(1)}.`;
  }
  const sum = right.reduce((all, part) => all + part, 0);
  const told = right.map((part, i) => [part, names[i]]).filter((each) => each[0] > 0)
    .map(([part, name]) => `${(10 * part / sum).toFixed(1)} ${name}`).join(", ");
  byId("told").textContent = `${words} The colour was made of, in 10 parts: ${told}.`;
}

byId("see").addEventListener("click", see);
byId("another").addEventListener("click", another);
another();
