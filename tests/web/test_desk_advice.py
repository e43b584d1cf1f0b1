"""Does the desk's page of advice ask with big choices, keep answers, and put the cautions before everything?"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator

import pytest
from desk_farm import PLACEHOLDER, Visitor, desk_farm

from chaffinch.book.advice.advise import AdviceTerms, advise_check
from chaffinch.book.advice.kept import answers_kept, tried_after
from chaffinch.book.checks.held import find_check
from chaffinch.book.trials.trial import trials
from chaffinch.book.wording import CAUTIONS
from chaffinch.engine.advice.changes import RankedChange
from chaffinch.engine.estimate import Range
from chaffinch.reference.advice_read import advice_table
from chaffinch.web.pages import advice as page_of_advice

SHORT_OF_INSTRUCTIONS = "Most telling now"


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    with desk_farm(tmp_path_factory.mktemp("advice")) as visitor:
        yield visitor


def path_of(desk: Visitor) -> str:
    return f"/check/{desk.book.ids['checks']}/advice"


def big(page_text: str) -> list[str]:
    """Addresses of the big choices."""
    block = re.search(r'<ul class="big">(.*?)</ul>', page_text, re.DOTALL)
    assert block, "no question is asked"
    return [one.replace("&amp;", "&") for one in re.findall(r'href="([^"]+)"', block[1])]


def test_the_pages_are_whole(desk: Visitor) -> None:
    for path in ("/advice", "/advice/leaks", path_of(desk)):
        page = desk.get(path)
        assert page.status == 200, path
        assert page.tags.open == []
        assert [tag for tag, _ in page.tags.elements].count("h1") == 1
        assert not PLACEHOLDER.search(page.words)
    assert f"{path_of(desk)}" in desk.get(f"/check/{desk.book.ids['checks']}").text


def test_questions_are_answered_one_big_choice_at_a_time_until_it_is_settled(desk: Visitor) -> None:
    page, steps = desk.get(path_of(desk)), 0
    while '<ul class="big">' in page.text:
        choices = big(page.text)
        assert len(choices) >= 3
        assert "skip=" in choices[-1], "the last one is: I cannot say"
        assert page.words.index(CAUTIONS[-1]) < page.words.index(SHORT_OF_INSTRUCTIONS)
        page = desk.get(choices[0].partition("#")[0])
        assert page.status == 200
        steps += 1
        assert steps <= 6, "six questions at most"
    assert steps >= 2
    assert "No further question would tell much." in page.words


def test_a_question_that_cannot_be_answered_is_not_put_again(desk: Visitor) -> None:
    first = desk.get(path_of(desk))
    asked = re.search(r'<p class="ask">(.*?)</p>', first.text)
    then = desk.get(big(first.text)[-1].partition("#")[0])
    again = re.search(r'<p class="ask">(.*?)</p>', then.text)
    assert asked
    assert again is None or again[1] != asked[1]


def test_answers_and_what_was_tried_are_kept_as_notes(desk: Visitor) -> None:
    check = desk.book.ids["checks"]
    kept = desk.post(path_of(desk), {"a-found": "chaff", "a-chaff": "far", "stop_cost": "250 /h"})
    assert (kept.status, "note=kept" in kept.to, "stop_cost=250" in kept.to) == (303, True, True)
    assert answers_kept(desk.book.desk, {check}) == {"found": "chaff", "chaff": "far"}
    page = desk.get(path_of(desk))
    assert "behind, loose in the chaff" in page.words
    # Kept once: there is nothing left to keep, and a form sent again writes nothing.
    assert "Keep these answers" not in page.words
    assert "All of them are kept" in page.words
    again = desk.post(path_of(desk), {"a-found": "chaff", "a-chaff": "far"})
    assert "nothing was written twice" in desk.get(again.to).words
    # Taken back: that is kept as any answer is.
    back = re.search(r'behind, loose in the chaff <a href="([^"]+)"', page.text)
    assert back
    without = desk.get(back[1].replace("&amp;", "&").partition("#")[0])
    assert "behind, loose in the chaff</" not in without.text.partition('id="next"')[0]
    assert "Keep that they were taken back" in without.words
    changed = desk.post(path_of(desk), {"a-found": "taken back"})
    assert "stay readable" in desk.get(changed.to).words
    assert answers_kept(desk.book.desk, {check}) == {"chaff": "far"}
    desk.post(path_of(desk), {"a-found": "chaff"})
    assert answers_kept(desk.book.desk, {check}) == {"found": "chaff", "chaff": "far"}
    tried = desk.post(path_of(desk), {"action": "tried", "change": "fan_down", "outcome": "without effect"})
    assert tried.status == 303
    assert [(t.change, t.outcome) for t in tried_after(desk.book.desk, {check})] == [("fan_down", "without effect")]


def test_what_cannot_be_used_is_refused_beside_its_field(desk: Visitor) -> None:
    wrong = desk.post(path_of(desk), {"action": "tried", "change": "hammer", "outcome": "helped"})
    assert wrong.status == 422
    assert "hammer" in wrong.words
    assert "is no answer to it" in desk.get(path_of(desk), **{"a-found": "moon"}).words
    assert "250 pints" in desk.get(path_of(desk), stop_cost="250 pints").text


def test_a_reader_sees_no_form_that_writes(desk: Visitor) -> None:
    page = desk.as_role("reader").get(path_of(desk), **{"a-found": "chaff"})
    assert page.status == 200
    assert f'action="{path_of(desk)}"' not in page.text.replace('method="get" ' + f'action="{path_of(desk)}"', "")


def test_cautions_stand_before_the_leak_walk(desk: Visitor) -> None:
    last = CAUTIONS[-1]
    walk = desk.get("/advice/leaks").words
    for place in advice_table().leaks:
        assert walk.index(last) < walk.index(place.look)


def test_cautions_stand_before_every_change(desk: Visitor, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each change of the table as the first of a page."""
    logged = find_check(desk.book.desk, desk.book.ids["checks"])
    found = advise_check(desk.book.desk, logged, AdviceTerms())
    some = Range(-1.0, 1.0, 3.0)
    for change in advice_table().changes:
        one = RankedChange(change, some, 1.0, some, 1.0, 0.7, 0.5, 0)
        made = dataclasses.replace(found, standing="change", shown=(one,))
        monkeypatch.setattr(page_of_advice, "advise_known", lambda *_, made=made: made)
        said = desk.get(path_of(desk)).words
        words = " ".join(change.says.split())
        assert said.index(CAUTIONS[-1]) < said.index(words), change.key
        assert change.undo in said


def test_a_ready_made_trial_can_be_started(desk: Visitor) -> None:
    """Where the setting stands with the check the form holds both sides; the same form as on the page of trials."""
    before = len(trials(desk.book.desk))
    made = desk.post(
        "/trials", {"combine": desk.book.ids["Old Bess"], "a": "fan speed=900 rpm", "b": "fan speed=860 rpm"}
    )
    assert made.status == 303
    assert len(trials(desk.book.desk)) == before + 1
