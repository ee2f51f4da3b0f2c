"use strict";
// One stop, or two side by side, from the numbers embedded in the page. Nothing is fetched.
const DATA = JSON.parse(document.getElementById("data").textContent);
const MARK = ["A", "B"];
const COLOUR = ["#0072b2", "#b84d00"];
const INK = "#1a1a1a", QUIET = "#5c5c5c", FAINT = "#d9d9d9", PAPER = "#ffffff";
const LOCKED = "#d55e00", SLIDING = "#8c8c8c";
// Dark and bluish for slippery to light and yellow for good: ordered in grey as well.
const RAMP = [[0, 32, 77], [62, 78, 108], [124, 123, 120], [188, 174, 106], [255, 234, 70]];
const WHEELS_SLOWER = 4;
const calm = window.matchMedia("(prefers-reduced-motion: reduce)");
const element = (id) => document.getElementById(id);

function bytes(text) {
  const raw = atob(text);
  const out = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) out[i] = raw.charCodeAt(i);
  return out;
}
const floats = (text) => new Float32Array(bytes(text).buffer);
function scaled(text, scale) {
  return Float32Array.from(new Uint16Array(bytes(text).buffer), (value) => value * scale);
}

function unpack(stop) {
  const s = { ...stop };
  s.distance = floats(stop.distance);
  s.trainSpeed = scaled(stop.train_speed, DATA.speed_scale);
  s.cabSpeed = scaled(stop.cab_speed, DATA.speed_scale);
  s.wheelSpeed = scaled(stop.wheel_speed, DATA.speed_scale);
  s.handle = bytes(stop.handle);
  s.pressure = bytes(stop.pressure);
  s.state = bytes(stop.state);
  s.rail = bytes(stop.rail.friction);
  s.n = s.distance.length;
  s.lasts = (s.n - 1) * s.interval;
  const nAxles = DATA.axles.length;
  s.travel = new Float32Array(s.n * nAxles);
  for (let i = 1; i < s.n; i++) {
    for (let k = 0; k < nAxles; k++) {
      const here = i * nAxles + k, before = here - nAxles;
      const mean = 0.5 * (s.wheelSpeed[here] + s.wheelSpeed[before]);
      s.travel[here] = s.travel[before] + mean * s.interval;
    }
  }
  return s;
}

const STOPS = DATA.stops.map(unpack);
const LASTS = Math.max(...STOPS.map((s) => s.lasts));
const FARTHEST = Math.max(...STOPS.map((s) => s.distance[s.n - 1]), DATA.stopping_point || 0);
const FASTEST = Math.max(...STOPS.map((s) => s.trainSpeed[0]));

function at(s, time) {
  const x = Math.min(Math.max(time / s.interval, 0), s.n - 1);
  const i = Math.min(Math.floor(x), s.n - 2 < 0 ? 0 : s.n - 2);
  const f = x - i;
  const between = (a, width = 1, k = 0) =>
    a[i * width + k] + f * ((a[(i + 1) * width + k] ?? a[i * width + k]) - a[i * width + k]);
  const row = Math.min(Math.round(x), s.n - 1);
  return { row, between };
}

function friction(s, place, nPassed) {
  const r = s.rail_info;
  const cell = Math.min(Math.max(Math.floor((place - r.start) / r.cell), 0), r.n - 1);
  let value = s.rail[nPassed * r.n + cell];
  if (value === 255 && nPassed > 0) value = s.rail[DATA.axles.length * r.n + cell];
  if (value === 255) value = s.rail[cell];
  return value === 255 ? s.untouched : value;
}

function rampColour(share) {
  const x = Math.min(Math.max(share, 0), 1) * (RAMP.length - 1);
  const i = Math.min(Math.floor(x), RAMP.length - 2);
  const mixed = RAMP[i].map((c, k) => Math.round(c + (x - i) * (RAMP[i + 1][k] - c)));
  return `rgb(${mixed.join(",")})`;
}
const RAMP_COLOURS = Array.from({ length: 255 }, (_, i) => rampColour(i / 254));

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
  pen.font = '12px "Segoe UI", "DejaVu Sans", Arial, sans-serif';
  return { pen, width, height };
}

function wheel(pen, x, y, radius, angle, state) {
  pen.beginPath();
  pen.arc(x, y, radius, 0, 2 * Math.PI);
  pen.fillStyle = state === 2 ? LOCKED : state === 1 ? SLIDING : PAPER;
  pen.fill();
  pen.lineWidth = state === 2 ? 2.4 : 1.4;
  pen.strokeStyle = INK;
  pen.stroke();
  pen.beginPath();
  if (state === 2) {
    const d = 0.62 * radius;
    pen.moveTo(x - d, y - d); pen.lineTo(x + d, y + d);
    pen.moveTo(x - d, y + d); pen.lineTo(x + d, y - d);
  } else {
    pen.moveTo(x, y);
    pen.lineTo(x + radius * Math.sin(angle), y - radius * Math.cos(angle));
  }
  pen.stroke();
}

function vehicleBody(pen, left, right, top, bottom, isFront, isLast) {
  const nose = Math.min(10, 0.3 * (right - left));
  pen.beginPath();
  pen.moveTo(left + (isLast ? nose : 2), top);
  pen.lineTo(right - (isFront ? nose : 2), top);
  pen.lineTo(right - (isFront ? 0 : 2), bottom - 12);
  pen.lineTo(right - 2, bottom);
  pen.lineTo(left + 2, bottom);
  pen.lineTo(left + (isLast ? 0 : 2), bottom - 12);
  pen.closePath();
  pen.fillStyle = "#f3f1ec";
  pen.fill();
  pen.lineWidth = 1.2;
  pen.strokeStyle = QUIET;
  pen.stroke();
}

function drawTrain(s, lane, time) {
  const { pen, width, height } = prepared(lane.canvas);
  const { row, between } = at(s, time);
  const front = between(s.distance), nAxles = DATA.axles.length;
  const ahead = 9, behind = 13;
  const scale = width / (DATA.length + ahead + behind);
  const xOf = (place) => width - (front + ahead - place) * scale;
  const railTop = height - 40, wheelRadius = Math.min(12, 1.1 * scale);
  drawRail(pen, s, front, width, scale, ahead, railTop);
  DATA.vehicles.forEach((v, i) => {
    const right = xOf(front - v.start), left = xOf(front - v.start - v.length);
    vehicleBody(pen, left, right, 18, railTop - 2 * wheelRadius + 4, i === 0,
      i === DATA.vehicles.length - 1);
  });
  DATA.axles.forEach((axle, k) => {
    const x = xOf(front - axle.offset), here = row * nAxles + k;
    const angle = calm.matches ? 0 : between(s.travel, nAxles, k) / axle.radius / WHEELS_SLOWER;
    const barTop = 28, barHigh = railTop - 2 * wheelRadius - 34;
    const share = s.pressure[here] / 255;
    pen.lineWidth = 1;
    pen.strokeStyle = INK;
    pen.fillStyle = PAPER;
    pen.fillRect(x - 5, barTop, 10, barHigh);
    pen.fillStyle = INK;
    pen.fillRect(x - 5, barTop + (1 - share) * barHigh, 10, share * barHigh);
    pen.strokeRect(x - 5, barTop, 10, barHigh);
    wheel(pen, x, railTop - wheelRadius, wheelRadius, angle, s.state[here] >> 2);
    pen.fillStyle = QUIET;
    pen.textAlign = "center";
    if (nAxles <= 24 || (k + 1) % 4 === 0) pen.fillText(String(k + 1), x, 13);
  });
  return row;
}

function drawRail(pen, s, front, width, scale, ahead, top) {
  const places = DATA.axles.map((axle) => front - axle.offset);
  let nPassed = DATA.axles.length;
  for (let x = 0; x < width; x += 2) {
    const place = front + ahead - (width - x - 1) / scale;
    while (nPassed > 0 && places[nPassed - 1] <= place) nPassed--;
    pen.fillStyle = RAMP_COLOURS[friction(s, place, nPassed)];
    pen.fillRect(x, top, 2, 15);
  }
  pen.strokeStyle = INK;
  pen.lineWidth = 1;
  pen.strokeRect(-2, top, width + 4, 15);
  pen.fillStyle = QUIET;
  const first = Math.ceil((front + ahead - width / scale) / 20) * 20;
  pen.textAlign = "center";
  for (let post = first; post < front + ahead; post += 20) {
    const x = width - (front + ahead - post) * scale;
    pen.fillRect(x - 0.5, top + 15, 1, 6);
    pen.fillText(`${post} m`, x, top + 33);
  }
}

function drawLine(time) {
  const { pen, width } = prepared(element("line"));
  const xOf = (place) => 14 + (place / FARTHEST) * (width - 40);
  pen.fillStyle = QUIET;
  pen.fillRect(14, 34, width - 40, 2);
  const step = [20, 50, 100, 200, 500, 1000, 2000].find((d) => FARTHEST / d < 14) || 5000;
  pen.textAlign = "center";
  for (let place = 0; place <= FARTHEST; place += step) {
    pen.fillRect(xOf(place), 30, 1, 10);
    pen.fillText(`${place} m`, xOf(place), 72);
  }
  if (DATA.stopping_point) {
    pen.fillStyle = INK;
    pen.fillRect(xOf(DATA.stopping_point) - 1.5, 16, 3, 24);
    pen.fillText("stopping point", xOf(DATA.stopping_point), 12);
  }
  STOPS.forEach((s, i) => {
    const x = xOf(at(s, time).between(s.distance));
    const y = i === 0 ? 16 : 44;
    pen.fillStyle = COLOUR[i];
    pen.beginPath();
    pen.moveTo(x, 35);
    pen.lineTo(x - 12, y - 6); pen.lineTo(x - 12, y + 10);
    pen.closePath();
    pen.fill();
    pen.font = 'bold 13px "Segoe UI", "DejaVu Sans", Arial, sans-serif';
    pen.fillText(MARK[i], x - 20, y + 7);
    pen.font = '12px "Segoe UI", "DejaVu Sans", Arial, sans-serif';
  });
}

function drawChart(time) {
  const { pen, width, height } = prepared(element("chart"));
  const bottom = height - 20, top = 12;
  const xOf = (t) => (t / LASTS) * width;
  const yOf = (speed) => bottom - (speed / FASTEST) * (bottom - top);
  pen.strokeStyle = FAINT;
  pen.fillStyle = QUIET;
  pen.lineWidth = 1;
  for (let kmh = 0; kmh <= FASTEST * 3.6; kmh += 40) {
    const y = yOf(kmh / 3.6);
    pen.beginPath(); pen.moveTo(0, y); pen.lineTo(width, y); pen.stroke();
    pen.textAlign = "right";
    if (kmh > 0) pen.fillText(`${kmh} km/h`, width - 2, y - 3);
  }
  const step = [1, 2, 5, 10, 20, 50, 100, 200, 500].find((d) => LASTS / d < 14) || 1000;
  for (let t = 0; t <= LASTS; t += step) {
    pen.textAlign = t === 0 ? "left" : "center";
    pen.fillText(`${t} s`, xOf(t), height - 5);
  }
  STOPS.forEach((s, i) => {
    pen.beginPath();
    const stride = Math.max(1, Math.floor(s.n / width));
    for (let k = 0; k < s.n; k += stride) pen.lineTo(xOf(k * s.interval), yOf(s.trainSpeed[k]));
    pen.lineTo(xOf(s.lasts), yOf(s.trainSpeed[s.n - 1]));
    pen.strokeStyle = COLOUR[i];
    pen.lineWidth = 2.2;
    pen.setLineDash(i === 0 ? [] : [7, 4]);
    pen.stroke();
    pen.setLineDash([]);
  });
  pen.strokeStyle = INK;
  pen.lineWidth = 1.5;
  pen.beginPath(); pen.moveTo(xOf(time), 0); pen.lineTo(xOf(time), bottom); pen.stroke();
}

function drawKey() {
  const { pen, width } = prepared(element("key"));
  const items = [["rolling", 0], ["sliding", 1], ["locked", 2]];
  items.forEach(([name, state], i) => {
    wheel(pen, 16 + 95 * i, 20, 12, 0.8, state);
    pen.fillStyle = INK;
    pen.textAlign = "left";
    pen.fillText(name, 33 + 95 * i, 24);
  });
  pen.strokeRect(296, 6, 10, 28);
  pen.fillRect(296, 20, 10, 14);
  pen.fillText(`brake cylinder, full bar: ${DATA.full_pressure_bar.toFixed(1)} bar`, 314, 24);
  const long = Math.min(254, width - 240);
  for (let x = 0; x < long; x++) {
    pen.fillStyle = rampColour(x / long);
    pen.fillRect(4 + x, 50, 1, 15);
  }
  pen.strokeRect(4, 50, long, 15);
  pen.fillStyle = INK;
  const most = (DATA.friction_scale * 254).toFixed(2);
  pen.fillText(`rail friction, 0 (slippery) to ${most}`, 14 + long, 62);
}

function add(parent, tag, text = "", name = "") {
  const child = document.createElement(tag);
  child.textContent = text;
  if (name) child.className = name;
  parent.appendChild(child);
  return child;
}

function number(list, label) {
  const box = add(list, "div");
  add(box, "dt", label);
  return add(box, "dd");
}

function makeLane(s, i) {
  const section = add(element("lanes"), "section", "", "lane");
  const head = add(section, "h2");
  head.id = `lane-${MARK[i]}`;
  section.setAttribute("aria-labelledby", head.id);
  const badge = add(head, "span", MARK[i], "badge");
  badge.style.background = COLOUR[i];
  add(head, "span", s.controller.replaceAll("_", " "));
  add(head, "span", s.principle, "quiet");
  const list = add(section, "dl", "", "numbers");
  const lane = {
    speed: number(list, "train speed, as it is"),
    cab: number(list, "speed the cab shows"),
    distance: number(list, "distance run"),
    wheels: number(list, "axles"),
    handle: number(list, "brake handle"),
  };
  const handle = add(lane.handle, "ul", "", "handle");
  lane.positions = DATA.handle.map((name) => add(handle, "li", name));
  lane.canvas = add(section, "canvas", "", "train-view");
  lane.canvas.setAttribute("role", "img");
  return lane;
}

const mph = (speed) => (speed / 0.44704).toFixed(0);
const kmh = (speed) => (speed * 3.6).toFixed(0);

function counts(s, row) {
  const nAxles = DATA.axles.length, found = [0, 0, 0], locked = [];
  for (let k = 0; k < nAxles; k++) {
    const state = s.state[row * nAxles + k] >> 2;
    found[state]++;
    if (state === 2) locked.push(k + 1);
  }
  return { rolling: found[0], sliding: found[1], locked };
}

function showNumbers(s, lane, row, time) {
  const { between } = at(s, time);
  const speed = between(s.trainSpeed), cab = s.cabSpeed[row];
  const written = (dd, main, small) => {
    dd.textContent = main;
    add(dd, "small", ` ${small}`);
  };
  written(lane.speed, `${mph(speed)} mph`, `${kmh(speed)} km/h`);
  written(lane.cab, `${mph(cab)} mph`, `${kmh(cab)} km/h`);
  lane.cab.classList.toggle("differs", Math.abs(speed - cab) > 0.9);
  const done = time >= s.lasts ? (s.is_stopped ? "stopped" : "not stopped") : "";
  written(lane.distance, `${between(s.distance).toFixed(0)} m`, done);
  const c = counts(s, row);
  written(lane.wheels, `${c.locked.length} locked`, `${c.sliding} sliding, ${c.rolling} rolling`);
  lane.positions.forEach((item, k) => {
    item.classList.toggle("now", k === s.handle[row]);
    item.setAttribute("aria-current", String(k === s.handle[row]));
  });
}

function account(time) {
  return STOPS.map((s, i) => {
    const { row, between } = at(s, time);
    const c = counts(s, row);
    const some = c.locked.length ? `axles ${c.locked.join(", ")} locked` : "no wheel locked";
    const locked = c.locked.length === DATA.axles.length ? "every wheel locked" : some;
    return `${MARK[i]}, ${s.controller.replaceAll("_", " ")}: ${mph(between(s.trainSpeed))} mph, ` +
      `${between(s.distance).toFixed(0)} m, ${locked}, ${c.sliding} sliding.`;
  }).join(" ");
}

const lanes = STOPS.map(makeLane);
let now = 0, isPlaying = false, before = 0, timer = 0;

function draw() {
  STOPS.forEach((s, i) => {
    const row = drawTrain(s, lanes[i], now);
    showNumbers(s, lanes[i], row, now);
  });
  drawLine(now);
  drawChart(now);
  element("scrub").value = now;
  element("scrub").setAttribute("aria-valuetext", `${now.toFixed(1)} seconds`);
  element("clock").textContent = `${now.toFixed(1)} s`;
  document.body.dataset.time = now.toFixed(3);
}

function tell() {
  const text = `At ${now.toFixed(1)} s. ${account(now)}`;
  element("told").textContent = text;
  lanes.forEach((lane, i) => lane.canvas.setAttribute("aria-label", `train ${MARK[i]}. ${text}`));
}

function go(time, isTold = true) {
  now = Math.min(Math.max(time, 0), LASTS);
  draw();
  if (isTold) tell();
}

function step(stamp) {
  if (!isPlaying) return;
  const pace = Number(element("pace").value);
  go(now + pace * Math.min((stamp - before) / 1000, 1.5), false);
  before = stamp;
  if (now >= LASTS) pause(); else next();
}

function next() {
  if (calm.matches) timer = setTimeout(() => step(performance.now()), 500);
  else requestAnimationFrame(step);
}

function play() {
  if (now >= LASTS) go(0);
  isPlaying = true;
  before = performance.now();
  document.body.dataset.playing = "true";
  element("play").textContent = "Pause";
  next();
}

function pause() {
  isPlaying = false;
  clearTimeout(timer);
  document.body.dataset.playing = "false";
  element("play").textContent = "Play";
  tell();
}

const toggle = () => (isPlaying ? pause() : play());
element("play").addEventListener("click", toggle);
element("start").addEventListener("click", () => go(0));
element("end").addEventListener("click", () => go(LASTS));
element("back").addEventListener("click", () => go(now - 1));
element("on").addEventListener("click", () => go(now + 1));
element("scrub").addEventListener("input", (event) => go(Number(event.target.value)));
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.target.tagName === "SELECT") return;
  const far = event.shiftKey ? 10 : 1;
  const acts = {
    " ": toggle,
    ArrowLeft: () => go(now - far),
    ArrowRight: () => go(now + far),
    Home: () => go(0),
    End: () => go(LASTS),
  };
  const isOtherButton = event.target.tagName === "BUTTON" && event.target.id !== "play";
  if (!(event.key in acts) || (event.key === " " && isOtherButton)) return;
  event.preventDefault();
  acts[event.key]();
});
// A focused button also clicks when the space bar is let go, which would play and pause at once.
element("play").addEventListener("keyup", (event) => {
  if (event.key === " ") event.preventDefault();
});
window.addEventListener("resize", () => { draw(); drawKey(); });
calm.addEventListener("change", () => { element("calm").hidden = !calm.matches; draw(); });

element("title").textContent = DATA.title;
element("train").textContent = DATA.train;
element("caution").textContent = DATA.caution;
element("made").textContent = DATA.made;
element("calm").hidden = !calm.matches;
element("scrub").max = LASTS.toFixed(1);
document.body.dataset.playing = "false";
const asked = /^#t=([0-9.]+)$/.exec(window.location.hash);
drawKey();
go(asked ? Number(asked[1]) : 0);
