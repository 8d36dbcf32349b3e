/* The chart of a run: zoom, move, readings under the finger, flags with their words, several runs over each other.

Each <figure class="runchart" data-runs='[{"src": "...", "label": "..."}]'> becomes one. What it draws comes from src, which
is asked anew for each part that is looked at (?from=&to=&points=). All words are set as text, never as markup. */

import { follow } from "./chart_gestures.js";
import { ROWS, ROW_PX, drawOver, drawUnder } from "./chart_painting.js";

const STEPS_S = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 28800, 43200, 86400];
const LEAST_S = 10;
const OTHERS = [["--third", [8, 2]], ["--fourth", [3, 2]], ["--fifth", [6, 2, 1, 2]]];
const RUNS = [["--chamber", []], ["--blade", [9, 5]], ["--third", [8, 2, 2, 2]], ["--fifth", [2, 2]], ["--fourth", [6, 1, 1, 1]], ["--ink", [1, 2]]];

const make = (name, about = {}, ...inside) => {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(about)) element.setAttribute(key, value);
  element.append(...inside);
  return element;
};
const clock = (t_s, seconds = true) => {
  const whole = Math.round(Math.abs(t_s));
  const two = (n) => String(n).padStart(2, "0");
  const words = `${Math.floor(whole / 3600)}:${two(Math.floor(whole / 60) % 60)}`;
  return (t_s < -0.5 ? "-" : "") + words + (seconds ? `:${two(whole % 60)}` : "");
};
const later = (wait_ms, act) => {
  let timer = 0;
  return () => { clearTimeout(timer); timer = setTimeout(act, wait_ms); };
};

class RunChart {
  constructor(figure) {
    this.figure = figure;
    this.asked = JSON.parse(figure.dataset.runs);
    this.hidden = new Set();
    this.number = 0; // of the newest question; older answers are left
    this.build();
    this.refine = later(150, () => this.ask(false));
    this.load();
  }

  build() {
    this.tools = make("div", { class: "tools", role: "group", "aria-label": "Part of the run that is shown" });
    const button = (words, act) => {
      const made = make("button", { type: "button" }, words);
      made.addEventListener("click", act);
      this.tools.append(made);
    };
    button("Closer", () => this.zoom(0.5));
    button("Wider", () => this.zoom(2));
    button("Earlier", () => this.move(-0.5));
    button("Later", () => this.move(0.5));
    button("Whole run", () => this.show(...this.whole, null));
    this.plot = make("div", { class: "plot", tabindex: "0", role: "group", "aria-roledescription": "chart",
      "aria-label": `${this.figure.dataset.says || "Temperature against time"}. Arrow keys read along the line, plus and minus zoom, Shift with an arrow moves, Home shows the whole run.` });
    this.reading = make("p", { class: "reading", "aria-live": "polite" }, "Loading the readings.");
    this.legend = make("div", { class: "legend", role: "group", "aria-label": "Lines" });
    this.flags = make("ul", { class: "flags" });
    this.figure.replaceChildren(this.tools, this.plot, this.reading, this.legend, this.flags);
    this.plot.addEventListener("keydown", (event) => this.key(event));
    new ResizeObserver(later(60, () => this.chart && this.chart.setSize(this.size()))).observe(this.plot);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.draw());
  }

  async load() {
    try {
      this.runs = await Promise.all(this.asked.map((run) => this.fetch(run.src)));
    } catch (error) {
      this.reading.textContent = `The readings could not be had: ${error.message}`;
      return;
    }
    this.chooseAlignment();
    this.align(this.figure.dataset.align);
    this.listFlags();
    for (const hold of this.runs[0].holds) {
      const made = make("button", { type: "button" }, hold.words);
      made.addEventListener("click", () => this.showHold(hold));
      this.tools.append(made);
    }
    this.reading.textContent = this.runs.every((run) => run.lines.every((line) => !line.t_s.length))
      ? "This run has no readings." : "Point at a moment, or touch it, to read it.";
    this.figure.dataset.ready = "1";
    const jump = this.figure.dataset.jump;
    if (jump) this.goTo(Number(jump));
    for (const [number, run] of this.asked.entries()) if (run.more) this.addTo(number, run.more);
  }

  async fetch(src) {
    const answer = await fetch(src, { headers: { accept: "application/json" } });
    if (!answer.ok) throw new Error((await answer.text()).slice(0, 300));
    return answer.json();
  }

  async addTo(number, src) { // lines that take longer, such as the estimate in the packet
    try {
      this.runs[number].added = (await this.fetch(src)).lines;
      this.draw();
    } catch (error) { this.note(`Not drawn: ${error.message}`); }
  }

  note(words) { this.figure.append(make("p", { class: "reading" }, words)); }

  async ask(quiet) { // the part that is shown, in as many points as it has pixels for
    const number = ++this.number;
    const [from, to] = this.part;
    const points = Math.max(400, Math.min(2000, 2 * this.plot.clientWidth));
    try {
      const runs = await Promise.all(this.asked.map((run, i) =>
        this.fetch(`${run.src}?from=${from + this.shift[i]}&to=${to + this.shift[i]}&points=${points}`)));
      if (number !== this.number) return;
      this.runs.forEach((run, i) => { run.lines = runs[i].lines; });
      this.chart.setData(this.data(), false);
      this.chart.setScale("x", { min: from, max: to });
    } catch (error) { if (!quiet) this.reading.textContent = `This part could not be had: ${error.message}`; }
  }

  /* Several runs: where their clocks are set to nought. */
  chooseAlignment() {
    if (this.runs.length < 2) return;
    const choice = make("select", { "aria-label": "Set to nought at" });
    const says = (value, words) => choice.append(make("option", { value }, words));
    says("start", "aligned at the start");
    for (const hold of this.runs[0].holds) says(String(hold.step), `aligned at the hold of ${hold.words}`);
    choice.addEventListener("change", () => this.align(choice.value));
    this.choice = choice;
    this.tools.append(choice);
  }

  align(step) {
    const hottest = this.runs[0].holds.reduce((a, b) => (a && a.target >= b.target ? a : b), null);
    const chosen = this.runs.length < 2 ? "start" : step || (hottest ? String(hottest.step) : "start");
    if (this.choice) this.choice.value = chosen;
    this.shift = this.runs.map((run) => {
      const hold = run.holds.find((one) => String(one.step) === chosen);
      return hold ? hold.aligned_s : 0;
    });
    const ends = this.runs.map((run, i) => run.whole_s.map((t) => t - this.shift[i]));
    this.whole = [Math.min(...ends.map((e) => e[0])), Math.max(...ends.map((e) => e[1]))];
    if (this.whole[1] - this.whole[0] < LEAST_S) this.whole[1] = this.whole[0] + LEAST_S;
    this.part = [...this.whole];
    this.near = null;
    this.draw();
    const hold = this.runs[0].holds.find((one) => String(one.step) === chosen);
    if (hold) this.showHold(hold);
  }

  showHold(hold) { // a while before it and after it, its band in the middle
    const from = hold.from_s - this.shift[0], long = Math.max(hold.until_s, hold.left_s ?? 0) - hold.from_s;
    const spare = 2 * (hold.high - hold.low);
    this.show(from - 0.4 * long, from + 1.4 * long, [hold.low - spare, hold.high + spare]);
  }

  /* Lines: of one run by their roles, of several by their runs. */
  lines() {
    let other = 0;
    return this.runs.flatMap((run, i) => [...run.lines, ...(run.added || [])].map((line) => {
      const chamber = ["control", "recording"].includes(line.role);
      if (this.runs.length > 1) {
        if (!chamber && line.role !== "load") return null;
        const [colour, dash] = RUNS[i % RUNS.length];
        return { line, i, label: `${this.asked[i].label}, ${line.name}`, colour, dash, width: chamber ? 2.6 : 1.4 };
      }
      const look = { line, i, label: line.name, colour: "--chamber", dash: [], width: 2.6 };
      if (line.role === "load") Object.assign(look, { colour: "--blade", dash: [9, 5], width: 2.4 });
      else if (line.role === "estimate") Object.assign(look, { colour: "--fifth", dash: [2, 3], width: 2.2 });
      else if (line.role === "range") Object.assign(look, { colour: "--fifth", dash: [1, 4], width: 1 });
      else if (line.role === "setpoint") Object.assign(look, { colour: "--soft", width: 1.2 });
      else if (!chamber) { const [colour, dash] = OTHERS[other++ % OTHERS.length]; Object.assign(look, { colour, dash, width: 1.6 }); }
      return look;
    })).filter(Boolean);
  }

  data() {
    const tables = this.lines().map((one) => {
      const by = this.shift[one.i];
      return [by ? one.line.t_s.map((t) => t - by) : one.line.t_s, one.line.shown];
    });
    return tables.length ? uPlot.join(tables) : [[0], [null]];
  }

  colour(name) { return getComputedStyle(this.figure).getPropertyValue(name).trim(); }

  size() {
    const wide = this.plot.clientWidth || 320;
    return { width: wide, height: Math.round(Math.max(300, Math.min(480, wide * 0.62))) };
  }

  draw() {
    if (this.chart) this.chart.destroy();
    const lines = this.lines();
    const [soft, grid, unit] = [this.colour("--soft"), this.colour("--line"), `°${this.runs[0].unit}`];
    const font = "14px system-ui, sans-serif";
    const axis = { stroke: soft, font, grid: { stroke: grid, width: 1 }, ticks: { stroke: grid, width: 1 } };
    const seconds = (splits) => splits.length > 1 && splits[1] - splits[0] < 60;
    this.chart = new uPlot({
      ...this.size(),
      legend: { show: false },
      padding: [Math.min(ROWS, this.flagged().length) * ROW_PX + 12, 30, 0, 0], // half of a time stands beside the last line
      scales: { x: { time: false }, y: { range: (u, low, high) => this.reach(low, high) } },
      axes: [
        { ...axis, incrs: STEPS_S, space: 58, values: (u, splits) => splits.map((t) => clock(t, seconds(splits))) },
        { ...axis, size: 80, values: (u, splits) => splits.map((value, i) => (i === splits.length - 1 ? `${value} ${unit}` : String(value))) },
      ],
      series: [{}, ...lines.map((one) => ({
        label: one.label, stroke: this.colour(one.colour), width: one.width, dash: one.dash,
        show: !this.hidden.has(one.label), points: { show: false }, auto: one.line.role !== "setpoint",
      }))],
      cursor: {
        drag: { x: true, y: true, uni: 40, setScale: false },
        points: { size: 9 },
        dataIdx: (u, series, nearest) => (series ? this.nearest(u, series, nearest) : nearest),
        bind: { dblclick: () => () => { this.show(...this.whole, null); return null; } },
      },
      hooks: {
        drawAxes: [(u) => drawUnder(this, u)],
        draw: [(u) => drawOver(this, u)],
        setCursor: [(u) => this.read(u)],
        setSelect: [(u) => this.select(u)],
      },
    }, this.data(), this.plot);
    this.chart.setScale("x", { min: this.part[0], max: this.part[1] });
    follow(this, this.chart.over);
    this.listLines(lines);
  }

  reach(low, high) { // what is read, and the bands that are in the picture; else what was chosen
    if (this.near) return this.near;
    const bands = this.runs[0].holds.filter((h) => h.until_s - this.shift[0] >= this.part[0] && h.from_s - this.shift[0] <= this.part[1]);
    const least = Math.min(low ?? Infinity, ...bands.map((h) => h.low));
    const most = Math.max(high ?? -Infinity, ...bands.map((h) => h.high));
    if (!isFinite(least)) return [0, 100];
    const spare = Math.max(1, 0.04 * (most - least));
    const signs = this.pulls().length ? 0.06 * (most - least) : 0; // of pulls, above the lines
    return [least - spare, most + spare + signs];
  }

  /* Readings under the finger. */
  nearest(u, series, index) {
    const values = u.data[series], times = u.data[0];
    let left = index, right = index;
    while (left >= 0 && values[left] === undefined) left--;
    while (right < values.length && values[right] === undefined) right++;
    if (left < 0) return right < values.length ? right : null;
    if (right >= values.length) return left;
    return times[index] - times[left] <= times[right] - times[index] ? left : right;
  }

  read(u) {
    const { left, idxs, idx } = u.cursor;
    if (idx == null || left < 0) return;
    const at = u.posToVal(left, "x"), unit = `°${this.runs[0].unit}`;
    const words = u.series.slice(1).map((series, k) => {
      const value = idxs[k + 1] == null ? null : u.data[k + 1][idxs[k + 1]];
      return series.show ? `${series.label} ${value == null ? "not read" : `${value} ${unit}`}` : "";
    }).filter(Boolean);
    const began = this.figure.dataset.clock;
    const oclock = began && this.runs.length < 2 ? ` (${clock((Number(began) + at) % 86400, false)} o'clock)` : "";
    this.reading.textContent = `${clock(at)}${oclock}: ${words.join(", ")}`;
  }

  readAt(at) {
    const left = this.chart.valToPos(at, "x");
    this.chart.setCursor({ left, top: this.chart.over.clientHeight / 2 });
  }

  /* What is shown. */
  show(from, to, near = this.near) {
    this.near = near;
    const long = Math.min(Math.max(to - from, LEAST_S), this.whole[1] - this.whole[0]);
    const first = Math.min(Math.max(from, this.whole[0]), this.whole[1] - long);
    this.part = [first, first + long];
    this.chart.batch(() => this.chart.setScale("x", { min: first, max: first + long })); // at once, not when it next draws
    this.refine();
  }

  zoom(by, about = null) {
    const [from, to] = this.part;
    const at = about ?? (this.chart.cursor.left >= 0 ? this.chart.posToVal(this.chart.cursor.left, "x") : (from + to) / 2);
    this.show(at - (at - from) * by, at + (to - at) * by);
  }

  move(by) {
    const long = this.part[1] - this.part[0];
    this.show(this.part[0] + by * long, this.part[1] + by * long);
  }

  select(u) { // dragged along: a part of the time; down as well: of the temperatures too
    const { left, width, top, height } = u.select;
    const high = height > 0 && height < u.over.clientHeight - 1 ? [u.posToVal(top + height, "y"), u.posToVal(top, "y")] : this.near;
    if (width > 4) this.show(u.posToVal(left, "x"), u.posToVal(left + width, "x"), high);
    u.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
  }

  goTo(at_s) {
    const long = Math.min(1200, this.whole[1] - this.whole[0]), at = at_s - this.shift[0];
    this.show(at - long / 2, at + long / 2, null);
    this.readAt(at);
  }

  key(event) {
    if (!this.chart || event.ctrlKey || event.metaKey || event.altKey) return;
    const along = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (along && event.shiftKey) this.move(0.25 * along);
    else if (along) {
      const wide = this.chart.over.clientWidth;
      const left = this.chart.cursor.left >= 0 ? this.chart.cursor.left + along * Math.max(1, wide / 100) : wide / 2;
      this.chart.setCursor({ left: Math.min(Math.max(left, 0), wide), top: this.chart.over.clientHeight / 2 });
    } else if (event.key === "+" || event.key === "=") this.zoom(0.5);
    else if (event.key === "-") this.zoom(2);
    else if (event.key === "Home" || event.key === "0") this.show(...this.whole, null);
    else return;
    event.preventDefault();
  }

  /* Below the chart: which line is which, and the flags to go to. */
  listLines(lines) {
    this.legend.replaceChildren(...lines.map((one, k) => {
      const name = "http://www.w3.org/2000/svg", picture = document.createElementNS(name, "svg"), path = document.createElementNS(name, "path");
      picture.setAttribute("viewBox", "0 0 34 10");
      picture.setAttribute("aria-hidden", "true");
      path.setAttribute("d", "M1 5H33");
      path.setAttribute("stroke", this.colour(one.colour));
      path.setAttribute("stroke-width", String(one.width));
      path.setAttribute("stroke-dasharray", one.dash.join(" "));
      picture.append(path);
      const line = make("button", { type: "button", "aria-pressed": String(!this.hidden.has(one.label)) }, picture, one.label);
      line.addEventListener("click", () => {
        const shown = this.hidden.has(one.label);
        shown ? this.hidden.delete(one.label) : this.hidden.add(one.label);
        line.setAttribute("aria-pressed", String(shown));
        this.chart.setSeries(k + 1, { show: shown });
      });
      return line;
    }));
    const words = [];
    if (this.runs.length < 2 && this.runs[0].gaps_s.length) words.push("hatched: nothing was read");
    if (this.runs[0].holds.length) words.push("yellow: asked for, the band on top");
    const pulls = this.pulls();
    if (pulls.length) words.push(pulls.some((mark) => mark.full) ? "triangle: pulled, full where a piece failed" : "triangle: pulled");
    if (words.length) this.legend.append(make("span", {}, words.join("; ")));
  }

  pulls() { return this.runs.length > 1 ? [] : this.runs[0].marks.filter((mark) => mark.act === "pull"); }

  flagged() { return this.runs.length > 1 ? [] : this.runs[0].flags; } // they are one run's own

  listFlags() {
    this.flags.replaceChildren(...[...this.flagged()].sort((a, b) => a.at_s - b.at_s).map((flag) => {
      const button = make("button", { type: "button", class: flag.severity === "fail" ? "bad" : "wait" }, `${clock(flag.at_s)} ${flag.words}`);
      button.addEventListener("click", () => { this.goTo(flag.at_s); this.plot.focus(); });
      return make("li", {}, button);
    }));
    document.querySelectorAll("[data-goto]").forEach((element) => element.addEventListener("click", (event) => {
      event.preventDefault();
      this.goTo(Number(element.dataset.goto));
      this.plot.scrollIntoView({ block: "center" });
      this.plot.focus({ preventScroll: true });
    }));
  }
}

document.querySelectorAll("figure.runchart").forEach((figure) => { figure.runChart = new RunChart(figure); });
