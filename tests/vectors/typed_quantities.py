"""Quantities as people type them, for the phone to read as Python does."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

import chaffinch as cf
from chaffinch import units

QUANTITIES: Final = {
    "length": (
        "66 in", "5 ft 6 in", "5'6\"", "5' 6\"", "40 ft", "12.2 m", "12,2 m", "1,70 m", "170 cm", "1700 mm", "2 yd",
        "2 1/2 ft", "2½ ft", "½ in", "66″", "66”", "6 feet and 3 inches", "1 234,5 mm", "1,234.5 mm", "1.234,5 mm",
        "1,234 mm", "-0.4 m", "+0.4 m", "− 0.4 m", "0.5", "5 ft 13 in", "5.5 ft 6 in", "12/5 m", "1/0 m", "3 furlong",
        "1e3 mm", "1e40 m", "12. m", ".5 m", "1..2 m", "", "  ", "m", "twelve m", "1 2 m", "٣ m", "3² m", "66 IN",
        "40 Ft.", "1\u00a0234 mm", "9" * 90 + " m", "5 ft 6", "0 m", "12,5 M",
    ),
    "area": ("4 ft2", "4 ft²", "4 sq ft", "4 sqft", "0.25 m2", "0,25 m²", "2500 cm2", "4 square feet", "4 ft^2", "4 ft",
             "600 in2", "1 yd2", "4ft2"),
    "flat_area": ("120 cm2 flat", "18 in2 flat", "120 cm2", "120 cm², flat"),
    "land": ("62 ha", "153 ac", "153 acres", "62 hectares", "62 km2"),
    "mass": ("12.5 g", "12,5 g", "12.50 g", "12g", "1/2 lb", "3/4 lb", "1 lb 3 oz", "0.5 oz", "2 kg", "1200 mg",
             "1 ton", "1 t", "12 G", "12 Mg", "12.5 grams", "0 g", "0.0 g", "12.5 mL", "12.5", "1/3 oz", "1 T"),
    "volume": ("35 mL", "35 ml", "3.5 dL", "0.035 L", "35 cc", "35 cm3", "1 cup", "1 US cup", "2 fl oz", "2 US fl oz",
               "2 imp fl oz", "35 ML", "35 Ml", "1/4 L"),
    "seeds": ("44 seeds", "1 seed", "44 kernels", "44 beans", "44.5 seeds", "1/2 seeds", "2.000 seeds", "1e3 seeds",
              "1 200 seeds", "44"),
    "speed": ("7.5 km/h", "7,5 km/h", "7.5 kmh", "7.5 kph", "4.5 mph", "4.5 mi/h", "2 m/s", "4 miles per hour", "7.5"),
    "time": ("60 s", "1 min", "1 min 30 s", "1 h 20 min", "90 seconds", "1.5 min", "1 h 70 min", "2 hrs"),
    "area_mass": ("45 bu/ac", "45 bushels per acre", "50 kg/ha", "1.2 t/ha", "12 dt/ha", "5 g/m2", "0.5 g/ft2",
                  "45 lb/ac", "45 lbs/acre", "4 cwt/ac", "50 kg", "1 ton/ac", "2 kg/m2"),
    "density": ("65 kg/hL", "650 g/L", "650 kg/m3", "0.65 g/mL", "0.65 g/cm3", "50 lb/bu", "50 lb/bu US", "50 lb/US bu",
                "52 lb/bu imp"),
    "price": ("14.50 /bu", "$14.50/bu", "14.50 $/bu", "CAD 640/t", "640 CAD/t", "$640 CAD/t", "€410/t", "0.29 /lb",
              "29 cts/lb", "14,50 €/t", "1/2 /t", "US$500 per tonne", "£380/t", "$5 EUR/t", "14.50", "6 /kg",
              "30 /cwt"),
    "percent": ("12.5 %", "12,5%", "12.5 percent", "12.5 per cent", "12.5", "9 pct"),
    "fraction": ("1/4", "25 %", "0.25", "0,25", "1", "¼", "3/8", "25 g"),
}  # fmt: skip
BUSHEL_KG: Final = 22.6796185
AMOUNT_KINDS: Final = ("mass", "volume", "seeds", "flat_area")


def quantities() -> Iterator[dict[str, Any]]:
    """Texts as people type them, what each comes to, or that it is refused."""
    asked = [((kind,), text) for kind, texts in QUANTITIES.items() for text in texts]
    asked += [(AMOUNT_KINDS, text) for kind in AMOUNT_KINDS for text in QUANTITIES[kind]]
    for kinds, text in asked:
        one: dict[str, Any] = {"kinds": list(kinds), "text": text}
        try:
            found = units.read_any(text, kinds, field="it", bushel_kg=BUSHEL_KG)
        except cf.InputError as error:
            one["refused"] = error.problem
        else:
            one |= {"value": found.value, "step": found.step, "unit": found.unit, "kind": found.kind}
            one |= {"currency": found.currency} if found.currency else {}
        yield one
