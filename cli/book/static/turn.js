// Whose turn it is while marks are on their way: what the recorder told, moved on by what was tapped since.

const AFTER = { load: "in", pull: "out", plates: "on the plates", "hand-warm": "hand-warm" };
const ACT_FROM = { waiting: "load", in: "pull", out: "plates", "on the plates": "hand-warm" };

function listed(names) {
  const shown = names.length > 5 ? [...names.slice(0, 4), `${names.length - 4} more`] : names;
  return shown.length < 2 ? shown.join("") : `${shown.slice(0, -1).join(", ")} and ${shown[shown.length - 1]}`;
}

export function doneWords(names, act, words) {
  if (act === "door") return "The door was opened";
  if (!names.length) return `The charge is ${words[act] || act}`;
  return `${listed(names)} ${names.length === 1 ? "is" : "are"} ${words[act] || act}`;
}

function target(names, act, words) {
  return { act, names, says: doneWords(names, act, words) };
}

// Where the pieces stand, and what one tap would enter. `onTheWay`: marks that the recorder has not told of yet.
export function turnNow(side, onTheWay) {
  const { turn } = side;
  const pieces = side.pieces.map((piece, i) => ({ ...piece, where: turn.where[i], tap: turn.taps[i], moved: false }));
  const moving = onTheWay.filter((one) => AFTER[one.act]);
  for (const one of moving) {
    const from = Object.keys(ACT_FROM).find((stands) => ACT_FROM[stands] === one.act);
    for (const piece of pieces) {
      if (one.names.length ? !one.names.includes(piece.piece) : piece.stands !== from) continue;
      piece.stands = AFTER[one.act];
      piece.where = piece.stands;
      piece.moved = true;
      const act = ACT_FROM[turn.quenched || piece.stands !== "out" ? piece.stands : "on the plates"];
      piece.tap = act && piece.piece !== null ? target([piece.piece], act, turn.words) : null;
    }
  }
  if (!moving.length) return { pieces, target: turn.target, next: side.next.pieces, moved: null };
  const last = moving[moving.length - 1];
  const inside = pieces.filter((piece) => piece.stands === "in");
  let next = null;
  if (last.act === "pull" && turn.quenched) next = target(last.names, "plates", turn.words);
  else if (inside.length && turn.quenched && inside[0].piece !== null) next = target([inside[0].piece], "pull", turn.words);
  else if (inside.length) next = target([], "pull", turn.words);
  else next = target([], "hand-warm", turn.words);
  return { pieces, target: next, next: next.names, moved: last };
}
