"use strict";
// Predicts mixes of paint that hides from K and S by itself: no network, no server. The class handout
// and the page in a browser both calculate by it, with the numbers that stand in them.
let N, LAST;

function takeNumbers() {
  const numbers = document.getElementById("numbers");
  if (numbers === null) return;
  N = JSON.parse(numbers.textContent);
  LAST = N.models[0].table.length - 1;
}
takeNumbers();

// Share of each paint in the dry film, of parts of tube paint: by volume, or as `each` says.
function shares(parts, each = N.solids) {
  const dry = parts.map((part, i) => part * each[i]);
  const all = dry.reduce((sum, x) => sum + x, 0);
  return dry.map((x) => x / all);
}

// What each paint's S counts for: among its like a pigment scatters less.
const scatteringShares = (M, c) => c.map((x, p) => x * (1 + M.crowding[p] * (1 - x)));

// What a model says is seen of an opaque film at each wavelength, and its slope by the logarithm of
// K/S.
function seen(M, c) {
  const k = [], s = [], r = [], slope = [], scatters = scatteringShares(M, c);
  const surface = c.reduce((all, share, p) => all + share * M.surface[p], 0);
  for (let w = 0; w < N.weights.length; w++) {
    let kw = 0, sw = 0;
    for (let p = 0; p < c.length; p++) { kw += c[p] * M.k[p][w]; sw += scatters[p] * M.s[p][w]; }
    const q = Math.max(kw / sw, 1e-9), root = Math.sqrt(q * (q + 2)), y = 1 / (1 + q + root);
    const at = Math.min(Math.floor(y * LAST), LAST - 1);
    const rise = M.table[at + 1] - M.table[at];
    k.push(kw); s.push(sw);
    r.push(M.table[at] + rise * (y * LAST - at) + surface);
    slope.push(-rise * LAST * y * q / root);  // dy/dq = -y / root
  }
  return { k, s, r, slope };
}

function overWhite(r) {
  const x = [0, 0, 0];
  r.forEach((v, w) => { for (let i = 0; i < 3; i++) x[i] += v * N.weights[w][i]; });
  return x;
}

const EPSILON = (6 / 29) ** 3, LINE = 1 / (3 * (6 / 29) ** 2);
const root3 = (t) => (t > EPSILON ? Math.cbrt(t) : LINE * t + 4 / 29);

function labOf(x) {
  const [a, b, c] = x.map(root3);
  return [116 * b - 16, 500 * (a - b), 200 * (b - c)];
}

// CIELAB moves so far where reflectances change by `change`, at tristimulus values x.
const labMoves = (x, change) => labSlope(x, overWhite(change));

// The same where tristimulus values change.
function labSlope(x, change) {
  const d = change.map((v, i) => v * (x[i] > EPSILON ? 1 / (3 * Math.cbrt(x[i]) ** 2) : LINE));
  return [116 * d[1], 500 * (d[0] - d[1]), 200 * (d[1] - d[2])];
}

function display(x) {
  return N.display.map((row) => {
    const v = Math.min(1, Math.max(0, row.reduce((sum, m, i) => sum + m * x[i], 0)));
    return Math.round(255 * (v > 0.0031308 ? 1.055 * v ** (1 / 2.4) - 0.055 : 12.92 * v));
  });
}

// CIEDE2000, ISO/CIE 11664-6.
function difference([l1, a1, b1], [l2, a2, b2]) {
  const rad = Math.PI / 180, seven = (x) => Math.sqrt(x ** 7 / (x ** 7 + 25 ** 7));
  const g = 0.5 * (1 - seven((Math.hypot(a1, b1) + Math.hypot(a2, b2)) / 2));
  const [p1, p2] = [a1 * (1 + g), a2 * (1 + g)];
  const [c1, c2] = [Math.hypot(p1, b1), Math.hypot(p2, b2)];
  const turn = (b, a) => (a === 0 && b === 0 ? 0 : (Math.atan2(b, a) / rad + 360) % 360);
  const [h1, h2] = [turn(b1, p1), turn(b2, p2)];
  let dh = c1 * c2 === 0 ? 0 : h2 - h1;
  if (dh > 180) dh -= 360; else if (dh < -180) dh += 360;
  let h = h1 + h2;
  if (c1 * c2 !== 0) h = Math.abs(h1 - h2) <= 180 ? h / 2 : (h < 360 ? h + 360 : h - 360) / 2;
  const [dl, dc] = [l2 - l1, c2 - c1], dH = 2 * Math.sqrt(c1 * c2) * Math.sin(dh / 2 * rad);
  const [l, c] = [(l1 + l2) / 2 - 50, (c1 + c2) / 2];
  const t = 1 - 0.17 * Math.cos((h - 30) * rad) + 0.24 * Math.cos(2 * h * rad)
    + 0.32 * Math.cos((3 * h + 6) * rad) - 0.2 * Math.cos((4 * h - 63) * rad);
  const sl = 1 + 0.015 * l * l / Math.sqrt(20 + l * l), sc = 1 + 0.045 * c, sh = 1 + 0.015 * c * t;
  const rt = -Math.sin(60 * Math.exp(-(((h - 275) / 25) ** 2)) * rad) * 2 * seven(c);
  const [x, y, z] = [dl / sl, dc / sc, dH / sh];
  return Math.sqrt(Math.max(0, x * x + y * y + z * z + rt * y * z));
}

// CIEDE2000 that the mix stays within with 95 % probability.
function band(c, films, x, lab) {
  const moves = [];
  N.models.forEach((M, i) => {
    const root = Math.sqrt(M.share);
    for (const move of movesBy(M, c, films[i], x)) moves.push(move.map((v) => root * v));
    // Where models differ, that is unsure too.
    const apart = overWhite(films[i].r).map((v, j) => v - x[j]);
    moves.push(labSlope(x, apart).map((v) => root * v));
  });
  return wide(moves, lab);
}

// How far each cause of uncertainty moves CIELAB, by one model.
function movesBy(M, c, film, x) {
  const moves = [], bands = film.r.length, scatters = scatteringShares(M, c);
  const effect = (byK, byS) => moves.push(labMoves(x, film.slope.map((d, w) =>
    d * (byK(w) / film.k[w] - byS(w) / film.s[w]))));
  c.forEach((share, p) => {
    if (share > 0) for (const [dk, ds] of M.own[p])
      effect((w) => share * dk[w] * M.k[p][w], (w) => scatters[p] * ds[w] * M.s[p][w]);
  });
  for (const cause of M.shared) {
    const at = (counted, quantity, values) => (w) =>
      counted.reduce((all, share, p) => all + share * cause[p][quantity][w] * values[p][w], 0);
    effect(at(c, 0, M.k), at(scatters, 1, M.s));
  }
  if (c.filter((share) => share > 0).length > 1) {
    const wrong = c.reduce((all, share, p) => all + share * M.mixError[p], 0);
    effect((w) => film.k[w] * wrong, () => 0);
    c.forEach((share, p) => {
      if (!(share * M.partError[p] > 0)) return;
      effect((w) => share * M.partError[p] * M.k[p][w], () => 0);
      effect(() => 0, (w) => scatters[p] * M.partError[p] * M.s[p][w]);
    });
    // One value of crowding is learnt for all paints: a paint's own may be none, or twice that.
    c.forEach((share, p) => effect(() => 0, (w) => (scatters[p] - share) * M.s[p][w]));
  }
  // What a film's own surface throws back doesn't get in.
  const [own, matt] = [M.surface, M.surfaceError].map((of) =>
    c.reduce((all, share, p) => all + share * of[p], 0));
  moves.push(labMoves(x, film.r.map((r) => matt * (1 - r + M.floor + own))));
  // Half of what is wrong at a wavelength is wrong at all of them, half each for itself.
  moves.push(labMoves(x, M.modelError.map((e) => e * Math.SQRT1_2)));
  for (let w = 0; w < bands; w++)
    moves.push(labMoves(x, film.r.map((_, v) => (v === w ? M.modelError[w] * Math.SQRT1_2 : 0))));
  return moves;
}

// The 95th percentile of CIEDE2000 at a colour that these causes move (Welch and Satterthwaite).
function wide(moves, lab) {
  const step = 1e-2, axes = [[step, 0, 0], [0, step, 0], [0, 0, step]];
  const near = (d) => difference(lab.map((v, i) => v - d[i] / 2), lab.map((v, i) => v + d[i] / 2)) ** 2
    / step ** 2;
  const square = axes.map((one, i) => axes.map((other, j) =>
    near(i === j ? one : one.map((v, n) => v + other[n]))));
  const metric = square.map((row, i) => row.map((v, j) =>
    (i === j ? v : (v - square[i][i] - square[j][j]) / 2)));
  const times = (one, other) => one.map((row) => other[0].map((_, j) =>
    row.reduce((all, v, n) => all + v * other[n][j], 0)));
  const covariance = [0, 1, 2].map((i) => [0, 1, 2].map((j) =>
    moves.reduce((all, m) => all + m[i] * m[j], 0)));
  const product = times(metric, covariance), twice = times(product, product);
  const trace = (m) => m[0][0] + m[1][1] + m[2][2];
  const mean = trace(product), freedom = mean * mean / Math.max(trace(twice), 1e-300);
  // Wilson and Hilferty's 95th percentile of chi-square.
  const f = 2 / (9 * freedom), chi = freedom * (1 - f + 1.6449 * Math.sqrt(f)) ** 3;
  return Math.sqrt(mean * chi / freedom);
}

// What a mix looks like, without its uncertainty.
function look(parts, each) {
  const c = shares(parts, each), films = N.models.map((M) => seen(M, c)), x = [0, 0, 0];
  N.models.forEach((M, i) => overWhite(films[i].r).forEach((v, j) => { x[j] += M.share * v; }));
  return { c, films, x, lab: labOf(x) };
}

function mix(parts, each) {
  const { c, films, x, lab } = look(parts, each);
  return { lab, rgb: display(x), band: band(c, films, x, lab) };
}

function inWords(off) {
  if (off < 1) return "hard to see";
  if (off < 2) return "seen side by side only";
  return off < 5 ? "a near miss" : "a different colour";
}
