"""How the documentation site is built.

``sphinx-build -W --keep-going -q -b html docs docs/_build/html`` reads nothing but this folder and the version of
the package, makes no network request, and the site it writes asks no other host for a font, a style or a script.
"""

from __future__ import annotations

from chaffinch import __version__

project = "Chaffinch"
author = "The Chaffinch contributors"
copyright = "2026, The Chaffinch contributors"
version = release = __version__
language = "en-GB"

extensions = ["myst_parser"]
source_suffix = {".md": "markdown"}
root_doc = "index"
exclude_patterns = ["_build"]

# Every link between pages and every anchor in them must lead somewhere.
nitpicky = True
myst_heading_anchors = 3

# Equations are plain text in fenced blocks, so no typesetting script is wanted.
highlight_language = "none"
pygments_style = "default"
pygments_dark_style = "monokai"

html_theme = "furo"
html_title = f"Chaffinch {version}"
html_copy_source = False
html_show_sourcelink = False
html_permalinks_icon = "#"

# Ink on paper with one accent, plum; the fonts are those the reader's machine has.
html_theme_options = {
    "light_css_variables": {
        "color-brand-primary": "#6f2f68",
        "color-brand-content": "#6f2f68",
        "color-brand-visited": "#6f2f68",
    },
    "dark_css_variables": {
        "color-brand-primary": "#d8a6d2",
        "color-brand-content": "#d8a6d2",
        "color-brand-visited": "#d8a6d2",
    },
    "top_of_page_buttons": [],
}
