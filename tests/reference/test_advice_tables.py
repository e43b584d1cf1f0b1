"""Are the tables of the advice whole, and does a bad row name its file, its row and its field?"""

# ruff: noqa: E501 (what is damaged and what is told read better side by side)

from __future__ import annotations

from pathlib import Path

import pytest

from chaffinch.errors import ReferenceDataError
from chaffinch.reference.advice import HEADERS, ORIGINS, PARTS
from chaffinch.reference.advice_read import advice_table, read_table

TABLE = advice_table()
NEVER = ("throw a", "throw the", "under a moving", "under the moving", "walk beside", "run beside", "by hand")


def test_every_part_is_covered_for_every_group_of_crops() -> None:
    """Header, threshing, separating, cleaning, leaks, timing and pace, for canola, cereals, pulses and the others."""
    for group in (*TABLE.groups, "other"):
        causes = {c.key: c.part for c in TABLE.causes if c.odds.get(group, c.odds["all"]) > 0}
        parts = set(causes.values())
        assert parts >= {"header", "timing", "pace", "threshing", "separating", "cleaning", "leak"}, group
        helped = {e.cause for c in TABLE.changes if group not in c.unfit for e in c.helps}
        assert set(causes) - {"usual", "unexplained"} - helped == set(), group


def test_every_row_has_an_origin_and_every_source_is_cited() -> None:
    origins = [c.origin for c in TABLE.causes]
    origins += [s.origin for sign in TABLE.signs for s in sign.says]
    origins += [e.origin for c in TABLE.changes for e in (*c.helps, *c.spoils)] + [p.origin for p in TABLE.leaks]
    assert all(o.kind in ORIGINS for o in origins)
    assert all((o.kind == "practice") == (o.sources == ()) for o in origins)
    cited = {s for o in origins for s in (*o.sources, *o.deduced)}
    assert cited <= set(TABLE.cited)
    assert {o.kind for o in origins} == set(ORIGINS)


def test_questions_can_be_answered_by_a_person() -> None:
    for sign in TABLE.signs:
        if sign.asks:
            assert sign.asks.endswith("?")
            assert sign.how
            assert 2 <= len(sign.answers) <= 8
        assert sum(sign.usual.values()) == pytest.approx(1.0)
        assert all(0.0 < share < 1.0 for share in sign.usual.values())
    assert all(c.part in PARTS and (not c.header or c.header in HEADERS) for c in TABLE.causes)


def test_no_row_sends_a_hand_or_a_foot_to_a_moving_machine() -> None:
    told = [text for s in TABLE.signs for text in (s.asks, s.how, *s.answers.values())]
    told += [text for c in TABLE.changes for text in (c.says, c.step, c.undo, *(e.says for e in c.spoils))]
    told += [text for p in TABLE.leaks for text in (p.says, p.look, p.mend)]
    for text in told:
        assert not any(word in f" {text.lower()} " for word in NEVER), text
    # What is looked at on the ground is looked at with the machine shut down, and the question says so itself.
    for sign in TABLE.signs:
        if sign.near:
            assert "shut down" in sign.how.lower(), sign.key
        # Nobody works a phone while driving.
        if "seat" in sign.how.lower():
            assert "standing still" in sign.how or "look back" in sign.how, sign.key


@pytest.mark.parametrize(
    ("file", "old", "new", "told"),
    [
        ("causes.toml", 'key = "fan_high"', 'key = "fan_low"', r"causes\.toml: causes \d+\.key: 'fan_low' stands there twice"),
        ("causes.toml", 'part = "cleaning"', 'part = "wheels"', r"causes\.toml: causes \d+\.part: must be one of"),
        ("causes.toml", "lifts = { machine = [1.4, 9.0] }", "lifts = { machine = [9.0, 1.4] }", r"causes \d+.*machine: must rise"),
        ("causes.toml", "lifts = { machine = [1.4, 9.0] }", "lifts = { wheels = [1, 2] }", r"causes \d+\.lifts\.wheels: is not one of"),
        ("causes.toml", "odds = { all = 14 }", "odds = { all = -1 }", r"causes 1\.odds\.all: must be 0 or more"),
        ("causes.toml", "odds = { all = 14 }", "odds = { canola = 1 }", r"causes 1\.odds\.all: is missing"),
        ("causes.toml", 'key = "usual"', 'key = "usually"', r"causes\.toml: causes: usual is missing"),
        ("causes.toml", 'origin = "practice"', 'origin = "hearsay"', r"causes 1\.origin: must be one of"),
        ("causes.toml", 'source = "M"', 'source = "ZZ"', r"causes 3\.source: 'ZZ' does not stand in"),
        ("causes.toml", 'origin = "printed"\nsource = "M"', 'origin = "printed"', r"causes 3\.source: is given exactly when"),
        ("causes.toml", 'header = "reel"', 'header = "boots"', r"causes 3\.header: must be one of"),
        ("signs.toml", 'cause = "knife_worn", ragged = 22', 'cause = "knife_born", ragged = 22', r"signs 2, says \d+\.cause: 'knife_born' is no cause"),
        ("signs.toml", "ragged = 22", "raged = 22", r"signs\.toml: signs 2, says \d+\.raged: is not one of"),
        ("signs.toml", "ragged = 22", "ragged = -2", r"says \d+\.ragged: must be above 0"),
        ("signs.toml", "usual = { heads = 12, straw = 20,", "usual = { straw = 20,", r"signs 1\.usual\.heads: is missing"),
        ("signs.toml", 'asks = "Where is most of the lost seed?"', 'asks = ""', r"signs 1\.asks: is empty"),
        ("changes.toml", 'way = "-"', 'way = "down"', r"changes 1\.way: must be \+, - or empty"),
        ("changes.toml", 'gate = "header_slope"\nrows', 'gate = "hill"\nrows', r"changes \d+\.gate: 'hill' is no sign that can rise"),
        ("changes.toml", "low = 0.40, high = 0.90", "low = 0.90, high = 0.40", r"changes 1, helps 1\.low: must be 0 or more and below high"),
        ("changes.toml", 'what = "header"', 'what = "boots"', r"changes 1, spoils 1\.what: 'boots' is nothing that can be spoilt"),
        ("changes.toml", 'rows = ["adj60", "adj28"]', 'rows = ["60"]', r"changes 1\.rows: must be a list of row ids"),
        ("changes.toml", "minutes = 1", "minutes = -1", r"changes 1\.minutes: must be 0 or more"),
        ("changes.toml", 'not = ["pulses", "soybean"]', 'not = ["peas"]', r"changes \d+\.not: 'peas' is no crop group"),
        ("changes.toml", 'cause = "leak", loss = "leak"', 'cause = "load", loss = "leak"', None),
        ("levels.toml", 'soybean = ["soybean"]', 'soybean = ["moonbean"]', r"levels\.toml: groups\.soybean: 'moonbean' is no crop"),
        ("levels.toml", 'corn = ["corn"]', 'corn = ["soybean"]', r"groups\.corn: 'soybean' stands in two groups"),
        ("levels.toml", "lapse = 0.08", "lapse = 0", r"figures\.lapse: must be above 0"),
        ("leaks.toml", 'mend = "close and tighten the flap; patch or renew what is worn through"\n', "", r"places 1\.mend: must be"),
        ("sources.toml", 'read = "journal"', "", r"sources\.toml: IT\.read: must be a non-empty string"),
    ],
)  # fmt: skip
def test_a_bad_row_names_its_file_its_row_and_its_field(
    shelf: Path, file: str, old: str, new: str, told: str | None
) -> None:
    path = shelf / "advice" / file
    text = path.read_text(encoding="utf-8")
    assert old in text, "the test damages what is there"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    if told is None:  # the machine's loss of a leak still has its cause: the file is whole
        assert read_table().change("seal_leak") is not None
        return
    with pytest.raises(ReferenceDataError, match=told):
        read_table()


def test_a_cause_against_which_nothing_helps_is_told(shelf: Path) -> None:
    path = shelf / "advice" / "causes.toml"
    new = '[[causes]]\nkey = "moon"\npart = "timing"\nsays = "x"\nodds = { all = 1 }\nlifts = {}\norigin = "practice"\n'
    path.write_text(path.read_text(encoding="utf-8") + new, encoding="utf-8")
    with pytest.raises(ReferenceDataError, match="none helps against the cause moon"):
        read_table()


@pytest.mark.parametrize(
    "setting", ["concave clearance", "upper sieve", "lower sieve", "rear of upper sieve", "grate area"]
)
def test_what_many_machines_have_set_by_hand_is_told_as_near(setting: str) -> None:
    """Sieves and concaves are set by a lever at the machine wherever there is none in the cab."""
    ours = [change for change in advice_table().changes if change.setting == setting]
    assert ours
    assert all(change.near for change in ours)
