"""``chaffinch worth``: is a stop to check, or one more catch, worth its minutes?"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Any, Final

import click

from chaffinch import units
from chaffinch.cli.numbers import NUMBER
from chaffinch.cli.options.which_book import book_option, open_the_book, print_json, progress
from chaffinch.cli.terminal.page import Page
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.pace.worth import WorthFound
    from chaffinch.cli.pace_page import PaceUnit
    from chaffinch.engine.worth import Worth

Z_95: Final = 1.645
"""Normal score of the 95th percentile [1]."""
DO: Final = {"act": "make a change", "leave": "leave it"}


@click.command("worth")
@book_option
@click.option("--combine", metavar="NAME", help="The combine; may be left out where the book has one.")
@click.option("--crop", metavar="NAME", help="The crop; or --field tells it.")
@click.option("--field", "field", metavar="NAME", help="The field being cut: its crop and price.")
@click.option("--area-left", required=True, metavar="TEXT", help='Area a better setting would help on, like "120 ha".')
@click.option("--stop-cost", required=True, metavar="TEXT", help='What an hour of standing costs, like "250 /h".')
@click.option("--price", metavar="TEXT", help="Price of the grain, instead of the field's or the last check's.")
@click.option("--saves", default="5 to 40 %", show_default=True, metavar="TEXT",
              help="What a change is likely to take off the loss; below 0 it adds to it.")  # fmt: skip
@click.option("--goes-wrong", default="10 %", show_default=True, metavar="TEXT",
              help="How many changes do harm instead.")  # fmt: skip
@click.option("--harm", default="20 kg/ha", show_default=True, metavar="TEXT",
              help="What such a change adds to the loss.")  # fmt: skip
@click.option("--action-minutes", default="20", show_default=True, type=NUMBER, help="Minutes a change takes.")
@click.option(
    "--action-cost", default="0", show_default=True, type=NUMBER, help="What a change costs besides, in money."
)
@click.option(
    "--stop-minutes", default="10", show_default=True, type=NUMBER, help="Minutes to stop safely and start again."
)
@click.option("--catch-minutes", default="5", show_default=True, type=NUMBER, help="Minutes for one catch.")
@click.option("--hours-since", type=NUMBER, help="Hours of combining since the last check; by the clock up to 12.")
@click.option("--condition", "given_conditions", metavar="KEY=NUMBER", multiple=True, help="Now, like humidity_pct=45.")
@click.option("--json", "as_data", is_flag=True, help="Print as JSON.")
def command(address: str | None, as_data: bool, **given: Any) -> None:
    """Hold minutes against money: is it worth stopping to check now, and is one more catch worth taking?

    A measurement is worth what the better decision is expected to save. What is known of today's loss fades with the
    hours since the last check and with what the air and the straw have done since.
    """
    from chaffinch.book.currency import price_told, read_told
    from chaffinch.book.pace.worth import WorthTerms, price_of_field, worth
    from chaffinch.cli.options.filing import one_thing, read_conditions
    from chaffinch.cli.pace import only_combine
    from chaffinch.cli.pace_page import unit_of

    desk = open_the_book(address)
    field = None if given["field"] is None else one_thing(desk, "field", given["field"], flag="--field")
    combine = only_combine(desk, given["combine"])
    crop = given["crop"] or (None if field is None else field.parts.get("crop"))
    if crop is None:
        raise InputError("--crop", None, "is not told", "add --crop canola, or --field NAME of a field that has one")
    unit = unit_of(desk, crop)
    told = given["price"]
    price, of_field = price_of_field(field), price_told(field)
    money = [read_told(given["stop_cost"], "money_rate", field="--stop-cost")]
    if told is not None:
        price = units.read_not_negative(told, "price", field="--price", bushel_kg=unit.bushel_kg).value
        money.append(read_told(told, "price", field="--price", bushel_kg=unit.bushel_kg))
    elif of_field is not None:
        money.append(of_field)
    terms = WorthTerms(
        area_left_ha=units.read_positive(given["area_left"], "land", field="--area-left").value,
        stop_cost_per_h=units.read_not_negative(given["stop_cost"], "money_rate", field="--stop-cost").value,
        price_per_t=price,
        effect=_effect(given["saves"]),
        goes_wrong=units.read_not_negative(given["goes_wrong"], "fraction", field="--goes-wrong").value,
        harm_kg_ha=units.read_not_negative(given["harm"], "area_mass", field="--harm", bushel_kg=unit.bushel_kg).value,
        action_minutes=given["action_minutes"],
        action_cost=given["action_cost"],
        stop_minutes=given["stop_minutes"],
        catch_minutes=given["catch_minutes"],
        hours_since=given["hours_since"],
        conditions=read_conditions(given["given_conditions"]),
        money=money,
    )
    with progress("Reading the checks") as step:
        found = worth(desk, combine, crop, terms, progress=step)
    if as_data:
        print_json(_as_json(found))
        return
    _show(found, Page.here(), unit.in_currency(found.currency))


def _effect(text: str) -> tuple[float, float]:
    """Loss after over loss before, from what a change takes off: "5 to 40 %" is 0.60 to 0.95."""
    like = 'write it like "5 to 40 %", or "-10 to 40 %" where it may add to the loss'
    parts = re.fullmatch(r"\s*([-−]?[\d.,]+)\s*%?\s*(?:to|-|–)\s*([-−]?[\d.,]+)\s*%\s*", text)
    if parts is None:
        raise InputError("--saves", text, "is no range of percent", like)
    low, high = (units.read(f"{p.replace('−', '-')} %", "fraction", field="--saves").value for p in parts.groups())
    if not -1.0 <= low < high < 1.0:
        raise InputError("--saves", text, "must rise, from -100 % at least to below 100 %", like)
    return 1.0 - high, 1.0 - low


def _show(found: WorthFound, page: Page, unit: PaceUnit) -> None:
    from chaffinch.book.checks.own_variation import variation_said
    from chaffinch.book.figures import percent, plain_number, range_words
    from chaffinch.book.shown_unit import area_said
    from chaffinch.book.times import local
    from chaffinch.book.wording import CAUTION, SOURCE

    now = found.check.now
    low, middle, high = range_words(found.judged_kg_ha.times(unit.loss.factor))
    what = " and ".join(SOURCE[s] for s in found.judged)
    page.say()
    page.two_ends(
        f"{found.combine.name} · {found.last.check.crop}", f"{area_said(found.terms.area_left_ha, unit.loss)} left"
    )
    page.say()
    page.paragraph(
        f"Last check {local(str(found.last.body['taken_at']))} ({plain_number(found.hours_since, 2)} h ago): "
        f"{middle} {unit.loss.name} {what} loss, likely {low} to {high}."
    )
    today = plain_number(found.check.median_kg_ha_today * unit.loss.factor, 2)
    page.paragraph(
        f"What it says of the loss now: about {today} {unit.loss.name}{_shifted(found)}, "
        f"likely {factor_words(math.exp(Z_95 * found.check.sd_log_today))} that."
    )
    page.say()
    stop = f"{'■ Stop and check' if now.worth_stopping else '▸ Not worth a stop now'}"
    page.paragraph(f"{stop}: {_balance(now, unit)}", emphasis=stop[2:])
    if not now.worth_stopping:
        page.paragraph(_due(found.check.due_in_h))
    page.say()
    one = found.catch
    more = f"{'■ More catches' if one.worth_stopping else '▸ No more catches'}"
    page.paragraph(f"{more} while you stand there: {_balance(one, unit)}", emphasis=more[2:])
    page.say()
    limit = now.break_even_loss_kg_ha
    if limit is not None:
        page.paragraph(
            f"A change pays above {plain_number(limit * unit.loss.factor, 2)} {unit.loss.name}. "
            f"By what is known now it is better to {DO[now.now]}: a change pays with {percent(now.p_acting_pays)} %."
        )
    if now.worth_stopping or one.worth_stopping:
        page.paragraph(CAUTION, bullet="! ")
    if "header" not in found.judged:
        page.paragraph("Machine only: what the header loses is not in it.", bullet="· ")
    if "machine" not in found.judged:
        page.paragraph("Header only: what the machine loses is not in it.", bullet="· ")
    for text in (*variation_said([found.last]), _change_taken(found, unit)):
        page.paragraph(text, bullet="· ")
    page.paragraph(
        "How fast what is known fades (a quarter between places, 15 % in an hour) is our own figure, no source. "
        "In the end no more is left than was expected before any check.",
        bullet="· ",
    )
    page.say()


def factor_words(factor: float) -> str:
    """A spread as a factor: "between a half and twice"; the word "that" is to follow."""
    if 1.9 <= factor < 2.15:
        return "between a half and twice"
    return f"between {1.0 / factor:.2g} and {factor:.2g} times"


def _change_taken(found: WorthFound, unit: PaceUnit) -> str:
    """What a change is taken to do, and whose figures that are."""
    from chaffinch.book.figures import percent, plain_number
    from chaffinch.book.pace.worth import GOES_WRONG, HARM_KG_HA, USUAL_EFFECT

    terms = found.terms
    least, most = (round(100 * (1.0 - ratio)) for ratio in reversed(terms.effect))
    harm = f"{plain_number(terms.harm_kg_ha * unit.loss.factor, 2)} {unit.loss.name}"
    wrong = f"; with {percent(terms.goes_wrong)} % it goes wrong and adds {harm}" if terms.goes_wrong > 0.0 else ""
    told = (*terms.effect, terms.goes_wrong, terms.harm_kg_ha)
    known = (*USUAL_EFFECT, GOES_WRONG, HARM_KG_HA)
    usual = all(math.isclose(a, b) for a, b in zip(told, known, strict=True))
    return (
        f"A change is taken to cut the loss by {least} to {most} % and to take {terms.action_minutes:g} "
        f"minutes{wrong}. {'Own figures, no source: ' if usual else ''}"
        "--saves, --action-minutes, --goes-wrong and --harm tell yours."
    )


def _shifted(found: WorthFound) -> str:
    if not found.moved:
        return ""
    name, sds = next(iter(found.moved.items()))
    way = "up" if sds > 0 else "down"
    ratio = "" if found.expected_ratio == 1.0 else f"; the curve expects {found.expected_ratio:.2f} times the loss"
    return f" ({name.rsplit('_', 1)[0].replace('_', ' ')} is {way}{ratio})"


def _balance(worth: Worth, unit: PaceUnit) -> str:
    from chaffinch.book.figures import rounded

    catches = f"{worth.catches} {'catch' if worth.catches == 1 else 'catches'}"
    saving, net = worth.saving[worth.catches - 1], worth.net[worth.catches - 1]
    text = f"{catches}, {rounded(worth.minutes, 0)} minutes, expected to save {unit.sign}{rounded(saving, 0)}"
    return (
        f"{text}, {unit.sign}{rounded(net, 0)} after the minutes."
        if net > 0
        else f"{text}, less than the minutes cost."
    )


def _due(hours: float | None) -> str:
    if hours is None:
        return "Nor within a day, or before the area is done, if nothing else changes."
    return f"It will be in about {hours:g} hours, sooner if dew, heat, crop or settings change."


def _as_json(found: WorthFound) -> dict[str, Any]:
    from chaffinch.book.checks.own_variation import variation_json
    from chaffinch.book.checks.plain_data import as_range

    def one(worth: Worth) -> dict[str, Any]:
        return {
            "worth_it": worth.worth_stopping,
            "catches": worth.catches,
            "minutes": worth.minutes,
            "saving": worth.saving[worth.catches - 1],
            "net": worth.net[worth.catches - 1],
            "net_per_ha": worth.net_per_ha,
            "net_per_h": worth.net_per_h,
            "break_even_minutes": worth.break_even_minutes,
            "perfect": worth.perfect,
            "now": worth.now,
            "p_acting_pays": worth.p_acting_pays,
            "break_even_loss_kg_ha": worth.break_even_loss_kg_ha,
        }

    return {
        "combine": {"id": found.combine.id, "name": found.combine.name},
        "last_check": found.last.id,
        "judged": list(found.judged),
        "machine_only": "header" not in found.judged,
        "header_only": "machine" not in found.judged,
        "judged_kg_ha": as_range(found.judged_kg_ha),
        "hours_since": found.hours_since,
        "moved": dict(found.moved),
        "expected_ratio": found.expected_ratio,
        "stop": {
            **one(found.check.now),
            "due_in_h": found.check.due_in_h,
            "sd_log_today": found.check.sd_log_today,
            "median_kg_ha_today": found.check.median_kg_ha_today,
        },
        "catch": one(found.catch),
        "price_per_t": found.price_per_t,
        "currency": found.currency,
        "effect": list(found.terms.effect),
        "goes_wrong": found.terms.goes_wrong,
        "harm_kg_ha": found.terms.harm_kg_ha,
        "p_harm": found.p_harm,
        "variation": variation_json([found.last]),
    }
