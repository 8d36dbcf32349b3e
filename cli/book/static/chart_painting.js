/* What is drawn under the lines of a run's chart, bands and times without a reading, and over them, marks and flags. */

export const ROWS = 3; // of flags above the chart; what finds no room there stands in the list below
export const ROW_PX = 20;
const MARK_PX = 18; // what upright words take beside their line, and how near other lines may come to it
const NEAR_PX = 2.5;
const NARROW_PX = 480;
const THIN_PX = 16; // a band lower than that is seen as the top of a column, as in the pictures of the commands
const SIGN_PX = 6; // half of the sign of a pull
const GAP_PX = 14; // between the numbers at the left and the picture

/* Where the words of flags stand above a picture: flags with their place x and how wide their words are, the weightiest
first. Each gets a row, from 0 below, and where its words begin; row -1 where no row has room for them. No words stand on
others, nor is a flag's staff drawn through them: stairs that go up to the right, their words to the left, or the other
way round, whichever leaves fewer out. */
export function placedFlags(flags, left, right, rows = ROWS) {
  const worth = (placed) => placed.reduce((sum, one, k) => sum + (one.row < 0 ? 0 : 1 + 1 / (1 + k)), 0);
  const byPlace = flags.map((_, k) => k).sort((a, b) => flags[a].x - flags[b].x);
  const ways = [[byPlace, -1], [[...byPlace].reverse(), 1], [flags.map((_, k) => k), 1]]
    .map(([order, side]) => placedInTurn(flags, order, side, left, right, rows));
  return ways.reduce((best, one) => (worth(one) > worth(best) ? one : best));
}

function placedInTurn(flags, order, side, left, right, rows) {
  const placed = [];
  const fits = ([row, begin, end], x) => begin >= left && end <= right && placed.every((other) => !other || other.row < 0
    || (other.row === row && (begin > other.end || end < other.begin))
    || (other.row < row && (x < other.begin || x > other.end)) || (other.row > row && (other.x < begin || other.x > end)));
  for (const k of order) {
    const { x, wide } = flags[k];
    const rooms = [side, -side].flatMap((to) => Array.from({ length: rows }, (_, row) => (to < 0 ? [row, x - wide, x] : [row, x, x + wide])));
    const [row, begin, end] = rooms.find((room) => fits(room, x)) || [-1, x, x];
    placed[k] = { x, row, begin, end };
  }
  return placed;
}

/* On which side of its line a mark's upright words stand, "left" or "right", or "" where others are too near: marks and
lines by their places from left to right, in pixels. A narrow picture has them on the left alone. */
export function placedMarks(marks, lines, left, right) {
  const taken = [];
  const free = (from, to) => from >= left && to <= right && !lines.some((x) => x > from && x < to) && !taken.some(([a, b]) => from < b && to > a);
  return marks.map((x) => {
    const side = free(x - MARK_PX, x - NEAR_PX) ? "left" : right - left > NARROW_PX && free(x + NEAR_PX, x + MARK_PX) ? "right" : "";
    if (side) taken.push(side === "left" ? [x - MARK_PX, x - NEAR_PX] : [x + NEAR_PX, x + MARK_PX]);
    return side;
  });
}

function fitted(ctx, words, room) { // cut where there is no more room, and that is shown
  if (ctx.measureText(words).width <= room) return words;
  let kept = words;
  while (kept && ctx.measureText(`${kept} ...`).width > room) kept = kept.slice(0, -1);
  return kept.trim() ? `${kept.replace(/[\s,]+$/, "")} ...` : "";
}

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
    const thin = y(hold.low) - y(hold.high) < THIN_PX * devicePixelRatio, foot = y(chart.runs[0].zero);
    ctx.globalAlpha = 0.4;
    ctx.fillStyle = chart.colour("--band");
    ctx.fillRect(left, y(hold.high), right - left, (thin ? foot : y(hold.low)) - y(hold.high));
    ctx.globalAlpha = 1;
    for (const side of thin ? [left, right] : []) stroke(chart, ctx, "--edge", 0.5, [], [[side, y(hold.high)], [side, foot]]);
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
  const flags = chart.flagged().filter(inside)
    .sort((a, b) => (a.severity === "fail" ? 0 : 1) - (b.severity === "fail" ? 0 : 1) || a.at_s - b.at_s);
  const marks = chart.runs.length > 1 ? [] : run.marks.filter(inside).sort((a, b) => a.at_s - b.at_s);
  const lines = [...marks, ...flags].map((one) => x(one) / scale), right = (bbox.left + bbox.width) / scale;
  placedMarks(marks.map((mark) => x(mark) / scale), lines, bbox.left / scale, right).forEach((side, k) => {
    const at = x(marks[k]);
    stroke(chart, ctx, "--soft", 1, marks[k].act === "pull" ? [4, 2] : [1, 3], [[at, bbox.top], [at, bbox.top + bbox.height]]);
    if (!side) return; // crowded ones leave their words to the log
    ctx.save();
    ctx.translate(at + (side === "left" ? -9 : 11) * scale, bbox.top + bbox.height - 6 * scale);
    ctx.rotate(-Math.PI / 2);
    label(chart, ctx, fitted(ctx, marks[k].words, 0.75 * bbox.height), 0, 0, "--soft");
    ctx.restore();
  });
  const wide = (flag) => ctx.measureText(flag.words).width / scale + 12;
  placedFlags(flags.map((flag) => ({ x: x(flag) / scale, wide: wide(flag) })), bbox.left / scale - GAP_PX, u.width).forEach(({ row, begin }, k) => {
    const flag = flags[k], colour = flag.severity === "fail" ? "--bad" : "--wait";
    const top = row < 0 ? bbox.top : bbox.top - (row + 1) * ROW_PX * scale;
    stroke(chart, ctx, colour, 1.5, [], [[x(flag), top], [x(flag), bbox.top]]);
    stroke(chart, ctx, colour, 1, [4, 3], [[x(flag), bbox.top], [x(flag), bbox.top + bbox.height]]);
    if (row >= 0) label(chart, ctx, flag.words, (begin + 5) * scale, top + (ROW_PX / 2) * scale, colour);
  });
  for (const mark of marks) if (mark.act === "pull") sign(chart, ctx, x(mark), bbox.top + SIGN_PX * scale, mark.full);
  ctx.restore();
}

function sign(chart, ctx, x, y, full) { // of a pull: a triangle on its line, full where a piece failed
  const half = SIGN_PX * devicePixelRatio;
  ctx.beginPath();
  for (const [dx, dy] of [[-half, -half], [half, -half], [0, half]]) ctx.lineTo(x + dx, y + dy);
  ctx.closePath();
  Object.assign(ctx, { fillStyle: chart.colour(full ? "--ink" : "--card"), strokeStyle: chart.colour("--ink"), lineWidth: devicePixelRatio });
  ctx.setLineDash([]);
  ctx.fill();
  ctx.stroke();
}

function label(chart, ctx, words, x, y, colour) {
  ctx.setLineDash([]);
  ctx.lineWidth = 4 * devicePixelRatio;
  ctx.strokeStyle = chart.colour("--card");
  ctx.strokeText(words, x, y);
  ctx.fillStyle = chart.colour(colour);
  ctx.fillText(words, x, y);
}
