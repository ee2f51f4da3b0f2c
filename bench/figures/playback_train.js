"use strict";
// The train side-on: wheels told apart by shape as well as colour, valves, cylinder pressures, and
// the rail under it with platform and marker. Shared by the playback page and the practice pages.
const WHEELS_SLOWER = 4;
const ROLLING = 0, SHALLOW = 1, DEEP = 2, LOCKED = 3;
const FILL = 0, HOLD = 1, VENT = 2;
const WHEEL_WORDS = ["rolling", "sliding", "sliding deep", "locked"];
// Dark and bluish for slippery to light and yellow for good: ordered in grey as well.
const RAMP = [[0, 32, 77], [62, 78, 108], [124, 123, 120], [188, 174, 106], [255, 234, 70]];
const calm = window.matchMedia("(prefers-reduced-motion: reduce)");
const element = (id) => document.getElementById(id);

const LOOK = {};
// Colours stand in the style sheet, so that dark, forced colours and paper are decided there.
function readLook() {
  const style = getComputedStyle(document.documentElement);
  for (const name of ["ink", "quiet", "faint", "band", "paper", "a", "b", "locked", "deep", "shallow"]) {
    LOOK[name] = style.getPropertyValue(`--${name}`).trim();
  }
}
readLook();

// One switch for units: speed, and the length that goes with it.
const UNITS = {
  mph: { speed: 1 / 0.44704, word: "mph", length: 1 / 0.9144, lengthWord: "yd", every: 20 },
  kmh: { speed: 3.6, word: "km/h", length: 1, lengthWord: "m", every: 40 },
  ms: { speed: 1, word: "m/s", length: 1, lengthWord: "m", every: 10 },
};
let unit = UNITS.mph;
const speedText = (speed) => `${(speed * unit.speed).toFixed(unit.word === "m/s" ? 1 : 0)} ${unit.word}`;
const lengthText = (length) => `${(length * unit.length).toFixed(0)} ${unit.lengthWord}`;

function rampColour(share) {
  const x = Math.min(Math.max(share, 0), 1) * (RAMP.length - 1);
  const i = Math.min(Math.floor(x), RAMP.length - 2);
  const mixed = RAMP[i].map((c, k) => Math.round(c + (x - i) * (RAMP[i + 1][k] - c)));
  return `rgb(${mixed.join(",")})`;
}
const RAMP_COLOURS = Array.from({ length: 255 }, (_, i) => rampColour(i / 254));

const FONT = '"Segoe UI", "DejaVu Sans", Arial, sans-serif';
function prepared(canvas) {
  const ratio = window.devicePixelRatio || 1;
  const { width, height } = canvas.getBoundingClientRect();
  if (canvas.width !== Math.round(width * ratio) || canvas.height !== Math.round(height * ratio)) {
    canvas.width = Math.round(width * ratio);
    canvas.height = Math.round(height * ratio);
  }
  const pen = canvas.getContext("2d");
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.clearRect(0, 0, width, height);
  const text = parseFloat(getComputedStyle(canvas).fontSize) || 12;
  pen.font = `${text}px ${FONT}`;
  return { pen, width, height, text };
}

function drawWheel(pen, x, y, radius, angle, state) {
  pen.strokeStyle = LOOK.ink;
  pen.lineWidth = Math.max(1.3, radius / 9);
  pen.beginPath();
  if (state === LOCKED) {
    const d = 0.95 * radius;
    pen.rect(x - d, y - d, 2 * d, 2 * d);
    pen.fillStyle = LOOK.locked;
  } else if (state === DEEP) {
    const d = 1.12 * radius;
    pen.moveTo(x, y - d); pen.lineTo(x + d, y); pen.lineTo(x, y + d); pen.lineTo(x - d, y);
    pen.closePath();
    pen.fillStyle = LOOK.deep;
  } else {
    pen.arc(x, y, radius, 0, 2 * Math.PI);
    pen.fillStyle = LOOK.paper;
  }
  pen.fill();
  pen.stroke();
  if (state === SHALLOW) {
    pen.beginPath();
    pen.arc(x, y, radius, 0, Math.PI);
    pen.closePath();
    pen.fillStyle = LOOK.shallow;
    pen.fill();
    pen.stroke();
  }
  pen.beginPath();
  if (state === LOCKED) {
    const d = 0.55 * radius;
    pen.moveTo(x - d, y - d); pen.lineTo(x + d, y + d);
    pen.moveTo(x - d, y + d); pen.lineTo(x + d, y - d);
  } else {
    pen.moveTo(x, y);
    pen.lineTo(x + 0.9 * radius * Math.sin(angle), y - 0.9 * radius * Math.cos(angle));
  }
  pen.stroke();
}

// A bar is the cylinder: a lid on it while the valve holds, an arrow out of it while it vents.
function drawCylinder(pen, x, top, high, half, share, valve) {
  pen.lineWidth = 1;
  pen.strokeStyle = LOOK.ink;
  pen.fillStyle = LOOK.paper;
  pen.fillRect(x - half, top, 2 * half, high);
  pen.fillStyle = LOOK.ink;
  pen.fillRect(x - half, top + (1 - share) * high, 2 * half, share * high);
  pen.strokeRect(x - half, top, 2 * half, high);
  if (valve === FILL) return;
  pen.beginPath();
  pen.lineWidth = 2;
  if (valve === HOLD) {
    pen.moveTo(x - half - 2, top - 2); pen.lineTo(x + half + 2, top - 2);
  } else {
    const tip = top - 1.9 * half - 2;
    pen.moveTo(x, top); pen.lineTo(x, tip);
    pen.moveTo(x - half, tip + half); pen.lineTo(x, tip); pen.lineTo(x + half, tip + half);
  }
  pen.stroke();
}

function drawBody(pen, left, right, top, bottom, isFront, isLast) {
  const nose = Math.min(10, 0.3 * (right - left));
  pen.beginPath();
  pen.moveTo(left + (isLast ? nose : 2), top);
  pen.lineTo(right - (isFront ? nose : 2), top);
  pen.lineTo(right - (isFront ? 0 : 2), bottom - 12);
  pen.lineTo(right - 2, bottom);
  pen.lineTo(left + 2, bottom);
  pen.lineTo(left + (isLast ? 0 : 2), bottom - 12);
  pen.closePath();
  pen.fillStyle = LOOK.band;
  pen.fill();
  pen.lineWidth = 1.2;
  pen.strokeStyle = LOOK.quiet;
  pen.stroke();
}

// A train too long for the width stands in several rows, its front in the first, so that every
// wheel keeps a shape that can be told.
const AHEAD = 8, BEHIND = 5;
function planRows(train, width, text) {
  const most = width / (0.5 * text) - AHEAD - BEHIND;
  const each = Math.max(1, Math.floor(most / Math.max(...train.vehicles.map((v) => v.length))));
  const n = Math.ceil(train.vehicles.length / Math.min(each, train.vehicles.length));
  const perRow = Math.ceil(train.vehicles.length / n);
  const rows = [];
  for (let first = 0; first < train.vehicles.length; first += perRow) {
    const last = Math.min(first + perRow, train.vehicles.length) - 1;
    const end = train.vehicles[last].start + train.vehicles[last].length;
    rows.push({ first, last, start: train.vehicles[first].start, end });
  }
  const longest = Math.max(...rows.map((row) => row.end - row.start));
  return { rows, scale: width / (longest + AHEAD + BEHIND), high: 11 * text };
}

// `scene`: front [m]; state, valve, share and angle by axle; level(place, nPassed) the colour
// number of the rail; marker and platform [m], or null.
function drawTrainView(canvas, train, scene) {
  const text = parseFloat(getComputedStyle(canvas).fontSize) || 12;
  const plan = planRows(train, canvas.getBoundingClientRect().width, text);
  const wanted = `${Math.round(plan.rows.length * plan.high)}px`;
  if (canvas.style.height !== wanted) canvas.style.height = wanted;
  const { pen, width } = prepared(canvas);
  const spacing = smallestSpacing(train);
  const radius = Math.min(text, 0.42 * spacing * plan.scale);
  plan.rows.forEach((row, i) => {
    const top = i * plan.high, railTop = top + 7.0 * text;
    const reach = scene.front - row.start + AHEAD;  // place at the right edge
    const xOf = (place) => width - (reach - place) * plan.scale;
    drawRail(pen, train, scene, width, text, plan.scale, reach, railTop);
    for (let v = row.first; v <= row.last; v++) {
      const car = train.vehicles[v];
      drawBody(pen, xOf(scene.front - car.start - car.length), xOf(scene.front - car.start),
        top + 1.3 * text, railTop - 2 * radius + 4, v === 0, v === train.vehicles.length - 1);
    }
    train.axles.forEach((axle, k) => {
      if (axle.offset < row.start || axle.offset >= row.end) return;
      const x = xOf(scene.front - axle.offset), barTop = top + 2.9 * text;
      const barHigh = railTop - 2 * radius - 0.4 * text - barTop;
      drawCylinder(pen, x, barTop, barHigh, 0.38 * text, scene.share(k), scene.valve(k));
      const angle = calm.matches ? 0 : scene.angle(k);
      drawWheel(pen, x, railTop - radius, radius, angle, scene.state(k));
      pen.fillStyle = LOOK.quiet;
      pen.textAlign = "center";
      const isRoomy = spacing * plan.scale > 1.5 * text || k % 2 === 1;
      if (isRoomy) pen.fillText(String(k + 1), x, top + 1.05 * text);
    });
  });
}

function smallestSpacing(train) {
  let least = 20;
  for (let k = 1; k < train.axles.length; k++) {
    least = Math.min(least, train.axles[k].offset - train.axles[k - 1].offset);
  }
  return least;
}

function drawRail(pen, train, scene, width, text, scale, reach, top) {
  const places = train.axles.map((axle) => scene.front - axle.offset), high = 1.15 * text;
  let nPassed = train.axles.length;
  for (let x = 0; x < width; x += 2) {
    const place = reach - (width - x - 1) / scale;
    while (nPassed > 0 && places[nPassed - 1] <= place) nPassed--;
    pen.fillStyle = RAMP_COLOURS[scene.level(place, nPassed)];
    pen.fillRect(x, top, 2, high);
  }
  pen.strokeStyle = LOOK.ink;
  pen.lineWidth = 1;
  pen.strokeRect(-2, top, width + 4, high);
  const xOf = (place) => width - (reach - place) * scale;
  drawPosts(pen, width, text, scale, reach, top + high);
  if (scene.platform) {
    const [from, to] = scene.platform.map(xOf), y = top + high + 1.6 * text;
    if (to > 0 && from < width) {
      pen.fillStyle = LOOK.band;
      pen.strokeStyle = LOOK.ink;
      pen.fillRect(from, y, to - from, 1.15 * text);
      pen.strokeRect(from, y, to - from, 1.15 * text);
      pen.fillStyle = LOOK.ink;
      pen.textAlign = "left";
      const room = Math.min(to, width) - Math.max(from, 0);
      if (room > 6 * text) pen.fillText("platform", Math.max(from, 0) + 6, y + 0.9 * text);
    }
  }
  if (scene.marker !== null) {
    const x = xOf(scene.marker);
    pen.fillStyle = LOOK.ink;
    pen.fillRect(x - 2, top - 2 * text, 4, 2 * text + high + 2.3 * text);
    pen.textAlign = "left";
    if (x > 0 && x < width) pen.fillText("marker", x + 6, top + high + 2.3 * text);
  }
}

function drawPosts(pen, width, text, scale, reach, top) {
  pen.fillStyle = LOOK.quiet;
  pen.textAlign = "center";
  const every = 20 / unit.length;  // of the unit the page shows [m]
  const first = Math.ceil((reach - width / scale) / every);
  for (let post = first; post * every < reach; post++) {
    const x = width - (reach - post * every) * scale;
    pen.fillRect(x - 0.5, top, 1, 0.4 * text);
    pen.fillText(`${post * 20} ${unit.lengthWord}`, x, top + 1.35 * text);
  }
}

// What the shapes mean, in as many lines as the width needs.
function drawKey(canvas, best) {
  const items = [
    ...WHEEL_WORDS.map((word, state) => ({ word, draw: (p, x, y, t) => drawWheel(p, x + t, y, 0.8 * t, 0.6, state) })),
    ...[["valve fills", FILL], ["valve holds", HOLD], ["valve vents", VENT]].map(([word, valve]) => ({
      word, draw: (p, x, y, t) => drawCylinder(p, x + t, y - 0.5 * t, 1.3 * t, 0.38 * t, 0.6, valve),
    })),
  ];
  const text = parseFloat(getComputedStyle(canvas).fontSize) || 12;
  const width = canvas.getBoundingClientRect().width, cell = 9.6 * text, line = 2.5 * text;
  const perLine = Math.max(1, Math.floor(width / cell));
  const n = Math.ceil(items.length / perLine);
  canvas.style.height = `${(n + 1) * line}px`;
  const { pen } = prepared(canvas);
  items.forEach((item, i) => {
    const x = (i % perLine) * cell, y = (Math.floor(i / perLine) + 0.55) * line;
    item.draw(pen, x, y, text);
    pen.fillStyle = LOOK.ink;
    pen.textAlign = "left";
    pen.fillText(item.word, x + 2.2 * text, y + 0.35 * text);
  });
  const y = (n + 0.2) * line, wide = Math.min(width - 13.5 * text, 26 * text);
  for (let x = 0; x < wide; x += 2) {
    pen.fillStyle = rampColour(x / wide);
    pen.fillRect(x, y, 2, 1.1 * text);
  }
  pen.strokeStyle = LOOK.ink;
  pen.lineWidth = 1;
  pen.strokeRect(0.5, y, wide, 1.1 * text);
  pen.fillStyle = LOOK.ink;
  pen.textAlign = "left";
  pen.fillText(`rail: friction 0 to ${best.toFixed(2)}`, wide + 8, y + 0.95 * text);
}
