// @ts-check
// Made by tests/web/phone_tables.py from src/chaffinch/book/wording.py; change that, not this.

/** @type {{[key: string]: string}} */
export const VERDICT = {
  "over": "Over your limit",
  "under": "Under your limit",
  "unsettled": "Can't tell yet"
};

/** @type {{[key: string]: string}} */
export const VERDICT_LINE = {
  "over": "Over your limit of {limit}: {chance} % chance that the {what} loss is above it.",
  "under": "Under your limit of {limit}: {chance} % chance that the {what} loss is above it.",
  "unsettled": "Can't tell yet: {chance} % chance that the {what} loss is above your limit of {limit}."
};

/** @type {{[key: string]: string}} */
export const SOURCE = {
  "standing": "before harvest",
  "header": "header",
  "machine": "machine",
  "leak": "leak"
};

/** @type {string} */
export const TAPED = "say so where the widths stand";

/** @type {{[key: string]: string}} */
export const NOTICE = {
  "machine-only": "Machine only: header loss was not measured. A frame in the cut strip, ahead of the discharge, shows it.",
  "machine-only-windrowed": "Machine only: what the windrower and the pick-up dropped is not in it. Frames under and beside the windrow show that.",
  "header-only": "Header only: loss through the machine was not measured.",
  "standing-only": "Loss before harvest only: nothing the combine does is in it, so no verdict is given.",
  "leak-only": "Leak only, so no verdict is given: what leaves with straw and chaff was not measured, nor the header. Seal the leak all the same.",
  "places-disagree": "Catches at different places differ {ratio:.1f}-fold about machine loss: one of them may be a slip, or the places see different grain. Check the readings and widths before you trust the sum.",
  "leak-apart": "The leak comes on top of what leaves with straw and chaff: seal it before changing settings. Two different leaks belong in two checks.",
  "not-told-apart": "The catches hardly tell {sources} apart from the rest: that split is mostly expectation, the total is not. Frames in the cut strip and in standing crop would part them.",
  "standing-left-in": "No frame in standing crop: in the plain figures, what fell before harvest still counts as header loss.",
  "header-left-in": "No frame in the header strip: in the plain figures, header loss still counts as machine loss.",
  "negative-plain": "Plain {source} loss comes out negative ({loss}): there lay less behind than before. It is shown as measured; the estimate allows for it. More frames would settle it.",
  "one-position-spreading": "One position with spreading on: behind a spreader, one spot can be off by several times. Take catches across the whole throw, or one with spreading off.",
  "part-width": "Taken at part width ({width}): the machine was not at its usual load.",
  "coarse-kit": "The kit is too coarse for this limit: half a step of catch {catch} stands for {loss}. Use a finer scale, a larger pan, or count.",
  "all-empty": "Nothing was caught ({place}): a small loss, or a catch that missed the falling seed. One more, well placed, tells which.",
  "few-seeds": "Only {seeds} seeds in all: by chance alone such a count swings widely. More frames help most.",
  "uneven": "Catches taken alike ({place}) differ {ratio:.1f}-fold: the range, not the middle, is the message.",
  "no-limit": "No limit given, so no verdict: add limit = \"1 bu/ac\" (or whatever pays on your farm).",
  "no-yield": "No yield given: loss is not shown as a share of the crop.",
  "tkw-from-table": "TKW {tkw_g:g} g from the table (usual span {low_g:g} to {high_g:g}); count and weigh 200 seeds to know yours.",
  "test-weight-from-table": "Test weight {kg_hl:g} kg/hL from the table.",
  "seed-size-from-table": "Seed diameter and density from the table, packing 0.80 from memory of practice.",
  "lost-seed-is-lighter": "Lost seed is often lighter than tank seed, so counts lean high; weighing does not.",
  "moisture-as-is": "Moisture not given: weight taken as it is, no change to market moisture.",
  "step-from-digits": "Step {step:g} {unit} taken from the digits written.",
  "width-guessed": "Drop or spread width taken as guessed (± 8 %); tape it and {say_so} for ± 2 %.",
  "windrower-width-used": "Windrowed crop: the windrower's width ({width}) counts as the cut width."
};

/** @type {{[key: string]: string}} */
export const NEXT_STEP = {
  "further": "Next: take {n} more {catches} like catch {like} ({place}); that gives a clear answer with {chance} % chance.",
  "further-none": "Next: even 12 more catches like these may not settle it ({chance} % chance): the loss is close to your limit{doubt}. Treat it as a toss-up{mend}.",
  "over": "Next: find where it is lost, change one thing, and take catches again to see whether it helped.",
  "over-machine-only": "Next: take a frame in the cut strip too; then change one thing and take catches again.",
  "over-mostly": "Next: the {source} is the largest loss ({p} % sure). Change one thing there, and take catches again to see whether it helped.",
  "over-likely": "Next: the {source} is the likeliest place ({p} %), not a certain one. More catches there would tell; or change one thing there and take catches again.",
  "over-standing-largest": "Next: most of it fell before the combine came, which no setting brings back; of the rest, change one thing and take catches again.",
  "under": "Next: leave the settings alone; check again when crop, hour, field or settings change."
};

/** @type {string} */
export const CAUTION = "Before anyone goes near the machine: your operator's manual and local rules come first. Stop, brake on, engine off, key out, and wait until all movement has stopped.";

/** @type {string[]} */
export const CAUTIONS = [
  "Your operator's manual and local rules come first.",
  "Stop feeding, stop header and separator, brake on, engine off, key out and in your pocket.",
  "Wait until all movement has stopped: knives, choppers and rotors run on.",
  "Everyone clear and in sight before the machine backs up or starts; other machines keep moving.",
  "Never put a pan under a moving machine by hand and never walk beside it to do so: use a released tray, or stop first.",
  "Never reach under a raised header that is not locked."
];
