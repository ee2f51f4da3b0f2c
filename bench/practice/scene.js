// The train as it is, for the instructor and those who look on; and "where will it stop?".
const ROLE = JSON.parse(byId("data").textContent);
let train = null, card = null, scene = null, question = { open: false, n: 0, guesses: {} }, mine = null;
let angles = [], lastTime = 0, best = 0.1;

function showCard(frame) {
  card = frame;
  mine = null;
  byId("sentence").textContent = frame.sentence;
  byId("about").textContent = `${frame.train}. ${frame.rail}`;
  byId("caution").textContent = frame.caution;
  byId("handle").replaceChildren();
  frame.positions.forEach((word) => add(byId("handle"), "li", word));
  byId("choices").replaceChildren(...frame.choices.map((text, i) => new Option(text, i, false, i === frame.choice)));
  byId("rails").replaceChildren(new Option("as the lesson has it", ""), ...frame.rails.map((rail) => new Option(rail, rail)));
  byId("to-debrief").hidden = true;
}

function showTrain(frame) {
  train = frame;
  angles = frame.axles.map(() => 0);
}

function showScene(frame) {
  const passed = Math.min(Math.max(frame.time - lastTime, 0), 0.5);
  lastTime = frame.time;
  const isNew = !scene || scene.state !== frame.state;
  scene = frame;
  if (!train || !card) return;
  if (isNew) showQuestion(question);
  frame.wheel_speeds.forEach((speed, k) => { angles[k] += speed * passed / train.axles[k].radius / WHEELS_SLOWER; });
  best = Math.max(best, ...frame.rail);
  document.body.dataset.state = frame.state;
  draw();
}

function level(place) {
  const cell = Math.floor((place - scene.rail_start) / scene.rail_cell);
  const value = scene.rail[Math.min(Math.max(cell, 0), scene.rail.length - 1)];
  return Math.min(254, Math.round(value / Math.max(best, 0.15) * 254));
}

function draw() {
  if (!scene || !train || !card) return;
  drawTrainView(byId("train-view"), train, {
    front: scene.front,
    state: (k) => scene.wheels[k],
    valve: (k) => scene.valves[k],
    share: (k) => Math.min(scene.pressures[k] / 4, 1),
    angle: (k) => angles[k],
    level,
    marker: train.marker,
    platform: train.marker === null ? null : [train.marker - train.length - 10, train.marker],
  });
  showNumbers();
  drawGuesses();
}

function showNumbers() {
  const count = (state) => scene.wheels.filter((w) => w === state).length;
  byId("speed").textContent = speedText(scene.speed);
  byId("shown").textContent = speedText(scene.shown);
  const left = train.marker - scene.front;
  byId("to-marker").textContent = train.marker === null ? "none" : `${lengthText(Math.abs(left))}${left < 0 ? " past" : ""}`;
  byId("wheels").textContent = `${count(LOCKED)} locked, ${count(SHALLOW) + count(DEEP)} sliding (${count(DEEP)} deep), ${count(ROLLING)} rolling`;
  [...byId("handle").children].forEach((item, k) => {
    item.classList.toggle("now", k === scene.handle);
    item.setAttribute("aria-current", String(k === scene.handle));
  });
  const seconds = Math.ceil(scene.isolation);
  const dead = scene.ignored ? ` Dead presses outside emergency: ${scene.ignored}.` : "";
  byId("isolation").hidden = seconds === 0 && !scene.ignored;
  byId("isolation").textContent = `${seconds ? `Slip control isolated, ${seconds} s left.` : ""}${dead}`.trim();
  byId("clock").textContent = `${scene.time.toFixed(1)} s`;
  byId("freeze").textContent = scene.state === "frozen" ? "Run on" : "Freeze";
  const said = `${speedText(scene.speed)}, ${byId("wheels").textContent}`;
  if (draw.labelled === undefined || scene.state !== draw.state || Math.abs(scene.time - draw.labelled) >= 1) {
    draw.state = scene.state;
    draw.labelled = scene.time;
    byId("train-view").setAttribute("aria-label", `the train: ${said}`);
  }
}

const lineEnd = () => (train.marker === null ? 2000 : 1.7 * train.marker);
function lineScale(width, text) {
  const left = 1.2 * text, right = width - 1.2 * text, most = Math.max(lineEnd(), scene.front);
  return { xOf: (place) => left + (place / most) * (right - left), placeOf: (x) => ((x - left) / (right - left)) * most };
}

function drawGuesses() {
  const { pen, width, text } = prepared(byId("line")), y = 3.4 * text;
  const { xOf } = lineScale(width, text);
  pen.fillStyle = LOOK.quiet;
  pen.fillRect(1.2 * text, y, width - 2.4 * text, 2);
  if (train.marker !== null) {
    pen.fillStyle = LOOK.ink;
    pen.fillRect(xOf(train.marker) - 1.5, y - 1.4 * text, 3, 2 * text);
    pen.textAlign = "center";
    pen.fillText("marker", xOf(train.marker), y - 1.7 * text);
  }
  pen.fillStyle = LOOK.quiet;
  pen.textAlign = "center";
  const range = Math.max(lineEnd(), scene.front) * unit.length;
  const step = [50, 100, 200, 500, 1000, 2000].find((d) => range / d < width / (6 * text)) || 5000;
  for (let post = step; post < range; post += step) {
    pen.fillRect(xOf(post / unit.length), y - 3, 1, 8);
    pen.fillText(`${post} ${unit.lengthWord}`, xOf(post / unit.length), y + 6.1 * text);
  }
  pen.fillStyle = LOOK.a;
  const x = xOf(scene.front);
  pen.beginPath();
  pen.moveTo(x, y + 1); pen.lineTo(x - text, y - 0.7 * text); pen.lineTo(x - text, y + 0.9 * text);
  pen.closePath(); pen.fill();
  const all = Object.entries(question.guesses);
  if (!all.length && mine !== null) all.push(["you", mine]);
  all.sort((a, b) => a[1] - b[1]).forEach(([name, place], i) => {
    pen.strokeStyle = pen.fillStyle = LOOK.b;
    const down = y + (1.6 + (i % 4) * 1.15) * text;
    pen.lineWidth = 2;
    pen.beginPath(); pen.moveTo(xOf(place), y - 0.5 * text); pen.lineTo(xOf(place), down - 0.8 * text); pen.stroke();
    pen.textAlign = xOf(place) > width - 6 * text ? "right" : "left";
    pen.fillText(name, xOf(place) + (pen.textAlign === "left" ? 3 : -3), down);
  });
  byId("line").setAttribute("aria-valuemax", lineEnd().toFixed(0));
  byId("line").setAttribute("aria-valuenow", (mine ?? scene.front).toFixed(0));
  byId("line").setAttribute("aria-valuetext", mine === null ? `train at ${lengthText(scene.front)}` : `your guess: ${lengthText(mine)}`);
}

function showQuestion(frame) {
  question = frame;
  const all = Object.entries(frame.guesses);
  let said = frame.open ? `Where will it stop? Tap the line. ${frame.n} guessed so far.` : "";
  if (all.length && scene && scene.state === "ended") {
    const off = (guessed) => Math.abs(guessed[1] - scene.front);
    const nearest = all.reduce((a, b) => (off(b) < off(a) ? b : a));
    said = `It stopped at ${lengthText(scene.front)}. Nearest: ${nearest[0]}, ${lengthText(off(nearest))} off.`;
  } else if (all.length) said = `${all.length} guessed; the train runs on.`;
  byId("question").textContent = said;
  document.body.dataset.asking = String(frame.open);
  draw();
}

function guess(place) {
  if (!question.open) return;
  mine = Math.min(Math.max(place, 0), lineEnd());
  link.say({ do: "guess", name: byId("name").value || "?", place: mine });
  draw();
}

byId("line").addEventListener("click", (event) => {
  const box = event.target.getBoundingClientRect();
  const text = parseFloat(getComputedStyle(event.target).fontSize);
  guess(lineScale(box.width, text).placeOf(event.clientX - box.left));
});
byId("line").addEventListener("keydown", (event) => {
  const by = { ArrowLeft: -10, ArrowRight: 10 }[event.key];
  if (by && scene) { event.preventDefault(); guess((mine ?? scene.front) + by); }
});
link.takes = {
  card: showCard, train: showTrain, scene: showScene, question: showQuestion,
  debrief: (frame) => { byId("to-debrief").href = frame.at; byId("to-debrief").hidden = false; document.body.dataset.debrief = frame.at; },
};
byId("lead").hidden = !ROLE.leads;
byId("freeze").addEventListener("click", () => link.say({ do: scene.state === "frozen" ? "resume" : "freeze" }));
for (const what of ["ask", "reveal", "again", "end"]) byId(what).addEventListener("click", () => link.say({ do: what }));
byId("pace").addEventListener("change", (event) => link.say({ do: "pace", to: Number(event.target.value) }));
byId("choices").addEventListener("change", (event) => link.say({ do: "choose", to: Number(event.target.value) }));
byId("rails").addEventListener("change", (event) => link.say({ do: "rail", to: event.target.value }));
byId("units").addEventListener("change", (event) => { unit = UNITS[event.target.value]; draw(); });
byId("projector").addEventListener("click", () => {
  const isOn = document.documentElement.classList.toggle("projector");
  byId("projector").setAttribute("aria-pressed", String(isOn));
  redraw();
});
function redraw() { readLook(); draw(); drawKey(byId("key"), Math.max(best, 0.15)); }
window.addEventListener("resize", redraw);
for (const what of ["(prefers-color-scheme: dark)", "(forced-colors: active)"]) window.matchMedia(what).addEventListener("change", redraw);
drawKey(byId("key"), 0.15);
link.open(null);
