"""Published figures about crops, each with its source and origin: data files and one loader.

>>> from chaffinch import reference
>>> reference.crop("rapeseed").key
'canola'
>>> reference.crop("canola").bushel_lb["CA"].origin
'derived'
"""

from chaffinch.reference.crops import Crop, crop, crop_keys
from chaffinch.reference.loader import ORIGINS, Figure
from chaffinch.reference.published import CountRule, Source, constant, constants, rules, source, sources

__all__ = [
    "ORIGINS",
    "CountRule",
    "Crop",
    "Figure",
    "Source",
    "constant",
    "constants",
    "crop",
    "crop_keys",
    "rules",
    "source",
    "sources",
]
