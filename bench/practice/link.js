"use strict";
// The line to the desk: one socket, taken up again when it is lost. Nothing else is fetched.
const byId = (id) => document.getElementById(id);
const link = {
  socket: null,
  takes: {},
  isEnded: false,
  say(message) {
    if (this.socket && this.socket.readyState === WebSocket.OPEN) this.socket.send(JSON.stringify(message));
  },
  open(greeting) {
    const at = `ws://${window.location.host}${window.location.pathname}live`;
    this.socket = new WebSocket(at);
    this.socket.addEventListener("open", () => {
      document.body.dataset.link = "open";
      byId("lost").hidden = true;
      if (greeting) this.say(greeting);
    });
    this.socket.addEventListener("message", (event) => {
      const frame = JSON.parse(event.data);
      if (this.takes[frame.kind]) this.takes[frame.kind](frame);
    });
    this.socket.addEventListener("close", (event) => {
      document.body.dataset.link = "lost";
      const words = {
        4001: "Someone else is driving. This page only takes the handle when that one is closed.",
        4002: "Driven from another window now.",
        1008: "The desk refused this page.",
      };
      byId("lost").textContent = words[event.code] || "The line to the desk is lost; trying again. The train runs on.";
      byId("lost").hidden = false;
      if (event.code === 4002 || event.code === 1008) return;
      setTimeout(() => this.open(greeting), event.code === 4001 ? 3000 : 700);
    });
  },
};

function add(parent, tag, text = "", className = "") {
  const made = document.createElement(tag);
  if (text) made.textContent = text;
  if (className) made.className = className;
  parent.append(made);
  return made;
}

const SPEEDS = {
  mph: { speed: 1 / 0.44704, word: "mph", length: 1 / 0.9144, lengthWord: "yards" },
  kmh: { speed: 3.6, word: "km/h", length: 1, lengthWord: "m" },
  ms: { speed: 1, word: "m/s", length: 1, lengthWord: "m" },
};
