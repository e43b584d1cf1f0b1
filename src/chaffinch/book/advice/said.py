"""What is said of advice, for terminal, desk and phone alike: standing, causes, changes, trials, the leak walk."""

from __future__ import annotations

from typing import Final

from chaffinch.book.advice.advise import AdviceFound
from chaffinch.book.advice.own import is_setting
from chaffinch.book.checks.in_trade_unit import land_unit, loss_factor, money_factor
from chaffinch.book.figures import percent, plain_number, rounded
from chaffinch.book.settings_alike import value_said
from chaffinch.engine.advice.causes import UNEXPLAINED, USUAL, usual_leads
from chaffinch.engine.advice.changes import Kept, RankedChange
from chaffinch.reference.advice import Change, Effect, Origin
from chaffinch.reference.advice_read import advice_table

SHAPE: Final = {"change": "▸", "measure": "◆", "nothing": "■"}
HEAD: Final = {
    "change": "Worth trying",
    "measure": "Measure first",
    "nothing": "Nothing worth changing",
}
KEPT_BACK: Final[dict[Kept, str]] = {
    "tried twice without effect": "was tried twice on this machine without effect",
    "own slope not known": "needs checks of this machine at two loads; none are in the book",
    "loss does not rise with load": "this machine's own checks do not say that its loss rises with load",
    "load not likely": "load is not a likely cause here",
    "no hour cost": "cannot be weighed without what an hour costs: add --hour-cost",
}
HEADER_KEPT_BACK: Final[dict[Kept, str]] = {
    "own slope not known": "needs header catches of this machine at two speeds; none are in the book",
    "loss does not rise with load": "this machine's own checks do not say that its header loss rises with speed",
}
"""What stands in their place where a step is against header loss: the two curves may run opposite ways."""
ORIGIN: Final = {
    "printed": "printed",
    "derived": "deduced from print",
    "memory": "from memory",
    "practice": "common practice, no source",
}
"""How a statement of the tables is known, in a word or two."""
OWN_FIGURES: Final = (
    "Chances, effects and what a step may spoil are our own figures, no source; whether the statement behind a step "
    "was read in print, is from memory or common practice stands with it."
)
MANUAL: Final = "Your operator's manual comes before any of this: its settings, its limits, its order."
ASSUMED: Final = {
    "yield": "No yield told: shares of the crop's value are reckoned with 2,000 kg/ha.",
    "price": "No price told: changes are ranked by seed, not by money.",
    "minutes": "The minutes of a step are told but not charged: add --stop-cost and --area-left.",
    "header": "Header loss was not measured: what is said of it is what is usual, not what is.",
    "machine": "Machine loss was not measured: what is said of it is what is usual, not what is.",
}
KEPT_SAID: Final = {
    "kept": "The answers are kept with the check.",
    "changed": "The changed answers are kept with the check; the earlier ones stay readable and count no more.",
    "known": "The book has these answers already: nothing was written twice.",
}
"""What became of answers that were to be kept."""
SPOILT: Final = {
    "value": "of the crop's value",
    "time": "more time for a hectare",
    "header": "more header loss",
    "machine": "more machine loss",
    "standing": "more lost before harvest",
    "leak": "more leaking",
}
RELATIVE: Final = {"fan speed": 0.05, "rotor speed": 0.04, "reel speed": 0.05}
"""One small step of a speed, as a share of it [1]; own figures."""
ABSOLUTE: Final = {"mm": 1.0, "cm": 2.0, "km/h": 0.5, "mph": 0.25}
"""One small step of a setting in its unit; own figures."""
LONG_CM: Final = {"cut_higher": 10.0, "cut_lower": 4.0, "reel_back": 10.0, "lifters": 10.0}
"""One step of a change whose table row tells it as a length of the hand [cm], so that the trial makes that step."""
IN_CM: Final = {"mm": 0.1, "cm": 1.0, "m": 100.0, "in": 2.54}

LEAK_INTRO: Final = (
    "Seed that drips from the machine is easily taken for loss of the shoe or the walkers. Look for it with everything "
    "at rest."
)
LEAK_CATCH: Final = (
    "To put a figure on a leak: shut down as above, hang a bag or a tray under the place so that it touches nothing "
    "that moves, and go well clear. Cut at a steady speed for a time you note, then shut down again before anyone "
    "fetches it. Weigh it and write it into the check as a catch with place leak, its time and the speed: it becomes "
    "loss per hectare like any other."
)
LEAK_ORDER: Final = "Seal a leak before any setting is changed: settings do not stop a drip."


def standing_said(found: AdviceFound) -> str:
    """Where it stands, in one or two sentences."""
    if found.standing == "nothing":
        if usual_leads(advice_table(), found.belief):
            usual = found.belief.of(USUAL)
            surely = "" if usual >= 0.5 else "most likely "
            return (
                f"the losses are {surely}what is usual in this crop ({percent(usual)} % by what is known). Leave the "
                "settings."
            )
        return "no step is expected to bring more than it may spoil. Leave the settings."
    if found.standing == "measure":
        cause, p = found.belief.leading
        head = (
            "the signs do not fit together, or something is wrong that stands in no table"
            if found.belief.of(UNEXPLAINED) > p
            else f"no cause stands out: the likeliest, {cause.says}, has {percent(p)} %"
        )
        return f"{head}. Changing a setting now would be a guess."
    best = found.shown[0]
    return best.change.says


def measure_said(found: AdviceFound) -> list[str]:
    """What would tell, where nothing should be changed yet."""
    told = []
    if found.question is not None:
        told.append(f"Answer: {found.question.sign.asks}")
    if "header" in found.assumed and not found.check.check.windrowed:
        told.append("Take frames in the cut strip, where only the header has passed: they part header from machine.")
    if "machine" in found.assumed:
        told.append("Take a catch in the discharge or behind: nothing is known of the machine's loss.")
    learned = [found.check.sources[s].learned for s in ("header", "machine") if s in found.check.sources]
    if learned and min(learned) < 0.5:
        told.append("Take more catches of the same kind: this check knows the split only roughly.")
    if not told:
        told.append("Take a second check at another place; look once more at what was answered.")
    return told


def causes_said(found: AdviceFound, most: int = 4) -> list[tuple[str, str]]:
    """The likeliest causes, each with its chance in percent."""
    return [(cause.says, percent(p)) for cause, p in found.belief.ranked()[:most]]


def hour_said(found: AdviceFound) -> list[str]:
    """That a stored hour cost counts, with its amount, or why not; nothing where one was told, or none is there."""
    if found.left_out:
        return [f"The stored hour cost is left out: {found.left_out}."]
    if found.stored is None:
        return []
    sign = found.currency or found.check.check.currency
    return [found.stored.said(f"{sign}{' ' if len(sign) > 1 else ''}{plain_number(found.stored.per_h)}")]


def gain_said(found: AdviceFound, one: RankedChange) -> str:
    """What a step is expected to bring: ``$4.10 per ac (likely −$1.20 to $12), after its minutes``."""
    check = found.check.check
    land = land_unit(check)
    if one.net_per_ha is not None:
        factor = money_factor(check)
        sign = found.currency or check.currency
        sign = sign + (" " if len(sign) > 1 else "")
        low, mean, high = (_money(v * factor, sign) for v in (one.net_per_ha.low, one.net, one.net_per_ha.high))
        after = "" if "minutes" in found.assumed or not one.change.minutes else ", after its minutes"
        return f"expected {mean} per {land} (likely {low} to {high}){after}"
    factor = loss_factor(check)
    low, mean, high = (_signed(v * factor) for v in (one.gain_kg_ha.low, one.expected_kg_ha, one.gain_kg_ha.high))
    return f"expected {mean} {check.trade_unit} less lost (likely {low} to {high})"


def spoils_said(change: Change) -> list[str]:
    """What a step may spoil, how much, and how that is known."""
    return [
        f"{effect.says}: {_span(effect)} % {SPOILT[effect.loss]} ({origin_said(effect.origin)})"
        for effect in change.spoils
    ]


def helps_said(found: AdviceFound, change: Change) -> list[str]:
    """Against which of the likely causes a step helps, how much, and how that is known."""
    told = []
    for cause, p in found.belief.ranked():
        for effect in change.helps:
            if effect.cause != cause.key or p < 0.02:
                continue
            much = (
                f"saves {_span(effect)} % of the crop's value"
                if effect.loss == "value"
                else f"{effect.loss} loss {effect.low:.2g} to {effect.high:.2g} times"
            )
            told.append(f"if {cause.says} ({percent(p)} %): {much} ({origin_said(effect.origin)})")
    return told[:3]


def own_said(one: RankedChange) -> list[str]:
    """What this machine's own trials and notes of a step say; nothing where there are none."""
    told = []
    if one.own_trials:
        trials = "1 trial of it on this machine is"
        if one.own_trials > 1:
            trials = f"{one.own_trials} trials of it on this machine are"
        told.append(f"{trials} in these figures.")
    if one.own_notes:
        told.append("A note says that it did not help on this machine; a second one takes it off the list.")
    return told


def minutes_said(change: Change) -> str:
    """``about 2 minutes``."""
    if not change.minutes:
        return "no stop"
    return f"about {plain_number(change.minutes, 1)} {'minute' if change.minutes == 1 else 'minutes'}"


def verify_said(change: Change) -> str:
    """How to see whether it helped."""
    if change.part == "timing":
        return "take a check then, at one speed in even crop, and lay it beside this one."
    if not change.setting or not change.way:
        return "take a check before and one after, near each other, within the hour and at one speed."
    return (
        "stops in turn, as it is set now (A) and one step on (B): A, B, B, A, at one speed in even crop, within the "
        "hour."
    )


def trial_sides(found: AdviceFound, change: Change) -> tuple[str, str] | None:
    """Settings of a ready-made trial, ``("fan speed=900 rpm", "fan speed=855 rpm")``; None for a step that has none.

    Where the setting is not recorded with the check, the places of the numbers are left open.
    """
    if not change.setting or not change.way:
        return None
    for one in found.own.settings:
        if not is_setting(str(one["name"]), change.setting):
            continue
        number, unit = float(one["value"]), str(one.get("unit", ""))
        step = _step(change, number, unit)
        after = number + step if change.way == "+" else number - step
        if after <= 0.0:
            break
        sides = (value_said({"value": v, "unit": unit}) for v in (number, float(f"{after:.4g}")))
        now, then = sides
        return f"{one['name']}={now}", f"{one['name']}={then}"
    return f"{change.setting}=NOW", f"{change.setting}={'MORE' if change.way == '+' else 'LESS'}"


def _step(change: Change, number: float, unit: str) -> float:
    """One step of a change in the unit its setting is recorded in."""
    if change.key in LONG_CM and unit in IN_CM:
        long = LONG_CM[change.key] / IN_CM[unit]
        # Nobody sets 3.94 inches.
        return 0.5 * round(2.0 * long) if unit == "in" else long
    step = ABSOLUTE.get(unit) or RELATIVE.get(change.setting, 0.05) * abs(number)
    return 10.0 * max(1.0, round(step / 10.0)) if unit == "rpm" and step >= 5.0 else step


def trial_command(found: AdviceFound, change: Change) -> str:
    """The command that starts the trial; with a book only."""
    sides = trial_sides(found, change)
    if sides is None or found.combine is None:
        return ""
    return f'chaffinch trial --start --combine "{found.combine.name}" --a "{sides[0]}" --b "{sides[1]}"'


def kept_back_said(one: RankedChange) -> str:
    """Why a step is held back, by the curve that it is held against."""
    of_header = HEADER_KEPT_BACK if one.change.gate == "header_slope" else {}
    return of_header.get(one.kept_back, KEPT_BACK[one.kept_back])


def held_said(found: AdviceFound) -> list[str]:
    """Steps held back that would else be among the first, and why: those whose causes are likely, or that dropped."""
    told = []
    for one in found.held:
        dropped = one.kept_back == "tried twice without effect"
        if (dropped or one.p_cause >= 0.15) and one.net > 0.0:
            told.append(f"{one.change.says.split(':')[0].rstrip('.')}: {kept_back_said(one)}.")
    return told


def by_itself_said(found: AdviceFound) -> list[str]:
    """What check and book answered by themselves."""
    told = []
    for key, answer in found.by_itself.items():
        sign = advice_table().sign(key)
        if sign is not None:
            told.append(sign.answers[answer] if not sign.asks else f"{sign.asks} {sign.answers[answer]}")
    return told


def sources_said(found: AdviceFound) -> list[str]:
    """What the letters beside the steps shown stand for: ``G1: title (author, year)``."""
    effects = [e for one in found.shown for e in (*one.change.helps, *one.change.spoils)]
    keys = {key for e in effects for key in (*e.origin.sources, *e.origin.deduced)}
    told = []
    for key in sorted(keys):
        one = advice_table().cited[key]
        told.append(f"{key}: {one.title} ({one.org}{f', {one.year}' if one.year else ''})")
    return told


def origin_said(origin: Origin) -> str:
    """``printed: G1, WFP`` or ``common practice, no source``."""
    told = f"{ORIGIN[origin.kind]}: {', '.join(origin.sources)}" if origin.sources else ORIGIN[origin.kind]
    return f"{told}; deduced from {', '.join(origin.deduced)}" if origin.deduced else told


def _span(effect: Effect) -> str:
    return f"{plain_number(effect.low, 2)} to {plain_number(effect.high, 2)}"


def _money(value: float, sign: str) -> str:
    return f"{'−' if value < 0 else ''}{sign}{rounded(abs(value), 2 if abs(value) < 10 else 0)}"


def _signed(value: float) -> str:
    return f"{'−' if value < 0 else ''}{plain_number(abs(value), 2)}"
