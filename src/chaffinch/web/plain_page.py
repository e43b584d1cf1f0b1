"""A page that needs nothing but itself: for errors, the way in, and the help page of the certificate."""

from __future__ import annotations

from html import escape
from typing import Final

_STYLE: Final = "/static/plain.css"


def plain_page(
    title: str, *paragraphs: str, lists: tuple[tuple[str, ...], ...] = (), link: tuple[str, str] = ("", "")
) -> str:
    """A whole HTML page of a title, paragraphs and numbered lists; every text is escaped.

    Parameters
    ----------
    title : str
        Heading and title.
    paragraphs : str
        One by one.
    lists : tuple of tuples of str
        Steps, shown after the paragraphs.
    link : (str, str)
        Address and words of one link at the end.
    """
    body = "".join(f"<p>{escape(text)}</p>" for text in paragraphs)
    body += "".join("<ol>" + "".join(f"<li>{escape(step)}</li>" for step in steps) + "</ol>" for steps in lists)
    address, words = link
    if address:
        body += f'<p><a href="{escape(address, quote=True)}">{escape(words)}</a></p>'
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)} · Chaffinch</title>"
        f'<link rel="stylesheet" href="{_STYLE}"></head>'
        f"<body><main><h1>{escape(title)}</h1>{body}</main></body></html>"
    )
