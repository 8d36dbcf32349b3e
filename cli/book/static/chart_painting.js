/* What is drawn under the lines of a run's chart, bands and times without a reading, and over them, marks and flags. */

export const ROWS = 3; // of flags above the chart; what finds no room there stands in the list below
export const ROW_PX = 20;

export function drawUnder(chart, u) {
  const { ctx, bbox } = u;
  const x = (t) => u.valToPos(t, "x", true), y = (v) => u.valToPos(v, "y", true);
  ctx.save();
  ctx.beginPath();
  ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
  ctx.clip();
  for (const [from, to] of chart.runs.length > 1 ? [] : chart.runs[0].gaps_s) hatch(chart, ctx, x(from), x(to), bbox);
  for (const hold of chart.runs[0].holds) {
    const [left, right] = [x(hold.from_s - chart.shift[0]), x(hold.until_s - chart.shift[0])];
    ctx.globalAlpha = 0.4;
    ctx.fillStyle = chart.colour("--band");
    ctx.fillRect(left, y(hold.high), right - left, y(hold.low) - y(hold.high));
    ctx.globalAlpha = 1;
    stroke(chart, ctx, "--edge", 1, [], [[left, y(hold.high)], [right, y(hold.high)]]);
    stroke(chart, ctx, "--edge", 1, [], [[left, y(hold.low)], [right, y(hold.low)]]);
    stroke(chart, ctx, "--ink", 1, [6, 4], [[left, y(hold.target)], [right, y(hold.target)]]);
  }
  ctx.restore();
}

function hatch(chart, ctx, left, right, bbox) {
  const step = 9 * devicePixelRatio;
  const first = Math.max(left, bbox.left), last = Math.min(right, bbox.left + bbox.width);
  if (last <= first) return;
  ctx.save();
  ctx.beginPath();
  ctx.rect(first, bbox.top, last - first, bbox.height);
  ctx.clip();
  for (let at = first - bbox.height; at < last; at += step)
    stroke(chart, ctx, "--line", 1.5, [], [[at, bbox.top + bbox.height], [at + bbox.height, bbox.top]]);
  ctx.restore();
}

function stroke(chart, ctx, colour, width, dash, points) {
  ctx.strokeStyle = chart.colour(colour);
  ctx.lineWidth = width * devicePixelRatio;
  ctx.setLineDash(dash.map((d) => d * devicePixelRatio));
  ctx.beginPath();
  points.forEach(([x, y], i) => (i ? ctx.lineTo(x, y) : ctx.moveTo(x, y)));
  ctx.stroke();
}

export function drawOver(chart, u) {
  const { ctx, bbox } = u, run = chart.runs[0], scale = devicePixelRatio;
  const inside = (one) => one.at_s - chart.shift[0] >= chart.part[0] && one.at_s - chart.shift[0] <= chart.part[1];
  const x = (one) => u.valToPos(one.at_s - chart.shift[0], "x", true);
  ctx.save();
  Object.assign(ctx, { font: `${14 * scale}px system-ui, sans-serif`, textBaseline: "middle", textAlign: "left" });
  let last = -Infinity;
  for (const mark of chart.runs.length > 1 ? [] : run.marks.filter(inside).sort((a, b) => a.at_s - b.at_s)) {
    stroke(chart, ctx, "--soft", 1, [1, 3], [[x(mark), bbox.top], [x(mark), bbox.top + bbox.height]]);
    if (x(mark) - last < 17 * scale) continue; // crowded ones leave their words to the log
    last = x(mark);
    ctx.save();
    ctx.translate(x(mark) - 9 * scale, bbox.top + bbox.height - 6 * scale);
    ctx.rotate(-Math.PI / 2);
    label(chart, ctx, mark.words.slice(0, 40), 0, 0, "--soft");
    ctx.restore();
  }
  const taken = Array.from({ length: ROWS }, () => []);
  for (const flag of chart.flagged().filter(inside).sort((a, b) => (a.severity === "fail" ? 0 : 1) - (b.severity === "fail" ? 0 : 1) || a.at_s - b.at_s)) {
    const colour = flag.severity === "fail" ? "--bad" : "--wait";
    const wide = ctx.measureText(flag.words).width + 12 * scale;
    const right = x(flag) + wide <= bbox.left + bbox.width;
    const begin = right ? x(flag) : Math.max(bbox.left, x(flag) - wide);
    const row = taken.findIndex((some) => some.every(([a, b]) => begin > b || begin + wide < a));
    const top = row < 0 ? bbox.top : bbox.top - (row + 1) * ROW_PX * scale;
    stroke(chart, ctx, colour, 1.5, [], [[x(flag), top], [x(flag), bbox.top]]);
    stroke(chart, ctx, colour, 1, [4, 3], [[x(flag), bbox.top], [x(flag), bbox.top + bbox.height]]);
    if (row < 0) continue;
    taken[row].push([begin, begin + wide]);
    label(chart, ctx, flag.words, begin + 5 * scale, top + (ROW_PX / 2) * scale, colour);
  }
  ctx.restore();
}

function label(chart, ctx, words, x, y, colour) {
  ctx.setLineDash([]);
  ctx.lineWidth = 4 * devicePixelRatio;
  ctx.strokeStyle = chart.colour("--card");
  ctx.strokeText(words, x, y);
  ctx.fillStyle = chart.colour(colour);
  ctx.fillText(words, x, y);
}
