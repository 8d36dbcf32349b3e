"""Why one hold passed, failed or stays open, in one clause with its numbers, and which finding advises about it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from soakwitness.analysis.verification.findings.view import hold_words, level_above
from soakwitness.analysis.verification.results.verification import Finding, HoldResult, PieceResult, Verification
from soakwitness.firmware_bridge.common.wording import (
    Diff,
    PastLimit,
    Says,
    Temp,
    Value,
    duration,
    duration_of,
    duration_past_limit,
    duration_range,
    listed,
)

ALIKE_S = 30.0
UNCALIBRATED = "Uncalibrated: it may read up to"
LAGGED = {"load": "the load", "packet estimate": "the blade"}
EARLY_S = 60.0
NEAR_C = 2.0  # beside the sensor's own uncertainty: what is said to be near a limit
BY = {"load": ", by the load sensor", "packet estimate": ", by estimate", "control": "", None: ""}
SUBJECT = {"load": "the load sensor", "packet estimate": "the blade", "control": "the furnace", None: "the furnace"}
ABSENT = ("hold missing", "run ended early", "not on record", "wrong unit suspected")
CHECK_IT = Says("Check it against a reference: soakwitness calibrate.")
UNTOLD_DIPS = ("not told", "gap")


@dataclass(frozen=True)
class Reason:
    """A sentence, the finding that advises about it, and whether the record shows what brought it about."""

    says: Says
    leads: Finding | None = None
    shows_cause: bool = True


def passed(found: Verification, holds: Sequence[HoldResult]) -> Says:
    """What a run that passes rests on: its hottest hold, and by how much the display may be off."""
    hold = max(holds, key=lambda h: (h.target_c, h.step))
    every = {1: "", 2: " Both holds are met."}.get(len(holds), f" All {len(holds)} holds are met.")
    return Says.of(
        "{had}{peak}.{others}{stands}",
        had=_capital(_had(hold, _shortest(hold), by_known=found.by_estimate)),
        peak=_peak(hold),
        others=every,
        stands=_stands(found, holds),
    )


def failed_hold(found: Verification, hold: HoldResult, findings: Sequence[Finding]) -> Reason:
    """Why a hold failed, and the finding that says what to do; ``findings`` are those of this hold."""
    if not hold.found:
        return _absent("Not done", hold, findings)
    program_tells = _first(findings, "program differs") is not None
    if level_above(hold) or {"too hot", "overshoot"} & set(hold.unmet):
        return Reason(_hot(hold), _first(findings, "out of band", "overshoot"), program_tells)
    if "longest soak" in hold.unmet and hold.longest_s is not None:
        says = Says.of(
            "Too long: {who} stood {long} at {at}, {most} allowed",
            who=SUBJECT[hold.temperature_from],
            long=duration_past_limit(hold.longest_s.best, hold.at_most_s or 0.0),
            at=Temp(hold.target_c),
            most=duration(hold.at_most_s),
        )
        pulled = any(piece.pull_s is not None for piece in hold.pieces)
        return Reason(Says.of("{says}.", says=says), _first(findings, "long soak"), program_tells or pulled)
    if "mean" in hold.unmet or _stood_below(hold):
        says = Says.of(
            "Too cold: {who} stood at {level} where {low} is the least for {target}.",
            who=SUBJECT[hold.temperature_from],
            level=_level(hold, hold.band_c[0], over=False),
            low=Temp(hold.band_c[0]),
            target=Temp(hold.target_c),
        )
        known = program_tells or hold.shown_by.set_to_c is not None
        return Reason(says, _first(findings, "short soak", "out of band"), known)
    short = _first(findings, "short soak")
    if short is not None and short.brief is not None and _never_there(hold):
        says = Says.of(
            "Never in its band: {came} in the hold at {target}, {low} is the least.",
            came=short.brief,
            target=Temp(hold.target_c),
            low=Temp(hold.band_c[0]),
        )
        return Reason(says, short, program_tells or hold.control_enter_s is not None)
    if hold.soak_s is not None and hold.soak_s.best < hold.required_s:
        piece = _shortest(hold)
        cause = _cause(found, hold, piece, findings)
        says = Says.of("Too short: {had}{cause}.", had=_had(hold, piece), cause=cause)
        known = bool(cause.template) and not _unexplained(hold, short)
        return Reason(says, short, known)
    worst = _first([f for f in findings if f.severity == "fail"], *[f.code for f in findings])
    if worst is not None:
        return Reason(Says.of("Fail: {says}", says=worst.says), worst)
    return Reason(Says.of("Fail: no one error of its sensor meets all that the {hold} asks.", hold=hold_words(hold)))


def _unexplained(hold: HoldResult, short: Finding | None) -> bool:
    """Whether a soak was broken off by what nobody can explain: heat that was cut, or a dip that looks like nothing."""
    if short is not None and short.moments:
        return True
    restarts = [d for d in hold.dips if d.effect == "new start"]
    return bool(restarts) and all(d.looks_like in UNTOLD_DIPS for d in restarts)


def open_hold(found: Verification, hold: HoldResult, findings: Sequence[Finding]) -> tuple[Reason, Says | None]:
    """Why a hold is not proven, and what to do; ``findings`` are those of this hold and of no step."""
    if not hold.found:
        absent = _absent("Not proven", hold, [f for f in findings if f.step == hold.step])
        return absent, None if absent.leads is None else absent.leads.next
    for code, why in _open_reasons(found, hold):
        finding = _first(findings, code)
        if finding is not None and why is not None:
            gap, broken = code == "gap in record", _first(findings, "sensor fault") if _broke(found, hold) else None
            told = Reason(Says.of("Not proven: {why}.", why=why), finding, not gap or bool(broken or finding.brief))
            return told, broken.next if gap and broken is not None else finding.next
    unsure = next((f for f in findings if f.code == "out of band" and f.brief is not None), None)
    if unsure is not None and "soak" not in hold.unproven:
        return Reason(Says.of("Not proven: {why}.", why=unsure.brief or unsure.says)), unsure.next
    had = _had(hold, _shortest(hold))
    if hold.as_read == "pass" and hold.display_may_read_c is not None:
        stands = _stands(found, [hold], "Enough if it reads at most")
        return Reason(Says.of("Not proven: {had}, as shown.{stands}", had=had, stands=stands)), CHECK_IT
    near = _near_its_limit(hold)
    soak = hold.soak_s
    if near is None and soak is not None and soak.low < hold.required_s <= soak.best:
        had = Says.of("{had}, and only {sure} are sure", had=had, sure=duration(soak.low))
    return Reason(Says.of("Not proven: {why}.", why=near or had)), CHECK_IT if near is not None else _proof(hold)


def _proof(hold: HoldResult) -> Says | None:
    """The first thing that would prove a hold, without its name."""
    if not hold.proves:
        return None
    what = dict(hold.proves[0].values).get("what", hold.proves[0])
    return Says.of("What would prove it: {what}", what=what)


def _near_its_limit(hold: HoldResult) -> Says | None:
    """A heat too near its limit to tell, where that is what leaves a hold open."""
    peak = hold.highest_from_target_c
    if peak is None or not {"too hot", "overshoot", "level"} & set(hold.unproven):
        return None
    limit_c = max(hold.band_c[1], hold.target_c + (hold.max_overshoot_c or 0.0))
    if limit_c - hold.target_c - peak > NEAR_C + (hold.known.expanded_c or 0.0):
        return None
    return Says.of(
        "{who} came to {peak}, limit {limit}: too near to tell",
        who=SUBJECT[hold.temperature_from],
        peak=Temp(hold.target_c + peak),
        limit=Temp(limit_c),
    )


def _open_reasons(found: Verification, hold: HoldResult) -> list[tuple[str, Says | None]]:
    """Codes that leave a hold open, the strongest first, with their words."""
    soak = hold.soak_s
    had = duration_of(soak.best, hold.required_s) if soak is not None else ""
    sure = duration_of(soak.low, hold.required_s) if soak is not None else ""
    at = hold_words(hold)
    asked_s, met = hold.required_s, soak is not None and soak.best >= hold.required_s
    return [
        ("wrong unit suspected", Says("the readings look like the other unit") if "unit" in hold.unproven else None),
        ("record changed", Says("the record was changed, so it proves nothing")),
        (
            "run ended early",
            Says.of("the record stops after {had} of the {at}", had=had, at=at)
            if soak is not None and not hold.ended
            else None,
        ),
        (
            "sensor fault",
            Says.of("the sensor stopped reading after {had} of the {at}", had=had, at=at)
            if not hold.ended or "load sensor" in hold.unproven
            else None,
        ),
        (
            "gap in record",
            Says.of(
                "{what} for {long}{why} in the {at}; {sure} are sure in one piece",
                what=_what_was_missing(found, hold),
                why=_why_missing(found),
                long=duration(_unread_s(found, hold)),
                at=at,
                sure=sure,
            )
            if met and soak is not None and soak.low < asked_s
            else None,
        ),
    ]


def _what_was_missing(found: Verification, hold: HoldResult) -> str:
    """Who read nothing in a gap: everybody, or the sensor that decides, which broke or was away."""
    gap = _first(found.findings, "gap in record")
    if gap is not None and not gap.sensors:
        return "nothing was recorded"
    who = SUBJECT[hold.temperature_from] if hold.temperature_from == "load" else "the sensor"
    return f"{who} broke and read nothing" if _broke(found, hold) else f"{who} read nothing"


def _why_missing(found: Verification) -> Says:
    """What an event says of a gap, in brackets."""
    gap = _first(found.findings, "gap in record")
    return Says("") if gap is None or gap.brief is None else Says.of(" ({why})", why=gap.brief)


def _broke(found: Verification, hold: HoldResult) -> bool:
    """Whether the recorder entered a fault of the sensor that decides a hold."""
    return any(
        f.code == "sensor fault" and hold.measured_by in f.sensors and f.at_s is not None for f in found.findings
    )


def _unread_s(found: Verification, hold: HoldResult) -> float:
    """How long nothing was read between enter and leave of a hold [s]."""
    enter_s, leave_s = hold.enter_s or 0.0, hold.leave_s if hold.leave_s is not None else float("inf")
    return sum(max(min(b, leave_s) - max(a, enter_s), 0.0) for a, b in found.record.gaps)


def _absent(head: str, hold: HoldResult, findings: Sequence[Finding]) -> Reason:
    finding = _first(findings, *ABSENT)
    why = Says.of(": {why}", why=finding.brief) if finding is not None and finding.brief is not None else Says("")
    if finding is not None and finding.code == "wrong unit suspected":
        return Reason(Says.of("{head}: the readings look like the other unit{why}.", head=head, why=why), finding)
    what = "is missing" if finding is not None and finding.code == "hold missing" else "is not on record"
    what = "was not reached" if finding is not None and finding.code == "run ended early" else what
    says = Says.of("{head}: the {hold} {what}{why}.", head=head, hold=hold_words(hold), what=what, why=why)
    return Reason(says, finding, finding is not None)


def _hot(hold: HoldResult) -> Says:
    who, hot = SUBJECT[hold.temperature_from], hold.too_hot
    if hot is not None and "too hot" in hold.unmet:
        return Says.of(
            "Too hot: {who} was over its limit of {limit} for {over}, and held {reached}.",
            who=who,
            limit=Temp(hot.limit_c),
            over=duration(max(hot.over_s, 1.0)),
            reached=Temp(hot.reached_c),
        )
    if "overshoot" in hold.unmet and hold.overshoot_c is not None:
        return Says.of(
            "Too hot: {who} went {over} over {target}, {most} allowed.",
            who=who,
            over=PastLimit(Diff(hold.overshoot_c), Diff(hold.max_overshoot_c or 0.0), over=True),
            target=Temp(hold.target_c),
            most=Diff(hold.max_overshoot_c or 0.0),
        )
    return Says.of(
        "Too hot: {who} stood at {level}, {high} is the most for {target}.",
        who=who,
        level=_level(hold, hold.band_c[1], over=True),
        high=Temp(hold.band_c[1]),
        target=Temp(hold.target_c),
    )


def _level(hold: HoldResult, limit_c: float, *, over: bool) -> Value:
    """Where the furnace stood, beside the edge of the band [degC] that it missed."""
    if hold.level_c is None or (hold.level_c > limit_c) != over:
        return Temp(hold.level_c if hold.level_c is not None else limit_c)
    return PastLimit(Temp(hold.level_c), Temp(limit_c), over=over)


def _never_there(hold: HoldResult) -> bool:
    """Whether a load sensor stayed below the band for as long as the furnace held."""
    nothing = hold.soak_s is not None and hold.soak_s.high <= 0.0 and hold.enter_s is None
    return nothing and hold.temperature_from == "load"


def _stood_below(hold: HoldResult) -> bool:
    """Whether a furnace stood under the band: more minutes there would be no soak."""
    return hold.temperature_from == "control" and hold.level_c is not None and hold.level_c < hold.band_c[0]


def _shortest(hold: HoldResult) -> PieceResult | None:
    """The piece with the shortest soak among the named ones."""
    return min((p for p in hold.pieces if p.piece), key=lambda p: p.soak_s.best, default=None)


def _had(hold: HoldResult, piece: PieceResult | None, *, by_known: bool = False) -> Says:
    """Who had how much of the soak asked: ``C-03 was at 1040 °C for 11.4 of 15 min, by the load sensor``."""
    soak = piece.soak_s if piece is not None else hold.soak_s
    who, was = _who(hold, piece)
    had = "nothing" if soak is None else duration_of(soak.best, hold.required_s)
    spread = ""
    if soak is not None and hold.temperature_from == "packet estimate":
        _, _, both = duration_range(soak.best, soak.low, soak.high).partition(" (")
        spread = f" ({both}" if both else ""
    source = piece.temperature_from if piece is not None and piece.temperature_from else hold.temperature_from
    by = BY[source] if (piece is not None or source == "packet estimate") and not by_known else ""
    whole = hold.began and hold.ended and not (soak is not None and soak.endless)
    least = "" if whole else "at least "
    if soak is not None and soak.high <= 0.0 and hold.enter_s is None:
        return Says.of("{who} never came into the band of {at}{by}", who=who, at=Temp(hold.target_c), by=by)
    return Says.of(
        "{who} {was} at {at} for {least}{had}{spread}{by}",
        who=who,
        was=was,
        least=least,
        had=had,
        at=Temp(hold.target_c),
        spread=spread,
        by=by,
    )


def _who(hold: HoldResult, piece: PieceResult | None) -> tuple[str, str]:
    """Whom a soak is of, with its verb: the piece that had least, all of them where they had the same."""
    names = [p.piece for p in hold.pieces if p.piece]
    if piece is None or piece.piece is None:
        return SUBJECT[hold.temperature_from], "was"
    soaks = [p.soak_s.best for p in hold.pieces]
    if len(soaks) > 1 and max(soaks) - min(soaks) <= ALIKE_S:
        return listed(names, most=2), "were" if len(names) > 1 else "was"
    return f"{piece.piece} (least of {len(soaks)})" if len(soaks) > 1 else piece.piece, "was"


def _capital(says: Says) -> Says:
    """The same at the beginning of a sentence: who it speaks of is its first value, a text."""
    (name, who), *rest = says.values
    return Says(says.template, ((name, who[:1].upper() + who[1:] if isinstance(who, str) else who), *rest))


def _peak(hold: HoldResult) -> Says:
    over = hold.highest_from_target_c
    if over is None or hold.overshoot_is_at_least or hold.temperature_from == "packet estimate":
        return Says("")
    return Says.of(", hottest {peak}", peak=Temp(hold.target_c + over))


def _stands(found: Verification, holds: Sequence[HoldResult], head: str = UNCALIBRATED) -> Says:
    """By how much the display may be off, where nothing else is known of it."""
    if found.decided_on != "reading" and head == UNCALIBRATED:
        return Says("")
    stands = [h.display_may_read_c for h in holds if h.display_may_read_c is not None]
    if not stands:
        return Says("")
    low, high = max(s[0] for s in stands), min(s[1] for s in stands)
    if low > 0.0 or high < 0.0:
        return Says("")
    return Says.of(" {head} {high} high and {low} low.", head=head, high=Diff(high), low=Diff(-low))


def _cause(found: Verification, hold: HoldResult, piece: PieceResult | None, findings: Sequence[Finding]) -> Says:
    """What made a soak short, where the record shows it."""
    short = _first(findings, "short soak")
    if short is not None and short.brief is not None:
        return Says.of("; {why}", why=short.brief)
    missing_s = hold.required_s - (piece.soak_s if piece is not None else hold.soak_s).best  # type: ignore[union-attr]
    program = _first(findings, "program differs")
    if program is not None and program.brief is not None:
        return Says.of("; {why}", why=program.brief)
    lag = piece.lag_s if piece is not None and piece.lag_s is not None else hold.lag_s
    if lag is not None and lag.best >= missing_s / 2.0 and hold.enter_s is not None:
        return Says(f"; {LAGGED.get(hold.temperature_from or '', 'it')} lagged the furnace by {duration(lag.best)}")
    out_s = piece.pull_s if piece is not None else None
    left_s = max((p.pull_s for p in hold.pieces if p.pull_s is not None), default=None)
    if out_s is not None and left_s is not None and left_s - out_s > EARLY_S:
        return Says("; pulled early")
    return Says("")


def _first(findings: Sequence[Finding], *codes: str) -> Finding | None:
    """The first finding of these codes, in the order of the codes."""
    return next((f for code in codes for f in findings if f.code == code), None)
