"""A plain number of an option, with point or comma, as every quantity of the program is read."""

from __future__ import annotations

from typing import Any, Final

import click


class Number(click.ParamType):  # type: ignore[type-arg]  # no generic one in older clicks
    """Reads ``1.5`` and ``1,5``; click's own takes the point alone, and calls the number a float."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The number.

        Raises
        ------
        InputError
            Named after the option, when it is none.
        """
        if isinstance(value, float):
            return value
        from chaffinch.units import numerals

        flag = "number" if param is None else param.opts[-1]
        return float(numerals.alone(str(value), field=flag, mend="write it like 1.5"))


NUMBER: Final = Number()
