"""Requests made from the API's own description, odd ones among them: no fault, and no answer that is not described."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from farm_records import farm, full, identities, problems
from hypothesis import HealthCheck, given, settings
from schemathesis import GenerationMode
from schemathesis.checks import CHECKS, load_all_checks
from served import Served

EXAMPLES = {GenerationMode.POSITIVE: 8, GenerationMode.NEGATIVE: 20}
"""Requests for each operation: sound ones, and ones that break the description."""
ALWAYS_REFUSED = (("get", "/api/v1/checks/{check_id}"), ("get", "/api/v1/photos/{digest}"))
"""Operations that name a thing by an id nobody guesses, or a body by its hash: sound in form, and still refused."""
ALWAYS_REFUSED += (
    ("put", "/api/v1/photos/{digest}"),
    ("delete", "/api/v1/devices/{device_id}"),
    ("post", "/api/v1/pair"),
    ("get", "/api/v1/day"),  # nothing was planned on this server
)

OPERATIONS = [
    ("get", "/api/v1/health"),
    ("get", "/api/v1/me"),
    ("delete", "/api/v1/me"),
    ("get", "/api/v1/setup"),
    ("get", "/api/v1/since"),
    ("get", "/api/v1/day"),
    ("get", "/api/v1/checks/{check_id}"),
    ("post", "/api/v1/batch"),
    ("post", "/api/v1/missing"),
    ("get", "/api/v1/photos/{digest}"),
    ("put", "/api/v1/photos/{digest}"),
    ("post", "/api/v1/pair"),
    ("post", "/api/v1/devices/codes"),
    ("get", "/api/v1/devices"),
    ("delete", "/api/v1/devices/{device_id}"),
]
load_all_checks()
LOOKED_AT = [
    CHECKS.get_one(name)
    for name in (
        "not_a_server_error",
        "status_code_conformance",
        "content_type_conformance",
        "response_headers_conformance",
        "response_schema_conformance",
        "unsupported_method",
    )
]


@pytest.fixture
def full_book(serve_book: Callable[..., Served], tmp_path: Path) -> Served:
    return serve_book(str(tmp_path / "farm.chaffinch"), items=full(), origins=("http://testserver",))


def described(book: Served) -> Any:
    return schemathesis.openapi.from_asgi("/api/v1/openapi.json", book.app)


def test_every_operation_is_tried(full_book: Served) -> None:
    found = [(one.ok().method, one.ok().path) for one in described(full_book).get_all_operations()]
    assert sorted(found) == sorted(OPERATIONS)


@pytest.mark.parametrize(
    ("method", "path", "mode"),
    # Health takes nothing that could be wrong.
    [
        (*one, mode)
        for one in OPERATIONS
        for mode in EXAMPLES
        if one != OPERATIONS[0] or mode is GenerationMode.POSITIVE
    ],
)
def test_no_fault_and_no_answer_that_is_not_described(
    full_book: Served, method: str, path: str, mode: GenerationMode
) -> None:
    """As owner, who may do everything; one that shut itself out comes back as another device."""
    statuses: Counter[int] = Counter()
    owner = full_book.phone("owner")
    operation = described(full_book)[path][method]

    @settings(
        max_examples=EXAMPLES[mode],
        deadline=None,
        derandomize=True,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(operation.as_strategy(generation_mode=mode))
    def ask(case: Any) -> None:
        answered = case.call(headers=full_book.phone("owner") if method == "delete" else owner)
        statuses[answered.status_code] += 1
        case.validate_response(answered, checks=LOOKED_AT)

    ask()
    assert sum(statuses.values()) >= 1
    if mode is GenerationMode.POSITIVE and (method, path) not in ALWAYS_REFUSED:
        assert statuses[200] > 0, statuses
    assert problems(full_book.desk.store) == ()
    assert len(identities(full_book.desk.store)) >= len(farm())
