"""Does a combine's page show its points and curve before anybody told what an hour costs?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from desk_farm import Visitor, desk_farm

from chaffinch.book.pace.curves import curves
from chaffinch.book.shown_unit import unit_of
from chaffinch.book.things import find_thing
from chaffinch.paper import drawing
from chaffinch.paper.curve_told import told_of
from chaffinch.paper.drawing import Chart


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    with desk_farm(tmp_path_factory.mktemp("desk")) as visitor:
        yield visitor


def test_points_and_curve_stand_on_the_page_without_an_hour_cost(desk: Visitor) -> None:
    machine = find_thing(desk.book.desk, "combine", "Old Bess")
    page = desk.get(f"/combine/{machine.id}")
    assert "Tell what one more hour of combining costs" in page.words
    assert "Machine loss by load" in page.words
    found = curves(desk.book.desk, machine, "canola")
    assert f'class="spot" href="/check/{found.own[0].logged.id}"' in page.text
    assert page.text.count('class="spot"') == 2 * len(found.own), "once wide, once narrow"
    asked = desk.get(f"/combine/{machine.id}", hour_cost="450 /h", now="6 km/h")
    assert "Machine loss by load" not in asked.words
    assert "Machine loss by speed" in asked.words


def test_the_drawn_curve_is_the_response_at_its_loads(desk: Visitor, monkeypatch: pytest.MonkeyPatch) -> None:
    machine = find_thing(desk.book.desk, "combine", "Old Bess")
    found, unit = curves(desk.book.desk, machine, "canola"), unit_of(desk.book.desk, "canola")
    drawn: list[Chart] = []
    monkeypatch.setattr(drawing, "chart", lambda what, **_: drawn.append(what))
    told = told_of(found, unit)
    curve = drawn[0].curve
    assert curve is not None
    assert found.load_kind == "throughput"
    assert drawn[0].x_unit == "t/h"
    assert curve.tried == found.machine.tested(machine.id)
    draws = found.machine.loss_kg_ha(np.array(curve.x), combine=machine.id) * unit.loss.factor
    for column, shown in zip(draws.T, curve.y, strict=True):
        expected = np.quantile(column, [0.05, 0.5, 0.95])
        assert [shown.low, shown.median, shown.high] == pytest.approx(expected.tolist(), rel=2e-3)
    assert [at for at, _ in drawn[0].points] == sorted(p.throughput_t_h or 0.0 for p in found.own)
    assert len(told.points) - 1 == len(found.own)


def test_a_machine_whose_checks_tell_no_load_says_so(desk: Visitor) -> None:
    machine = find_thing(desk.book.desk, "combine", "Old Bess")
    found = curves(desk.book.desk, machine, "canola")
    bare = replace(found, points=(), left_out={"tell no speed": 2})
    told = told_of(bare, unit_of(desk.book.desk, "canola"))
    assert told.chart is None
    assert told.remarks == ["Left out: 2 checks that tell no speed."]
