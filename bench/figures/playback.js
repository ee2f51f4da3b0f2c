// One stop, or two side by side, from the numbers embedded in the page. Nothing is fetched.
const DATA = JSON.parse(document.getElementById("data").textContent);

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
const FARTHEST = Math.max(...STOPS.map((s) => Math.max(s.distance[s.n - 1], s.stopping_point || 0)));
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

function drawTrain(s, lane, time) {
  const { row, between } = at(s, time), nAxles = DATA.axles.length;
  const point = s.stopping_point;
  drawTrainView(lane.canvas, DATA, {
    front: between(s.distance),
    state: (k) => s.state[row * nAxles + k] >> 2,
    valve: (k) => s.state[row * nAxles + k] & 3,
    share: (k) => s.pressure[row * nAxles + k] / 255,
    angle: (k) => between(s.travel, nAxles, k) / DATA.axles[k].radius / WHEELS_SLOWER,
    level: (place, nPassed) => friction(s, place, nPassed),
    marker: point,
    platform: point === null ? null : [point - DATA.length - 10, point],
  });
  return row;
}

function add(parent, tag, text = "", className = "") {
  const made = document.createElement(tag);
  if (text) made.textContent = text;
  if (className) made.className = className;
  parent.append(made);
  return made;
}

function number(list, label) {
  const box = add(list, "div");
  add(box, "dt", label);
  return add(box, "dd");
}

function makeLane(s, i) {
  const section = add(element("lanes"), "section", "", `lane ${i === 0 ? "first" : "second"}`);
  const head = add(section, "h2");
  head.id = `lane-${MARK[i]}`;
  section.setAttribute("aria-labelledby", head.id);
  if (STOPS.length > 1) add(head, "span", MARK[i], "badge");
  add(head, "span", s.name);
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
  lane.card = add(section, "p", "", "card");
  lane.card.hidden = true;
  return lane;
}

function counts(s, row) {
  const nAxles = DATA.axles.length, found = [0, 0, 0, 0], locked = [];
  for (let k = 0; k < nAxles; k++) {
    const state = s.state[row * nAxles + k] >> 2;
    found[state]++;
    if (state === LOCKED) locked.push(k + 1);
  }
  return { rolling: found[ROLLING], shallow: found[SHALLOW], deep: found[DEEP], locked };
}

function resultText(s) {
  const r = s.result, words = [];
  words.push(r.is_stopped ? `Stopped in ${lengthText(r.distance)}` : `Not stopped after ${lengthText(r.distance)}`);
  if (r.overrun !== null) {
    const side = r.overrun > 0 ? "past" : "short of";
    words.push(`${lengthText(Math.abs(r.overrun))} ${side} the marker`);
  }
  words.push(r.longest_lock > 0 ? `longest lock ${r.longest_lock.toFixed(1)} s` : "no wheel locked");
  const worst = r.flats.reduce((a, b) => (b[2] > a[2] ? b : a), [0, 0, 0]);
  words.push(worst[2] > 0
    ? `flats on ${r.flats.length} axles, the longest ${worst[1].toFixed(0)} to ${worst[2].toFixed(0)} mm (axle ${worst[0]})`
    : "no flats");
  const n = counts(s, s.n - 1).locked.length;
  if (n) words.push(`${n} axles locked to standstill`);
  return `${words.join("; ")}.`;
}

function showNumbers(s, lane, row, time) {
  const { between } = at(s, time);
  const speed = between(s.trainSpeed), cab = s.cabSpeed[row];
  const written = (dd, main, small) => {
    dd.textContent = main;
    if (small) add(dd, "small", ` ${small}`);
  };
  const isEnd = time >= s.lasts - 1e-3;
  written(lane.speed, speedText(speed), "");
  written(lane.cab, speedText(cab), Math.abs(speed - cab) > 0.9 ? "(reads wrong)" : "");
  written(lane.distance, lengthText(between(s.distance)), isEnd ? (s.result.is_stopped ? "stopped" : "not stopped") : "");
  const c = counts(s, row);
  const sliding = `${c.shallow + c.deep} sliding (${c.deep} deep)`;
  written(lane.wheels, `${c.locked.length} locked`, `${sliding}, ${c.rolling} rolling`);
  lane.positions.forEach((item, k) => {
    item.classList.toggle("now", k === s.handle[row]);
    item.setAttribute("aria-current", String(k === s.handle[row]));
  });
  lane.card.hidden = !isEnd;
  if (isEnd) lane.card.textContent = resultText(s);
}

function account(s, i, time) {
  const { row, between } = at(s, time), c = counts(s, row);
  const some = c.locked.length ? `axles ${c.locked.join(", ")} locked` : "no wheel locked";
  const locked = c.locked.length === DATA.axles.length ? "every wheel locked" : some;
  const mark = STOPS.length > 1 ? `${MARK[i]}, ` : "";
  return `${mark}${s.name}: ${speedText(between(s.trainSpeed))}, ` +
    `${lengthText(between(s.distance))}, ${locked}, ${c.shallow + c.deep} sliding, of them ${c.deep} deep.` +
    (time >= s.lasts - 1e-3 ? ` ${resultText(s)}` : "");
}

const lanes = STOPS.map(makeLane);
let now = 0, isPlaying = false, before = 0, timer = 0, labelled = -9, hashed = "";

function draw() {
  STOPS.forEach((s, i) => {
    const row = drawTrain(s, lanes[i], now);
    showNumbers(s, lanes[i], row, now);
  });
  drawLine(element("line"), STOPS.map((s, i) => ({
    place: at(s, now).between(s.distance), marker: s.stopping_point,
    mark: STOPS.length > 1 ? MARK[i] : "", colour: i === 0 ? LOOK.a : LOOK.b,
  })), FARTHEST);
  drawChart(element("chart"), STOPS, now, LASTS, FASTEST);
  element("scrub").value = now;
  element("scrub").setAttribute("aria-valuetext", `${now.toFixed(1)} seconds`);
  element("clock").textContent = `${now.toFixed(1)} s`;
  document.body.dataset.time = now.toFixed(3);
  if (Math.abs(now - labelled) >= 1 || !isPlaying) label();
}

// What a canvas shows is in its label too, followed once a second while it plays.
function label() {
  labelled = now;
  STOPS.forEach((s, i) => lanes[i].canvas.setAttribute("aria-label", `At ${now.toFixed(1)} s. ${account(s, i, now)}`));
  const places = STOPS.map((s, i) => `${MARK[i]} at ${lengthText(at(s, now).between(s.distance))}`);
  element("line").setAttribute("aria-label", `position along the line: ${places.join(", ")}`);
  const speeds = STOPS.map((s, i) => `${MARK[i]} ${speedText(at(s, now).between(s.trainSpeed))}`);
  element("chart").setAttribute("aria-label", `train speed over time; at ${now.toFixed(1)} s: ${speeds.join(", ")}`);
}

function tell(before = "") {
  const text = `At ${now.toFixed(1)} s. ${STOPS.map((s, i) => account(s, i, now)).join(" ")}`;
  element("told").textContent = before + text;
}

function go(time, isTold = true) {
  now = Math.min(Math.max(time, 0), LASTS);
  draw();
  if (isTold) { tell(); writeAddress(); }
}

// The moment stands in the address, `#t=7.5`, and is taken from there when it is changed.
let addressTimer = 0;
function writeAddress() {
  clearTimeout(addressTimer);
  addressTimer = setTimeout(() => {
    hashed = `#t=${now.toFixed(1)}`;
    try { history.replaceState(null, "", hashed); } catch { /* a page in a frame may not */ }
  }, 250);
}

function readAddress() {
  const text = window.location.hash;
  if (text === hashed) return;
  hashed = text;
  const asked = /^#t=(\d+(?:\.\d*)?|\.\d+)$/.exec(text);
  if (asked) { pause(); now = Math.min(Number(asked[1]), LASTS); draw(); tell(); return; }
  if (text) tell("The address names no moment; it may end in #t= and seconds, such as #t=7.5. ");
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
  if (!isPlaying) return;
  isPlaying = false;
  clearTimeout(timer);
  document.body.dataset.playing = "false";
  element("play").textContent = "Play";
  label(); tell(); writeAddress();
}

const toggle = () => (isPlaying ? pause() : play());
element("play").addEventListener("click", toggle);
element("start").addEventListener("click", () => go(0));
element("end").addEventListener("click", () => go(LASTS));
element("back").addEventListener("click", () => go(now - 1));
element("on").addEventListener("click", () => go(now + 1));
element("scrub").addEventListener("input", (event) => go(Number(event.target.value)));
element("units").addEventListener("change", (event) => { unit = UNITS[event.target.value]; redraw(); tell(); });
element("projector").addEventListener("click", () => {
  const isOn = document.documentElement.classList.toggle("projector");
  element("projector").setAttribute("aria-pressed", String(isOn));
  redraw();
});
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

const best = (DATA.friction_scale || 0) * 254;
function redraw() { readLook(); draw(); drawKey(element("key"), best); }
window.addEventListener("resize", redraw);
window.addEventListener("hashchange", readAddress);
calm.addEventListener("change", () => { element("calm").hidden = !calm.matches; draw(); });
for (const what of ["(prefers-color-scheme: dark)", "(forced-colors: active)"]) {
  window.matchMedia(what).addEventListener("change", redraw);
}
// Paper is light whatever the screen is.
window.addEventListener("beforeprint", () => { document.documentElement.classList.add("paper"); redraw(); });
window.addEventListener("afterprint", () => { document.documentElement.classList.remove("paper"); redraw(); });

for (const name of ["title", "about", "train", "caution", "made"]) element(name).textContent = DATA[name];
element("calm").hidden = !calm.matches;
element("scrub").max = LASTS.toFixed(1);
document.body.dataset.playing = "false";
drawKey(element("key"), best);
go(0, false);
readAddress();
if (!element("told").textContent) tell();
