// Where the trains are on the line, and their speed over time. After playback_train.js.
const MARK = ["A", "B"];

function roundStep(range, steps, most = 14) {
  return steps.find((step) => range / step < most) || 2 * steps[steps.length - 1];
}

function drawLine(canvas, trains, farthest) {
  const { pen, width, text } = prepared(canvas);
  const left = 1.2 * text, right = width - 2.2 * text, y = 3.1 * text;
  const xOf = (place) => left + (place / farthest) * (right - left);
  pen.fillStyle = LOOK.quiet;
  pen.fillRect(left, y, right - left, 2);
  const range = farthest * unit.length;
  const most = Math.max(3, width / (5.2 * text));
  const step = roundStep(range, [20, 50, 100, 200, 500, 1000, 2000, 5000], most);
  for (let place = 0; place <= range; place += step) {
    pen.textAlign = place === 0 ? "left" : "center";
    pen.fillRect(xOf(place / unit.length), y - 4, 1, 10);
    pen.fillText(`${place} ${unit.lengthWord}`, xOf(place / unit.length), y + 3.3 * text);
  }
  const markers = [...new Set(trains.map((t) => t.marker).filter((m) => m !== null))];
  for (const marker of markers) {
    const x = xOf(marker);
    pen.fillStyle = LOOK.ink;
    pen.fillRect(x - 1.5, y - 1.5 * text, 3, 2 * text);
    pen.textAlign = x > width / 2 ? "right" : "left";
    pen.fillText("marker", x, text);
  }
  trains.forEach((train, i) => {
    const x = xOf(train.place), side = i === 0 ? -1 : 1;
    pen.fillStyle = train.colour;
    pen.beginPath();
    pen.moveTo(x, y + 1);
    pen.lineTo(x - text, y + 1 + side * 0.5 * text); pen.lineTo(x - text, y + 1 + side * 1.6 * text);
    pen.closePath();
    pen.fill();
    pen.font = `bold ${text}px ${FONT}`;
    pen.textAlign = "right";
    pen.fillText(train.mark, x - 1.2 * text, y + 1 + side * 1.1 * text + 0.4 * text);
    pen.font = `${text}px ${FONT}`;
  });
}

function drawChart(canvas, stops, time, lasts, fastest) {
  const { pen, width, height, text } = prepared(canvas);
  const bottom = height - 1.6 * text, top = text;
  const xOf = (t) => (t / lasts) * width;
  const yOf = (speed) => bottom - (speed / fastest) * (bottom - top);
  pen.strokeStyle = LOOK.faint;
  pen.fillStyle = LOOK.quiet;
  pen.lineWidth = 1;
  for (let shown = 0; shown <= fastest * unit.speed; shown += unit.every) {
    const y = yOf(shown / unit.speed);
    pen.beginPath(); pen.moveTo(0, y); pen.lineTo(width, y); pen.stroke();
    pen.textAlign = "right";
    if (shown > 0) pen.fillText(`${shown} ${unit.word}`, width - 2, y - 3);
  }
  const step = roundStep(lasts, [1, 2, 5, 10, 20, 50, 100, 200, 500], width / (5 * text));
  for (let t = 0; t <= lasts; t += step) {
    pen.textAlign = t === 0 ? "left" : "center";
    pen.fillText(`${t} s`, xOf(t), height - 0.4 * text);
  }
  stops.forEach((s, i) => {
    pen.beginPath();
    const stride = Math.max(1, Math.floor(s.n / width));
    for (let k = 0; k < s.n; k += stride) pen.lineTo(xOf(k * s.interval), yOf(s.trainSpeed[k]));
    pen.lineTo(xOf(s.lasts), yOf(s.trainSpeed[s.n - 1]));
    pen.strokeStyle = i === 0 ? LOOK.a : LOOK.b;
    pen.lineWidth = 2.2;
    pen.setLineDash(i === 0 ? [] : [7, 4]);
    pen.stroke();
    pen.setLineDash([]);
    const from = 0.12 * (i + 1) * s.lasts;
    const row = Math.min(Math.round(from / s.interval), s.n - 1);
    pen.fillStyle = pen.strokeStyle;
    pen.font = `bold ${text}px ${FONT}`;
    pen.textAlign = "left";
    pen.fillText(MARK[i], xOf(from) + 4, yOf(s.trainSpeed[row]) - 4);
    pen.font = `${text}px ${FONT}`;
  });
  pen.strokeStyle = LOOK.ink;
  pen.lineWidth = 1.5;
  pen.beginPath(); pen.moveTo(xOf(time), 0); pen.lineTo(xOf(time), bottom); pen.stroke();
}
