"""The public surface is pinned: adding or losing a name is a decision, not an accident."""

from __future__ import annotations

import chaffinch

PUBLIC = [
    "Amount",
    "Card",
    "Catch",
    "ChaffinchError",
    "Check",
    "CheckAnswer",
    "Combine",
    "InputError",
    "KitPlan",
    "Pan",
    "SamplerError",
    "__version__",
    "answer",
    "card",
    "check_from_table",
    "check_to_table",
    "crop",
    "crop_keys",
    "plan",
    "read_check_file",
]


def test_public_names_are_these():
    """``__all__`` holds exactly the documented names."""
    assert sorted(chaffinch.__all__) == sorted(PUBLIC)


def test_every_public_name_is_there_and_documented():
    """Each name resolves, and each class and function carries a docstring."""
    for name in PUBLIC:
        found = getattr(chaffinch, name)
        assert name == "__version__" or found.__doc__, name


def test_the_errors_file_draws_the_whole_tree():
    """Every error class stands in the drawing at the top of errors.py."""
    from chaffinch import errors

    classes = [n for n, c in vars(errors).items() if isinstance(c, type) and issubclass(c, Exception)]
    for name in classes:
        assert name in (errors.__doc__ or ""), name
