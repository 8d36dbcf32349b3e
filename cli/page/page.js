"use strict";
// Draws what the recorder says. Every word goes in as text, never as markup.
const $ = (id) => document.getElementById(id);
const SVG = "http://www.w3.org/2000/svg";
const STALE_AFTER_MS = 15000;
let state = {};
let history = [];
let heardAt = 0;
let clockAhead = 0;

function part(name, attributes, text) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (text !== undefined) node.textContent = text;
  return node;
}

function niceStep(span, most) {
  const raw = span / most;
  const power = Math.pow(10, Math.floor(Math.log10(raw)));
  return [1, 2, 5, 10].map((m) => m * power).find((s) => s >= raw);
}

function timeStep(span) {
  return [60, 300, 600, 900, 1800, 3600, 7200, 14400, 43200, 86400].find((s) => span / s <= 7) || 172800;
}

function timeWords(seconds) {
  const minutes = Math.round(seconds / 60);
  return minutes < 60 ? minutes + " min" : Math.floor(minutes / 60) + " h" + (minutes % 60 ? " " + (minutes % 60) : "");
}

function path(column, x, y) {
  let words = "";
  let open = false;
  for (const row of history) {
    const value = row[column];
    if (value === null || value === undefined) { open = false; continue; }
    words += (open ? "L" : "M") + x(row[0]).toFixed(1) + " " + y(value).toFixed(1);
    open = true;
  }
  return words;
}

function gaps() {
  const found = [];
  for (let i = 0, since = null; i < history.length; i++) {
    const had = history[i].slice(1).some((v) => typeof v === "number");
    if (had && since !== null) found.push([since, history[i][0]]);
    if (!had && since === null) since = i ? history[i - 1][0] : history[i][0];
    if (!had && i === history.length - 1) found.push([since, history[i][0]]);
    if (had) since = null;
  }
  return found;
}

function hatch() {
  const pattern = part("pattern", { id: "hatch", width: 7, height: 7, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" });
  pattern.append(part("line", { class: "hatch", x1: 0, x2: 0, y1: 0, y2: 7 }));
  return pattern;
}

function draw() {
  const chart = $("chart");
  const wide = Math.max(320, chart.clientWidth || 800);
  const high = Math.max(200, chart.clientHeight || 420);
  chart.setAttribute("viewBox", `0 0 ${wide} ${high}`);
  chart.replaceChildren();
  if (!history.length) return;
  const recipe = state.recipe || [];
  const values = history.flatMap((row) => row.slice(1)).filter((v) => typeof v === "number");
  if (!values.length) return;
  const top = Math.max(...values, ...recipe.map((h) => h.upper)) * 1.05 + 5;
  const bottom = Math.min(0, ...values);
  const first = history[0][0];
  const last = Math.max(history[history.length - 1][0], first + 600);
  const left = 52, right = wide - 8, up = 8, down = high - 26;
  const x = (t) => left + (right - left) * (t - first) / (last - first);
  const y = (v) => down - (down - up) * (v - bottom) / (top - bottom);
  const step = niceStep(top - bottom, 6);
  for (let v = Math.ceil(bottom / step) * step; v <= top; v += step) {
    chart.append(part("line", { class: "grid", x1: left, x2: right, y1: y(v), y2: y(v) }));
    chart.append(part("text", { x: left - 6, y: y(v) + 5, "text-anchor": "end" }, Math.round(v)));
  }
  const tick = timeStep(last - first);
  for (let t = Math.ceil(first / tick) * tick; t <= last; t += tick) {
    chart.append(part("text", { x: x(t), y: high - 6, "text-anchor": "middle" }, timeWords(t)));
  }
  for (const hold of recipe) {
    const from = hold.enter_s === null || hold.enter_s === undefined ? left : x(hold.enter_s);
    chart.append(part("rect", { class: "band", x: from, width: Math.max(0, right - from), y: y(hold.upper), height: Math.max(1, y(hold.lower) - y(hold.upper)) }));
    for (const edge of [hold.lower, hold.upper]) {
      chart.append(part("line", { class: "edge", x1: from, x2: right, y1: y(edge), y2: y(edge) }));
    }
    chart.append(part("line", { class: "target", x1: left, x2: right, y1: y(hold.target), y2: y(hold.target) }));
  }
  const unread = gaps();
  if (unread.length) chart.append(hatch());
  for (const [from, to] of unread) {
    chart.append(part("rect", { class: "unread", x: x(from), width: Math.max(1, x(to) - x(from)), y: up, height: down - up, fill: "url(#hatch)" }));
  }
  const readings = state.readings || [];
  readings.forEach((reading, i) => {
    const look = reading.role === "setpoint" ? "line set" : i ? "line other" : "line";
    chart.append(part("path", { class: look, d: path(i + 1, x, y) }));
  });
  const others = readings.slice(1).filter((r) => r.role !== "setpoint").map((r) => r.name);
  $("legend").textContent = "Thick line: " + (readings.length ? readings[0].name : "measured") +
    (others.length ? "; fine dashes: " + others.join(", ") : "") +
    (readings.some((r) => r.role === "setpoint") ? "; thin grey line: setpoint" : "") +
    (unread.length ? "; hatched: nothing was read" : "") +
    (recipe.length ? "; shaded: the recipe's bands, long dashes: their targets." : ".");
}

function ago() {
  if (!state.read_ms) return "No reading yet.";
  const seconds = Math.max(0, Math.round((Date.now() + clockAhead - state.read_ms) / 1000));
  return seconds < 120 ? `Last reading ${seconds} s ago.` : `Last reading ${timeWords(seconds)} ago.`;
}

function words() {
  const unit = state.unit === "F" ? "°F" : "°C";
  const lost = state.gone ? "The recorder has ended. " : Date.now() - heardAt > STALE_AFTER_MS ? "Nothing heard from the recorder: this picture is old. " : "";
  document.body.classList.toggle("stale", Boolean(lost));
  $("sentence").textContent = state.sentence || "Waiting for the recorder.";
  $("detail").textContent = state.detail || "";
  $("alarm").hidden = !state.alarm;
  $("alarm").textContent = state.alarm || "";
  $("readings").textContent = (state.readings || [])
    .map((r) => `${r.name} ${r.temp === null ? "no reading" : r.temp.toFixed(1) + " " + unit}`).join(", ");
  $("record").textContent = lost + ago() + " " + (state.record || "");
  document.title = state.sentence ? state.sentence : "Furnace run";
}

function take(event, whole) {
  const news = JSON.parse(event.data);
  const otherRun = news.run !== state.run;
  if (whole) history = news.history || [];
  else if (otherRun) history = [];
  if (!whole && news.t_s !== undefined && !news.gone) history.push([news.t_s, ...(news.readings || []).map((r) => r.temp)]);
  if (history.length > 4000) history = history.filter((_, i) => i % 2 === 0);
  state = news;
  heardAt = Date.now();
  if (news.sent_ms) clockAhead = news.sent_ms - heardAt;
  words();
  draw();
}

const stream = new EventSource("states");
stream.addEventListener("whole", (event) => take(event, true));
stream.addEventListener("state", (event) => take(event, false));
stream.addEventListener("error", () => { if (state.gone) stream.close(); words(); });
window.addEventListener("resize", draw);
setInterval(words, 1000);
