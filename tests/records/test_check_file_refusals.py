"""What a check file must not say: each refusal names the field, shows one line, and tells the mend."""

# ruff: noqa: E501 - one case on one line reads best

from __future__ import annotations

import pytest

from chaffinch.errors import InputError, UnitError, UnknownCropError, UnknownKeyError
from chaffinch.records.checkfile import check_from_table, read_check_file

COMBINE = '[combine]\ncut_width = "40 ft"\ndrop_width = "66 in"\n'
BOTH = '[combine]\ncut_width = "40 ft"\ndrop_width = "66 in"\nspread_width = "30 ft"\n'
CATCH = '[[catch]]\nplace = "discharge"\npan = "4 ft2"\namount = "12.5 g"\n'
STANDING = '[[catch]]\nplace = "standing"\npan = "4 ft2"\namount = "12.5 g"\n'


def top(lines: str, crop: str = "canola", rest: str = COMBINE + CATCH) -> str:
    return f'crop = "{crop}"\n{lines}\n{rest}'


def combine(lines: str) -> str:
    return f'crop = "canola"\n[combine]\n{lines}\n{CATCH}'


def catch(lines: str, crop: str = "canola") -> str:
    return f'crop = "{crop}"\n{COMBINE}[[catch]]\n{lines}'


def discharge(lines: str, crop: str = "canola") -> str:
    return catch(f'place = "discharge"\npan = "4 ft2"\namount = "12.5 g"\n{lines}', crop)


def reading(lines: str, crop: str = "canola") -> str:
    return catch(f'place = "discharge"\npan = "4 ft2"\n{lines}', crop)


def pans(*offsets: str) -> str:
    return f'crop = "canola"\n{COMBINE}' + "".join(f"{CATCH}{offset}\n" for offset in offsets)


WHOLE_CUT = 'place = "whole cut"\namount = "40 g"\nlength = "6 in"\n'
WINDROW = 'place = "windrow"\namount = "40 g"\n'
LEAK = 'place = "leak"\namount = "40 g"\n'

# (file, field, part of the problem, part of the mend)
CASES = {
    # --- keys ---
    "slip of the finger": (discharge('amout = "1 g"'), "catch 1, amout", "not a key of [[catch]]", "did you mean amount?"),
    "key of another table": (top('cut_width = "40 ft"'), "cut_width", "not a key", "cut_width belongs under [combine]"),
    "top key after a table": (combine('cut_width = "40 ft"\nspeed = "5 mph"'), "combine, speed", "", "at the top of the file"),
    "key of two tables": (top('width = "2 ft"'), "width", "", "under [pan] or under [[catch]]"),
    "hyphen": (combine('cut-width = "40 ft"'), "combine, cut-width", "", "write it as cut_width"),
    "capitals": (top('Yield = "2 t/ha"'), "Yield", "", "write it as yield"),
    "another word": (discharge('position = "1 ft"'), "catch 1, position", "", "write it as offset"),
    "another word, elsewhere": (top('header_width = "40 ft"'), "header_width", "", "cut_width belongs under [combine]"),
    "slip, elsewhere": (top('drop_widht = "66 in"'), "drop_widht", "", "did you mean drop_width, which belongs under [combine]?"),
    "no such key": (top('[scale]\nqqq = "1"'), "scale, qqq", "not a key of [scale]", "or use step"),
    "empty key": (top('"" = 1'), "''", "", "leave it out"),
    "endless key": (top(f'{"k" * 5000} = 1'), "k" * 39 + "…", "", "leave it out"),
    "key with a bell": (top('"\\u0007\\n" = 1'), "'\\x07\\n'", "", "leave it out"),
    # --- schema, crop, country ---
    "newer schema": (top("schema = 2\nfuture = 1"), "schema", "knows schema 1", "write schema = 1"),
    "schema as text": (top('schema = "1"'), "schema", "unknown", "write schema = 1"),
    "schema as flag": (top("schema = true"), "schema", "unknown", "write schema = 1"),
    "no crop": (COMBINE + CATCH, "crop", "missing", 'write crop = "canola"'),
    "unknown crop": (top("", crop="cannola"), "crop", "not a crop", "canola"),
    "blank crop": (top("", crop="  "), "crop", "blank", "leave the key out"),
    "crop as number": ("crop = 1\n" + COMBINE + CATCH, "crop", "a number, not text", "in quotes"),
    "country": (top('country = "Atlantis"'), "country", "not a country code", '"CA"'),
    # --- types ---
    "amount without quotes": (reading("amount = 12.5"), "catch 1, amount", "a number", 'in quotes with its unit: amount = "12.5 g"'),
    "amount without unit": (reading('amount = "12.5"'), "catch 1, amount", "no unit", '"12.5 g"'),
    "amount as table": (reading("amount = {g = 1}"), "catch 1, amount", "is a table", "on one line"),
    "amount as list": (reading('amount = ["1 g"]'), "catch 1, amount", "a list", "in quotes"),
    "amount as flag": (reading("amount = true"), "catch 1, amount", "true or false", "in quotes"),
    "run as flag": (discharge("run = true"), "catch 1, run", "true or false", "plain number"),
    "run as text": (discharge('run = "1"'), "catch 1, run", "is text", "without quotes"),
    "run not whole": (discharge("run = 1.5"), "catch 1, run", "whole", "12"),
    "run 0": (discharge("run = 0"), "catch 1, run", "below 1", "1 to"),
    "flag as text": (top('spreading = "yes"'), "spreading", "is text", "spreading = true or spreading = false"),
    "flag as number": (combine('cut_width = "40 ft"\nwidths_taped = 1'), "combine, widths_taped", "a number", "without quotes"),
    "combine as text": (top('combine = "Big Wren"', rest=CATCH), "combine", "is text, not a table", 'cut_width = "40 ft" under [combine]'),
    "pan as text": (top('pan = "4 ft2"'), "pan", "not a table", 'area = "4 ft2" under [pan]'),
    "catch as table": ('crop = "canola"\n[catch]\nplace = "standing"', "catch", "one table", "[[catch]] in double brackets"),
    "catch as text": ('crop = "canola"\ncatch = "12.5 g"', "catch", "not a list", "[[catch]]"),
    "catch of text": ('crop = "canola"\ncatch = ["12.5 g"]', "catch 1", "is text, not a table", "under [[catch]]"),
    "no catch": ('crop = "canola"\n' + COMBINE, "catch", "missing", "[[catch]]"),
    "empty list": ('crop = "canola"\ncatch = []\n' + COMBINE, "catch", "missing", "[[catch]]"),
    "too many": (top("", rest=COMBINE + CATCH * 501), "catch", "501 catches", "one file for each stop"),
    # --- texts ---
    "blank name": (combine('cut_width = "40 ft"\nname = ""'), "combine, name", "blank", "leave the key out"),
    "two-line name": (top('operator = "A\\nB"'), "operator", "cannot be printed", "one line"),
    "long name": (top(f'operator = "{"x" * 201}"'), "operator", "201 characters", "at most 200"),
    "note with a bell": (top('note = "a\\u0007"'), "note", "cannot be printed", "plainly"),
    "long note": (top(f'note = "{"x" * 5001}"'), "note", "5001 characters", "at most 5000"),
    "when as number": (top("when = 2026"), "when", "a number, not text", 'when = "2026-08-30 14:20"'),
    # --- terms ---
    "yield 0": (top('yield = "0 bu/ac"'), "yield", "above 0", "above 0"),
    "yield too high": (top('yield = "31 t/ha"'), "yield", "above 30000 kg/ha", "check number and unit"),
    "yield of another kind": (top('yield = "45 bu"'), "yield", "unit", "bu/ac"),
    "price below 0": (top('price = "-3 /bu"'), "price", "above 0", "above 0"),
    "price too high": (top('price = "1100 /kg"'), "price", "above 1000000 /t", "check number and unit"),
    "limit above the yield": (top('yield = "1 t/ha"\nlimit = "1.2 t/ha"'), "limit", "not below the yield of 1 t/ha", "check both"),
    "tkw in kg": (top('tkw = "3.2 kg"'), "tkw", "above 2000 g", "0.1 to 2000 g"),
    "tkw too low": (top('tkw = "0.05 g"'), "tkw", "below 0.1 g", "0.1 to 2000 g"),
    "test weight": (top('test_weight = "650 kg/hL"'), "test_weight", "above 120 kg/hL", "10 to 120 kg/hL"),
    "bushel in the wrong unit": (top('bushel = "50 bu"'), "bushel", "unit", "lb"),
    "bushel too light": (top('bushel = "50 oz"'), "bushel", "below 2000 g", "check number and unit"),
    "report in acres": (top('report_in = "acres"'), "report_in", "not a unit", "bu/ac"),
    "report in with a number": (top('report_in = "/2 kg/ha"'), "report_in", "not a unit", "kg/ha"),
    "speed": (top('speed = "45 km/h"'), "speed", "above 40 km/h", "check number and unit"),
    "area": (top('[field]\narea = "100001 ha"'), "field, area", "above 100000 ha", "check number and unit"),
    "two currencies": (top('price = "€400 /t"\ncurrency = "CAD"'), "currency", "does not go with €", "keep one"),
    "currency with a number": (top('currency = "CAD 5"'), "currency", "not a currency", "CAD"),
    "long currency": (top('currency = "dollars"'), "currency", "not a currency", "CAD"),
    # --- bushels and market moisture that depend on the country ---
    "oat bushel, yield": (top('yield = "90 bu/ac"', crop="oats"), "yield", "differs by country", "bushel ="),
    "oat bushel, price": (top('price = "4 /bu"', crop="oats"), "price", "differs by country", "country"),
    "oat bushel, limit": (top('limit = "1 bu/ac"', crop="oats"), "limit", "differs by country", "name one of CA, US"),
    "oat bushel, report_in": (top('report_in = "bu/ac"', crop="oats"), "report_in", "differs by country", "bushel ="),
    "bushel of no such country": (top('country = "GB"\nyield = "90 bu/ac"', crop="oats"), "yield", "no bushel weight", "name one of CA, US"),
    "market moisture": (discharge('moisture = "8 %"'), "market_moisture", "catch 1 has a moisture", "market_moisture ="),
    "market moisture, default": (top('moisture = "8 %"'), "market_moisture", "differs by country", "country"),
    # --- moisture ---
    "moisture 0": (discharge('moisture = "0 %"'), "catch 1, moisture", "above 0", "above 0"),
    "moisture of straw": (discharge('moisture = "61 %"'), "catch 1, moisture", "above 60 %", "1 to 60 %"),
    "moisture without %": (discharge('moisture = "8"'), "catch 1, moisture", "no unit", "%"),
    "market moisture too high": (top('market_moisture = "75 %"'), "market_moisture", "above 60 %", "1 to 60 %"),
    # --- the combine ---
    "no combine": ('crop = "canola"\n' + CATCH, "combine", "catch 1 (discharge) needs the cut width", "[combine]"),
    "no cut width": (combine('drop_width = "66 in"'), "combine, cut_width", "missing", 'cut_width = "40 ft"'),
    "cut width 0": (combine('cut_width = "0 ft"'), "combine, cut_width", "above 0", "above 0"),
    "cut width": (combine('cut_width = "40 m"'), "combine, cut_width", "above 30 m", "0.3 to 30 m"),
    "no discharge width": (combine('cut_width = "40 ft"'), "combine, drop_width", "catch 1 (discharge) needs", "spread_width"),
    "drop wider than cut": (combine('cut_width = "40 ft"\ndrop_width = "41 ft"'), "combine, drop_width", "wider than the cut_width of 40 ft", "check both"),
    "spreading not said": (top("", rest=BOTH + CATCH), "spreading", "both drop_width and spread_width", "spreading = false or spreading = true"),
    "spreading without a width": (top("spreading = true"), "combine, spread_width", "catch 1 (discharge)", 'spread_width = "30 ft"'),
    "dropping without a width": (
        top("spreading = false", rest='[combine]\ncut_width = "40 ft"\nspread_width = "30 ft"\n' + CATCH),
        "combine, drop_width", "spreading was off", 'drop_width = "66 in"',
    ),
    "windrowed, no width": (top("windrowed = true"), "windrower_width", "missing", 'windrower_width = "30 ft"'),
    "width, not windrowed": (top('windrower_width = "30 ft"'), "windrower_width", "not windrowed", "windrowed = true"),
    "drop wider than windrower": (
        top('windrowed = true\nwindrower_width = "5 ft"'), "combine, drop_width", "wider than the windrower_width of 5 ft", "check both",
    ),
    "windrowed at part width": (
        top('windrowed = true\nwindrower_width = "30 ft"\nworking_width = "20 ft"'), "working_width", "taken whole", "leave it out",
    ),
    "working width": (top('working_width = "41 ft"'), "working_width", "wider than the cut_width of 40 ft", "check both"),
    "working width alone": (top('working_width = "30 ft"', rest=STANDING), "working_width", "without a combine", "[combine]"),
    # --- places and pans ---
    "no place": (catch('pan = "4 ft2"\namount = "1 g"'), "catch 1, place", "missing", "standing, header strip"),
    "place misspelt": (catch('place = "dischrage"\npan = "4 ft2"\namount = "1 g"'), "catch 1, place", "not a place", "did you mean discharge?"),
    "no such place": (catch('place = "moon"\npan = "4 ft2"\namount = "1 g"'), "catch 1, place", "not a place", "whole cut"),
    "no pan": (catch('place = "behind"\namount = "1 g"'), "catch 1, pan", "missing", "[pan]"),
    "pan twice": (discharge('width = "2 ft"'), "catch 1, width", "beside pan", "keep pan, or width and length"),
    "width alone": (catch('place = "behind"\namount = "1 g"\nwidth = "2 ft"'), "catch 1, length", "missing beside width", "along travel"),
    "length alone": (catch('place = "behind"\namount = "1 g"\nlength = "2 ft"'), "catch 1, width", "missing beside length", "across travel"),
    "pan 0": (catch('place = "behind"\namount = "1 g"\npan = "0 m2"'), "catch 1, pan", "above 0", "above 0"),
    "pan too large": (catch('place = "behind"\namount = "1 g"\npan = "51 m2"'), "catch 1, pan", "above 50 m2", "check number and unit"),
    "sides too large": (
        catch('place = "behind"\namount = "1 g"\nwidth = "10 m"\nlength = "6 m"'), "catch 1, width", "60 m2, above 50 m2", "check both",
    ),
    "empty [pan]": (top("[pan]"), "pan, area", "missing", "width and length"),
    "[pan] with one side": (top('[pan]\nwidth = "2 ft"'), "pan, length", "missing", "along travel"),
    "empty [scale]": (top("[scale]"), "scale, step", "missing", '"0.1 g"'),
    "pan wider than the discharge": (
        catch('place = "discharge"\namount = "1 g"\npan = "3 m2"'), "catch 1, pan", "within the discharge of 1.676 m as a square", "width (across travel)",
    ),
    "default pan wider than the discharge": (
        top('[pan]\narea = "3 m2"', rest=COMBINE + '[[catch]]\nplace = "behind"\namount = "1 g"\n'), "catch 1, pan", "as a square", "width (across travel)",
    ),
    "strip too narrow": (catch(WHOLE_CUT + 'width = "30 ft"'), "catch 1, width", "not about the cut width", "the place behind"),
    "strip too wide": (catch(WHOLE_CUT + 'width = "43 ft"'), "catch 1, width", "not about the cut width", "check the width"),
    "windrow without length": (catch(WINDROW), "catch 1, length", "missing for a windrow", "metres shaken out"),
    "windrow with a pan": (catch(WINDROW + 'length = "10 m"\npan = "4 ft2"'), "catch 1, pan", "does not go with the place windrow", "give length"),
    "windrow with a width": (catch(WINDROW + 'length = "10 m"\nwidth = "1 m"'), "catch 1, width", "does not go with", "leave it out"),
    "leak without time": (top('speed = "5 mph"', rest=COMBINE + "[[catch]]\n" + LEAK), "catch 1, time", "missing for a leak", '"60 s"'),
    "leak without speed": (catch(LEAK + 'time = "60 s"'), "speed", "catch 1 is a leak", "at the top of the file"),
    "leak with a pan": (catch(LEAK + 'time = "60 s"\npan = "4 ft2"'), "catch 1, pan", "does not go with the place leak", "give time"),
    "leak with a length": (catch(LEAK + 'time = "60 s"\nlength = "4 ft"'), "catch 1, length", "does not go with", "give time"),
    "speed in a catch": (catch(LEAK + 'time = "60 s"\nspeed = "5 mph"'), "catch 1, speed", "not a key", "at the top of the file"),
    "time without a leak": (discharge('time = "60 s"'), "catch 1, time", "does not go with the place discharge", "leak"),
    # --- readings ---
    "no amount": (reading(""), "catch 1, amount", "missing", "gross and tare"),
    "amount below 0": (reading('amount = "-1 g"'), "catch 1, amount", "0 or more", "0 or more"),
    "amount empty": (reading('amount = ""'), "catch 1, amount", "empty", "12.5 g"),
    "amount too large": (reading('amount = "51 kg"'), "catch 1, amount", "above 50000 g", "check number and unit"),
    "amount too small": (reading('amount = "1e-20 g"\nstep = "0.1 g"'), "catch 1, amount", "smaller than can be meant", "check number and unit"),
    "amount of another kind": (reading('amount = "12 ft"'), "catch 1, amount", "unit", "use g"),
    "second catch": (top("", rest=COMBINE + CATCH + CATCH.replace("12.5 g", "12.5 q")), "catch 2, amount", "unit", "use g"),
    "half a seed": (reading('amount = "12.5 seeds"'), "catch 1, amount", "whole number", "44 seeds"),
    "infinite": (reading('amount = "inf g"'), "catch 1, amount", "does not start with a number", "12.5 g"),
    "flat layer of wheat": (reading('amount = "120 cm2 flat"', crop="wheat"), "catch 1, amount", "not round", "count the seeds"),
    "flat heads of wheat": (discharge('unthreshed = "20 cm2 flat"', crop="wheat"), "catch 1, unthreshed", "not round", "weigh it"),
    "amount and gross": (discharge('gross = "500 g"'), "catch 1, gross", "beside amount", "keep amount, or gross and tare"),
    "gross alone": (reading('gross = "500 g"'), "catch 1, tare", "missing beside gross", "tare ="),
    "tare alone": (reading('tare = "500 g"'), "catch 1, gross", "missing beside tare", "gross ="),
    "gross below tare": (reading('gross = "400 g"\ntare = "500 g"'), "catch 1, gross", "less than the tare of 500 g", "swapped"),
    "net too large": (reading('gross = "80 kg"\ntare = "1 kg"'), "catch 1, gross", "above 50000 g", "check both"),
    "gross in seeds": (reading('gross = "80 seeds"\ntare = "1 g"'), "catch 1, gross", "unit", "use g"),
    # --- steps ---
    "step 0": (discharge('step = "0 g"'), "catch 1, step", "above 0", "above 0"),
    "step below 0": (discharge('step = "-0.1 g"'), "catch 1, step", "above 0", "above 0"),
    "step of another kind": (discharge('step = "1 mL"'), "catch 1, step", "another kind than amount, which is weighed", "0.1 g"),
    "step of a count": (reading('amount = "12 seeds"\nstep = "5 seeds"'), "catch 1, step", "exact", "leave step out"),
    "step in g of a count": (reading('amount = "12 seeds"\nstep = "1 g"'), "catch 1, step", "unit", "seeds"),
    "step in g of gross in mL": (reading('gross = "12 g"\ntare = "2 g"\nstep = "1 mL"'), "catch 1, step", "another kind", "0.1 g"),
    "too many digits": (reading('amount = "12.500001 g"'), "catch 1, amount", "finer than 0.00001 g", "write step ="),
    "too fine a step": (discharge('step = "0.000001 g"'), "catch 1, step", "below 0.00001 g", "check number and unit"),
    "inferred without step": (discharge("step_inferred = true"), "catch 1, step_inferred", "stands without step", "leave step_inferred out"),
    "inferred count": (reading('amount = "12 seeds"\nstep_inferred = true'), "catch 1, step_inferred", "exact", "leave step_inferred out"),
    "step of no heads": (discharge('unthreshed_step = "1 g"'), "catch 1, unthreshed_step", "without unthreshed", "give unthreshed"),
    "scale in mL": (top('[scale]\nstep = "1 mL"'), "scale, step", "unit", "g"),
    # --- parts, heads, variation ---
    "subsample 0": (discharge("subsample = 0"), "catch 1, subsample", "above 0 and at most 1", "0.25"),
    "subsample as %": (discharge("subsample = 25"), "catch 1, subsample", "at most 1", "25 %"),
    "clean above 1": (discharge('clean = "104 %"'), "catch 1, clean", "at most 1", "25 %"),
    "clean too small": (discharge("clean = 1e-9"), "catch 1, clean", "below 0.0001", "0.0001 to 1"),
    "clean as table": (discharge("clean = {}"), "catch 1, clean", "a table", "on one line"),
    "subsample not a number": (discharge("subsample = nan"), "catch 1, subsample", "not a finite number", "plain number"),
    "clean count": (reading('amount = "12 seeds"\nclean = 0.9'), "catch 1, clean", "does not go with a count", "count seeds only"),
    "heads alone": (discharge("heads = 3"), "catch 1, seeds_per_head", "missing beside heads", "seeds_per_head = 25"),
    "seeds per head alone": (discharge("seeds_per_head = 3"), "catch 1, heads", "missing beside", "heads = 12"),
    "half a head": (discharge("heads = 3.5\nseeds_per_head = 20"), "catch 1, heads", "whole", "12"),
    "heads below 0": (discharge("heads = -1\nseeds_per_head = 20"), "catch 1, heads", "below 0", "0 to 1000000"),
    "endless heads": (discharge(f"heads = {10**400}\nseeds_per_head = 20"), "catch 1, heads", "finite", "plain number"),
    "heads twice": (
        discharge('heads = 3\nseeds_per_head = 20\nunthreshed = "1 g"'), "catch 1, heads", "count that seed twice", "keep unthreshed",
    ),
    "variation 0": (discharge("variation = 0"), "catch 1, variation", "below 0.02", "0.02 to 3"),
    "variation in %": (discharge("variation = 40"), "catch 1, variation", "above 3", "0.02 to 3"),
    "variation infinite": (discharge("variation = inf"), "catch 1, variation", "finite", "plain number"),
    # --- profiles ---
    "one offset": (pans('offset = "1 ft"'), "catch 1, offset", "only one in run 1", "the same run"),
    "offset left out": (pans('offset = "1 ft"', 'offset = "-1 ft"', ""), "catch 3, offset", "missing, and other pans of run 1", '"0 ft" for the middle'),
    "same offset": (pans('offset = "1 ft"', 'offset = "0.3048 m"'), "catch 2, offset", "catch 1 too", "its own run"),
    "offset outside": (pans('offset = "0 ft"', 'offset = "2 ft 9 in"'), "catch 2, offset", "outside the discharge, 1.676 m wide", "0.8382 m to either side"),
    "two runs of one": (pans('offset = "1 ft"', 'offset = "-1 ft"\nrun = 2'), "catch 1, offset", "only one in run 1", "the same run"),
    "endlessly small offset": (pans('offset = "1e-20 mm"', 'offset = "1 ft"'), "catch 1, offset", "smaller than can be meant", "check number and unit"),
    "offset behind": (
        catch('place = "behind"\npan = "4 ft2"\namount = "1 g"\noffset = "1 ft"'), "catch 1, offset", "the place behind", "only pans in the discharge",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_a_refusal_names_field_problem_and_mend_in_one_line(case: tuple[str, str, str, str]) -> None:
    text, field, problem, mend = case

    with pytest.raises(InputError) as caught:
        read_check_file(text)

    error = caught.value
    assert error.field == field
    assert problem in error.problem
    assert mend in error.mend
    shown = str(error)
    assert shown == error.line()
    assert shown.isprintable()  # so there is no line break in it either
    assert shown.startswith(f"{field}: ")
    assert len(shown) < 600


def test_the_cases_differ_in_one_thing_from_a_file_that_reads() -> None:
    """Else a case could be refused for a fault of the frame around it."""
    for text in (top(""), discharge(""), reading('amount = "1 g"'), pans("", ""), top("", rest=STANDING)):
        assert read_check_file(text).crop == "canola"
    for lines in (WHOLE_CUT + 'width = "40 ft"', WINDROW + 'length = "10 m"'):
        assert read_check_file(catch(lines)).crop == "canola"


def test_each_family_of_errors_keeps_its_class() -> None:
    for name, family in (("slip of the finger", UnknownKeyError), ("unknown crop", UnknownCropError)):
        with pytest.raises(family):
            read_check_file(CASES[name][0])
    with pytest.raises(UnitError):
        read_check_file(CASES["amount without unit"][0])


def test_a_table_may_come_from_anywhere_and_is_refused_all_the_same() -> None:
    for table in (
        None,
        3,
        "crop",
        [],
        {1: 2},
        {"crop": "canola", "catch": {}},
        {"crop": b"canola"},
        {"when": object()},
    ):
        with pytest.raises(InputError):
            check_from_table(table)  # type: ignore[arg-type]


def test_whole_numbers_beyond_printing_are_not_shown() -> None:
    """CPython itself refuses to print whole numbers of more than 4300 digits."""
    with pytest.raises(InputError) as caught:
        read_check_file(top(f"speed = 0x{'f' * 9000}"))

    assert caught.value.field == "speed"
    assert caught.value.value is None
