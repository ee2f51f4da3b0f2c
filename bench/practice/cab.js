// The handle, and what a cab shows. All that is known of the train comes in `cab` frames.
let units = SPEEDS.mph, card = null, last = null, heard = 0, audio = null, shownState = "";

function ownId() {
  let id = sessionStorage.getItem("desk");
  if (!id) {
    id = Array.from(crypto.getRandomValues(new Uint8Array(12)), (b) => b.toString(16).padStart(2, "0")).join("");
    sessionStorage.setItem("desk", id);
  }
  return id;
}

function showCard(frame) {
  card = frame;
  heard = 0;
  byId("sentence").textContent = frame.sentence;
  byId("goal").textContent = frame.goal;
  byId("rail").textContent = frame.rail;
  byId("train").textContent = frame.train;
  byId("caution").textContent = frame.caution;
  byId("choices-row").hidden = frame.choices.length < 2;
  byId("choices").replaceChildren(...frame.choices.map((text, i) => new Option(text, i, false, i === frame.choice)));
  const ladder = byId("ladder");
  ladder.replaceChildren();
  frame.positions.map((word, i) => [word, i]).reverse().forEach(([word, i]) => {
    const step = add(ladder, "button", word, "step");
    step.type = "button";
    step.dataset.to = i;
    step.setAttribute("role", "radio");
    step.addEventListener("click", () => link.say({ do: "handle", to: i }));
  });
  showUnits();
  fromAddress();
}

function showUnits() {
  if (!card) return;
  byId("first-speed").textContent = `${(card.speed * units.speed).toFixed(0)} ${units.word}`;
  byId("ahead").textContent = `${(card.marker * units.length).toFixed(0)} ${units.lengthWord} ahead`;
  byId("speed-unit").textContent = units.word;
  if (last) showCab({ ...last, vents: 0 });
}

function showState(state) {
  if (state === shownState) return;
  shownState = state;
  document.body.dataset.state = state;
  byId("start").hidden = state !== "ready";
  byId("cab").hidden = state === "ready" || state === "ended";
  byId("done").hidden = state !== "ended";
  if (state === "ready") { byId("to-debrief").hidden = true; byId("waiting").hidden = false; byId("waiting").textContent = "The run is replayed for the debrief."; }
  byId("pause").textContent = state === "frozen" ? "Go on" : "Pause";
}

function showCab(frame) {
  last = frame;
  showState(frame.state);
  byId("speed").textContent = (frame.speed * units.speed).toFixed(0);
  byId("marker").textContent = frame.marker === null ? "none" :
    `${Math.abs(frame.marker * units.length).toFixed(0)} ${units.lengthWord}${frame.marker < 0 ? " behind" : ""}`;
  const box = byId("cylinders");
  while (box.children.length < frame.cylinders.length) {
    const row = add(box, "p", "", "cylinder");
    add(row, "meter").max = 4;
    add(row, "span", "", "bar");
  }
  frame.cylinders.forEach((bar, i) => {
    const row = box.children[i];
    row.querySelector("meter").value = bar;
    row.querySelector("meter").setAttribute("aria-label", `cylinder ${i + 1}`);
    row.querySelector(".bar").textContent = `${bar.toFixed(1)} bar`;
  });
  if (frame.vents > 0) tick(frame.vents);
  for (const step of byId("ladder").children) {
    const isHere = Number(step.dataset.to) === frame.handle;
    step.classList.toggle("now", isHere);
    step.setAttribute("aria-checked", String(isHere));
  }
  showIsolation(frame);
  byId("clock").textContent = `${frame.time.toFixed(1)} s${frame.pace === 1 ? "" : `, at ${frame.pace} times real time`}`;
}

function showIsolation(frame) {
  const isLive = frame.handle === card.positions.length - 1;
  byId("isolate").classList.toggle("dead", !isLive);
  byId("isolate").setAttribute("aria-label", isLive ? "isolate slip control" : "isolate slip control: dead outside emergency");
  const left = Math.ceil(frame.isolation), text = left > 0
    ? `Isolated, ${Math.floor(left / 60)}:${String(left % 60).padStart(2, "0")} left; each further press adds ${(card.isolation_time / 60).toFixed(0)} minutes. Release now gives a full application.`
    : isLive ? "In emergency: the button is live." : "Dead outside emergency; a press is noted.";
  if (byId("isolation").textContent !== text) byId("isolation").textContent = text;
}

// A vent: a count, a mark that turns, and a short hiss where sound is wanted.
function tick(n) {
  heard += n;
  byId("vents").textContent = heard;
  byId("tick").textContent = "●";
  setTimeout(() => { byId("tick").textContent = "○"; }, 120);
  if (!byId("sound").checked) return;
  audio = audio || new AudioContext();
  const noise = audio.createBuffer(1, 0.08 * audio.sampleRate, audio.sampleRate), data = noise.getChannelData(0);
  for (let i = 0; i < data.length; i++) data[i] = (2 * Math.random() - 1) * (1 - i / data.length) * 0.3;
  const source = audio.createBufferSource();
  source.buffer = noise;
  source.connect(audio.destination);
  source.start();
}

// From a debrief one comes back with a wish in the address.
function fromAddress() {
  const wish = window.location.hash;
  if (!wish || card.state !== "ended") return;
  history.replaceState(null, "", window.location.pathname);
  if (wish === "#again") link.say({ do: "again" });
  if (wish.startsWith("#rail=")) link.say({ do: "rail", to: decodeURIComponent(wish.slice(6)) });
}

link.takes = {
  card: showCard,
  cab: showCab,
  failed: () => { byId("waiting").textContent = "The run could not be replayed; the desk's log says why."; },
  debrief: (frame) => {
    byId("to-debrief").href = frame.at;
    byId("to-debrief").hidden = false;
    byId("waiting").hidden = true;
    document.body.dataset.debrief = frame.at;
  },
};
byId("begin").addEventListener("click", () => link.say({ do: "begin", name: byId("name").value }));
byId("again").addEventListener("click", () => link.say({ do: "again" }));
byId("isolate").addEventListener("click", () => link.say({ do: "isolate" }));
byId("end").addEventListener("click", () => link.say({ do: "end" }));
const pauseOrGoOn = () => link.say({ do: shownState === "frozen" ? "resume" : "freeze" });
byId("pause").addEventListener("click", pauseOrGoOn);
byId("pace").addEventListener("change", (event) => link.say({ do: "pace", to: Number(event.target.value) }));
byId("choices").addEventListener("change", (event) => link.say({ do: "choose", to: Number(event.target.value) }));
byId("units").addEventListener("change", (event) => { units = SPEEDS[event.target.value]; showUnits(); });
document.addEventListener("keydown", (event) => {
  const at = event.target, isTyping = at.tagName === "SELECT" || (at.tagName === "INPUT" && at.type !== "checkbox");
  if (!last || shownState === "ready" || isTyping || event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
  const most = card.positions.length - 1, move = (by) => {
    const to = Math.min(Math.max(last.handle + by, 0), most);
    if (to !== last.handle) link.say({ do: "handle", to });
  };
  const acts = {
    ArrowUp: () => move(1), ArrowRight: () => move(1), ArrowDown: () => move(-1), ArrowLeft: () => move(-1),
    i: () => link.say({ do: "isolate" }), p: pauseOrGoOn,
  };
  if (!(event.key in acts)) return;
  event.preventDefault();
  acts[event.key]();
});
link.open({ do: "hello", id: ownId() });
