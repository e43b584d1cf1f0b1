"""Worked examples and chains of the method sheets, taken through a check file and compared with its plain figures.

No source carries one complete example, so the chains put our inputs on published steps; where the source prints only
the inputs, the answer compared with is our own arithmetic. Each record says so (origin).
"""

from __future__ import annotations

import pytest
from one_stop import FT2_M2, ask, frame, seeds_ft2, tkw_of_rule, told, warned
from published_records import Record, runs, runs_all

from chaffinch.book.checks.answer import CheckAnswer
from chaffinch.engine.catch import loss_of_seeds_kg_ha, seeds_per_m2
from chaffinch.engine.estimate import percent_of_harvested, share_pct


def _ratio(found: CheckAnswer) -> float:
    cut, discharge = found.prepared.cut_width_m, found.prepared.discharge_width_m
    assert cut is not None
    assert discharge is not None
    return cut / discharge


@runs("c-sunflower-chain")
def test_standing_header_and_machine_from_three_frames(record: Record) -> None:
    """2, 5 and 45 seeds per ft² with 30 ft over 5 ft: header 3, machine 40/6; shown to 0.0001.

    Steps of the NDSU sunflower guide, p. 110; its rule of 10 seeds per ft² is used as it stands, misleading as it is
    for oil sorts, since the chain is about the steps.
    """
    given = record.inputs
    tkw_g = tkw_of_rule(given["seeds_per_ft2_per_cwt_ac"], 100)
    found = ask(
        "sunflower",
        frame("standing", 10 * given["count_standing_per_ft2"]),
        frame("header strip", 10 * given["count_under_machine_per_ft2"]),
        frame("behind", 10 * given["count_behind_rear_per_ft2"]),
        tkw=f"{tkw_g!r} g",
        report_in="cwt/ac",
        combine={"cut_width": f"{given['header_width_ft']} ft", "drop_width": f"{given['discharge_width_ft']} ft"},
    )
    machine = seeds_ft2(found.plain.machine, tkw_g)
    record.agree(
        {
            "header_seeds_per_ft2": seeds_ft2(found.plain.header, tkw_g),
            "separator_seeds_concentrated_per_ft2": machine * _ratio(found),
            "separator_seeds_full_width_per_ft2": machine,
            "separator_loss_cwt_per_ac": told(found, found.plain.machine),
            "total_loss_cwt_per_ac": told(found, found.plain.total),
        }
    )
    assert found.plain.left_in == ()


@runs("c-soy-chopper-on")
def test_counts_in_the_thirds_with_the_chopper_on(record: Record) -> None:
    """5, 9 and 7 per ft² behind less 1 uncut: 6, at factor 1 since the spread is as wide as the cut; exact.

    No frame in the header strip: the figure is header and machine together, and the answer says so.
    """
    tkw_g = tkw_of_rule(record.inputs["seeds_per_ft2_per_bu_ac"], 60)
    thirds = record.inputs["counts_at_centres_of_header_thirds_per_ft2"]
    found = ask(
        "soybean",
        frame("standing", record.inputs["count_unharvested_per_ft2"], "1 ft2"),
        *(frame("behind", count, "1 ft2") for count in thirds),
        tkw=f"{tkw_g!r} g",
        country="US",
        report_in="bu/ac",
        spreading=True,
        combine={"cut_width": "30 ft", "spread_width": "30 ft"},
    )
    record.agree(
        {
            "harvest_loss_seeds_per_ft2": seeds_ft2(found.plain.machine, tkw_g),
            "header_plus_machine_loss_bu_per_ac": told(found, found.plain.machine),
        }
    )
    assert "header-left-in" in warned(found)


@runs("c-canola-tray-metric")
def test_part_width_tray(record: Record) -> None:
    """12 g on 0.5 m², 12 m over 1.8 m: 36 kg/ha; exact in metric, then to 0.01 lb/ac, 0.001 bu/ac, whole seeds."""
    given = record.inputs
    found = ask(
        "canola",
        {"place": "discharge", "pan": f"{given['tray_area_m2']} m2", "amount": f"{given['clean_seed_g']} g"},
        tkw=f"{given['thousand_seed_weight_g']} g",
        bushel="50 lb",
        report_in="kg/ha",
        combine={"cut_width": f"{given['header_width_m']} m", "drop_width": f"{given['discharge_width_m']} m"},
    )
    loss = found.plain.machine
    assert loss is not None
    in_strip = loss * _ratio(found)
    record.agree(
        {
            "strip_density_g_per_m2": told(found, in_strip, "g/m2"),
            "machine_loss_kg_per_ha": told(found, loss),
            "machine_loss_lb_per_ac": told(found, loss, "lb/ac"),
            "machine_loss_bu_per_ac_50lb": told(found, loss, "bu/ac"),
            "seeds_per_m2_in_strip": seeds_per_m2(in_strip, given["thousand_seed_weight_g"]),
        }
    )


@runs("c-full-width-tray")
def test_tray_wider_than_the_discharge(record: Record) -> None:
    """30 g over half a metre of travel and 12 m of cut: 50 kg/ha, exact; the drop width does not come in."""
    given = record.inputs

    def loss_kg_ha(drop_width: str) -> float:
        found = ask(
            "canola",
            {
                "place": "discharge",
                "width": f"{given['tray_width_m']} m",
                "length": f"{given['tray_length_along_travel_m']} m",
                "amount": f"{given['clean_seed_g']} g",
            },
            combine={"cut_width": f"{given['header_width_m']} m", "drop_width": drop_width},
        )
        return told(found, found.plain.machine, "kg/ha")

    record.agree({"machine_loss_kg_per_ha": loss_kg_ha(f"{given['discharge_width_m']} m")})
    assert loss_kg_ha("1.2 m") == loss_kg_ha("1.8 m")


@runs("wa-lupin-preharvest")
def test_western_australian_lupins_before_harvest(record: Record) -> None:
    """Inputs printed: 5 seeds a quadrat where 7 are 100 kg/ha: 71.43; our answer, to 0.01 kg/ha."""
    area = record.inputs["quadrat_area_m2"]
    tkw_g = 100.0 / loss_of_seeds_kg_ha(record.inputs["seeds_per_quadrat_per_100_kg_ha"] / area, 1.0)
    catch = frame("standing", record.inputs["mean_seeds_per_quadrat"], f"{area} m2")
    found = ask("lupin", catch, tkw=f"{tkw_g!r} g")
    record.agree({"preharvest_loss_kg_per_ha": told(found, found.plain.standing)})


@runs("unl-soy-40")
def test_forty_beans_in_ten_square_feet(record: Record) -> None:
    """A bushel per acre, exact; in the ten-foot-square frame of the article's step list it would be a tenth of it."""
    soybean = {"country": "US", "report_in": "bu/ac", "tkw": f"{tkw_of_rule(4, 60)!r} g"}
    square = {"place": "header strip", "width": "10 ft", "length": "10 ft", "amount": "40 beans"}
    ten_ft2 = ask("soybean", frame("header strip", record.inputs["beans"]), **soybean)
    ten_ft_square = ask("soybean", square, **soybean)
    record.agree(
        {
            "loss_bu_per_ac": told(ten_ft2, ten_ft2.plain.header),
            "loss_if_10ft_by_10ft_bu_per_ac": told(ten_ft_square, ten_ft_square.plain.header),
        }
    )


@runs("haile2014")
def test_seeds_per_square_foot_of_the_canola_survey(record: Record) -> None:
    """8,300 seeds per m² are 771 per ft²; the summary prints 830, a tenth of the metric figure: a slip.

    The seed's weight is ours and cancels.
    """
    per_m2 = ask("canola", frame("standing", 8300, "1 m2"), tkw="3 g")
    per_ft2 = ask("canola", frame("standing", 830, "1 ft2"), tkw="3 g")
    assert per_m2.plain.standing is not None
    assert per_ft2.plain.standing is not None
    count = seeds_ft2(per_m2.plain.standing, 3.0)
    record.agree(
        {
            "viable_seeds_per_m2": seeds_per_m2(per_m2.plain.standing, 3.0),
            "viable_seeds_per_ft2_as_printed": count,
            "seeds_per_ft2_from_8300_per_m2": count,
            "seeds_per_m2_from_830_per_ft2": seeds_per_m2(per_ft2.plain.standing, 3.0),
        },
        apart={"loss_percent_of_yield": "printed without the loss or the yield in kg/ha"},
        misprinted=("viable_seeds_per_ft2_as_printed",),
    )


@runs("gulden2003")
def test_canola_survey_mean_hangs_together(record: Record) -> None:
    """107 kg/ha, 5.9 % and about 3,000 seeds per m² imply 1,814 kg/ha of yield and seed of 3.57 g per thousand."""
    loss, percent = record.expected["loss_kg_per_ha"], record.expected["loss_percent_of_yield"]
    tkw_g = loss / loss_of_seeds_kg_ha(record.expected["viable_seeds_per_m2"], 1.0)
    yield_kg_ha = percent_of_harvested(loss, 1.0) / percent
    found = ask("canola", frame("whole cut", 3000, "1 m2"), tkw="3.57 g", combine={"cut_width": "9 m"})
    record.agree(
        {
            "loss_kg_per_ha": found.plain.total,
            "loss_percent_of_yield": percent_of_harvested(found.plain.total, 1814.0),
            "viable_seeds_per_m2": seeds_per_m2(loss, tkw_g),
            "implied_yield_kg_per_ha": yield_kg_ha,
            "implied_g_per_1000_viable_seeds": tkw_g,
        },
        apart={"producer_range_percent": "the span over 15 producers, whose yields are not printed"},
    )


@runs("hobson-bruce-2002")
def test_rape_header_losses_add_up(record: Record) -> None:
    """Side knife and the rest of the header, above what fell before: 77.4 and 138.6 kg/ha; 600 is 25 % of 2,400."""
    before = record.expected["preharvest_loss_kg_per_ha"]
    knife, rest = record.expected["side_knife_loss_kg_per_ha"], record.expected["other_header_loss_kg_per_ha"]

    def header_kg_ha(header: str) -> float:
        on_ground_g = 0.1 * (before + knife[header] + rest[header])  # 1 kg/ha is 0.1 g/m²
        found = ask(
            "winter oilseed rape",
            {"place": "standing", "pan": "1 m2", "amount": f"{0.1 * before:.2f} g"},
            {"place": "header strip", "pan": "1 m2", "amount": f"{on_ground_g:.2f} g"},
        )
        assert told(found, found.plain.standing) == pytest.approx(before, abs=1e-9)
        return told(found, found.plain.header)

    bad, bad_percent = (record.expected[f"high_loss_case_{name}"] for name in ("kg_per_ha", "percent_of_yield"))
    inputs = "an input of ours, printed"
    record.agree(
        {
            "header_total_conveyor_kg_per_ha": header_kg_ha("conveyor_header"),
            "header_total_standard_kg_per_ha": header_kg_ha("standard_header"),
            "high_loss_case_percent_of_yield": percent_of_harvested(bad, 2400.0),
            "implied_yield_for_600_kg": percent_of_harvested(bad, 1.0) / bad_percent,
        },
        apart={
            "preharvest_loss_kg_per_ha": inputs,
            "side_knife_loss_kg_per_ha": inputs,
            "other_header_loss_kg_per_ha": inputs,
            "high_loss_case_kg_per_ha": inputs,
            "cutterbar_only_conveyor_kg_per_ha": "part of the rest of the header",
            "implied_width_ratio": "two printed figures divided; nothing of ours scales a knife loss with width",
        },
    )


@runs("cetiom-colza")
def test_french_quintals(record: Record) -> None:
    """5.5 and 1.4 q/ha are 550 and 140 kg/ha; their difference 4.1 is printed as 4. A decitonne is a quintal."""

    def found(quintals: float) -> CheckAnswer:
        grams = {"place": "whole cut", "pan": "1 m2", "amount": f"{10 * quintals:g} g"}
        return ask("rapeseed", grams, combine={"cut_width": "9 m"}, limit=f"{quintals} dt/ha")

    lost = [found(quintals) for quintals in record.expected["loss_q_per_ha"]]
    said = [told(one, one.plain.header_and_machine) for one in lost]
    assert [one.check.trade_unit for one in lost] == ["dt/ha", "dt/ha"]
    assert [one.check.limit_kg_ha for one in lost] == record.recomputed["loss_kg_per_ha"]
    record.agree(
        {
            "loss_q_per_ha": said,
            "gain_q_per_ha": said[0] - said[1],
            "loss_kg_per_ha": [told(one, one.plain.header_and_machine, "kg/ha") for one in lost],
        }
    )


@runs_all("westerncape-")
def test_western_cape_potential_less_delivered(record: Record) -> None:
    """The two yields are printed; the part lost is of the potential, which is harvested and lost together."""
    potential, delivered = record.inputs["potential_yield_kg_per_ha"], record.inputs["actual_yield_kg_per_ha"]
    lost = potential - delivered
    grams = {"place": "whole cut", "pan": "1 m2", "amount": f"{lost / 10:g} g"}
    found = ask("canola", grams, combine={"cut_width": "9 m"}, **{"yield": f"{delivered} kg/ha"})
    assert found.check.yield_kg_ha is not None
    record.agree(
        {
            "difference_kg_per_ha": found.plain.total,
            "percent_of_potential": share_pct(found.plain.total, found.plain.total, found.check.yield_kg_ha),
        }
    )


@runs("c-units")
def test_grams_per_square_metre(record: Record) -> None:
    """1 g/m² is 10 kg/ha and 8.9218 lb/ac; metric exact, lb/ac shown to 0.0001."""
    found = ask("canola", {"place": "standing", "pan": f"{record.inputs['g_per_m2']} m2", "amount": "1 g"})
    loss = found.plain.standing
    record.agree(
        {
            "kg_per_ha": told(found, loss),
            "lb_per_ac": told(found, loss, "lb/ac"),
            "g_per_ft2": told(found, loss, "g/ft2"),
        }
    )
    # From the other side, 1 g/ft² is 107.639 kg/ha (derived, shown to 0.001).
    one_g_ft2 = ask("canola", {"place": "standing", "pan": "1 ft2", "amount": "1 g"}).plain.standing
    assert one_g_ft2 == pytest.approx(10 / FT2_M2, rel=1e-14)
    assert one_g_ft2 == pytest.approx(107.639, abs=0.0005)
