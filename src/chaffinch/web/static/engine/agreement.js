// @ts-check
/**
 * Do the parts of a check agree with each other?
 *
 * Twin of chaffinch.records.agreement: what disagrees is refused with the way out, nothing is mended unseen.
 */

import { InputError } from "./errors.js";

/** @typedef {import("./table.js").Check} Check */

const NEED_A_COMBINE = ["discharge", "behind", "whole cut", "windrow", "leak"];
const NEED_A_DISCHARGE = ["discharge", "behind"];
/** How far a strip across the whole cut may be from the cut width, as a part of it [1]; own figure. */
const STRIP_TOLERANCE = 0.05;
/** Offsets nearer than this are the same place [m]. */
const SAME_PLACE_M = 0.001;

/** Width of crop that ends up in one discharge strip [m]. @param {Check} check */
export function cutWidth(check) {
  if (check.windrowed && check.windrower_width_m !== null) return check.windrower_width_m;
  return check.working_width_m ?? check.combine?.cut_width_m ?? null;
}

/** Drop width, or spread width with spreading on [m]. @param {Check} check */
export function dischargeWidth(check) {
  if (!check.combine) return null;
  return check.spreading ? check.combine.spread_width_m : check.combine.drop_width_m;
}

/** Settle what only one width given implies, and refuse what contradicts itself. @param {Check} check */
export function mustAgree(check) {
  check.spreading = settledSpreading(check);
  widthsAgree(check);
  for (const one of check.catches) {
    if (NEED_A_COMBINE.includes(one.place) && !check.combine) {
      const problem = `is missing, and catch ${one.number} (${one.place}) needs the cut width`;
      throw new InputError("combine", null, problem, "give the combine and its cut_width");
    }
    panFits(check, one);
    if (one.place === "leak" && check.speed_kmh === null) {
      const problem = `is missing, and catch ${one.number} is a leak caught over time`;
      throw new InputError("speed", null, problem, 'write speed = "7.5 km/h"');
    }
  }
  profilesHold(check);
  if (check.limit_kg_ha !== null && check.yield_kg_ha !== null && check.limit_kg_ha >= check.yield_kg_ha) {
    throw new InputError("limit", metres(check.limit_kg_ha, "kg/ha"), "is not below the yield", "check both and their units");
  }
}

/** @param {Check} check */
function settledSpreading({ combine, spreading, catches }) {
  const needing = catches.find((one) => NEED_A_DISCHARGE.includes(one.place));
  if (!needing || !combine) return spreading;
  const who = `catch ${needing.number} (${needing.place})`;
  const { drop_width_m: drop, spread_width_m: spread } = combine;
  if (spreading === null) {
    if (drop === null && spread === null) {
      const problem = `is missing, and ${who} needs the width of the discharge`;
      throw new InputError("combine, drop_width", null, problem, "give drop_width (spreading off) or spread_width (on)");
    }
    if (drop !== null && spread !== null) {
      const problem = `is missing, and ${who} depends on it: both drop_width and spread_width are given`;
      throw new InputError("spreading", null, problem, "say whether spreading was on");
    }
    return spread !== null;
  }
  if (spreading && spread === null) {
    const problem = `is missing: spreading was on, and ${who} needs the width the residue landed on`;
    throw new InputError("combine, spread_width", null, problem, 'write spread_width = "30 ft"');
  }
  if (!spreading && drop === null) {
    const problem = `is missing: spreading was off, and ${who} needs the width of the discharge`;
    throw new InputError("combine, drop_width", null, problem, 'write drop_width = "66 in"');
  }
  return spreading;
}

/** @param {Check} check */
function widthsAgree(check) {
  const { windrowed, windrower_width_m, working_width_m, combine } = check;
  if (windrowed && windrower_width_m === null) {
    const problem = "is missing, and the crop was windrowed: it takes the place of the cut width";
    throw new InputError("windrower_width", null, problem, 'write windrower_width = "30 ft"');
  }
  if (!windrowed && windrower_width_m !== null) {
    const problem = "is given, but the crop was not windrowed";
    throw new InputError("windrower_width", metres(windrower_width_m), problem, "say windrowed, or leave it out");
  }
  if (windrowed && working_width_m !== null) {
    const problem = "is given for a windrowed crop, whose windrows are taken whole";
    throw new InputError("working_width", metres(working_width_m), problem, "leave it out, or correct windrower_width");
  }
  const cut_m = windrowed ? windrower_width_m : (combine?.cut_width_m ?? null);
  if (cut_m === null) {
    if (working_width_m === null) return;
    const problem = "is given without a combine to compare it with";
    throw new InputError("working_width", metres(working_width_m), problem, "give the combine and its cut_width");
  }
  /** @type {[string, number|null][]} */
  const widths = [["working_width", working_width_m], ["combine, drop_width", combine?.drop_width_m ?? null]];
  for (const [field, width] of widths) {
    if (width !== null && width > cut_m) {
      throw new InputError(field, metres(width), `is wider than the cut of ${metres(cut_m)}`, "check both widths");
    }
  }
}

/** @param {Check} check @param {import("./catchtable.js").CheckCatch} one */
function panFits(check, { pan, place, number }) {
  if (!pan) return;
  const discharge = dischargeWidth(check);
  if (NEED_A_DISCHARGE.includes(place) && pan.width_m === null && discharge !== null && Math.sqrt(pan.area_m2) > discharge) {
    const problem = `is too large to lie within the discharge of ${metres(discharge)} as a square`;
    const mend = "give the pan's width (across travel) and length (along travel) instead";
    throw new InputError(`catch ${number}, pan`, metres(pan.area_m2, "m2"), problem, mend);
  }
  const full = check.windrowed ? check.windrower_width_m : (check.combine?.cut_width_m ?? null);
  if (place === "whole cut" && pan.width_m !== null && full !== null) {
    const cut_m = check.working_width_m ?? full;
    if (Math.abs(pan.width_m - cut_m) > STRIP_TOLERANCE * cut_m) {
      const problem = `is not about the cut width of ${metres(cut_m)}, so the strip is not across the whole cut`;
      const mend = "check the width, or use the place behind for a frame in the discharge band";
      throw new InputError(`catch ${number}, width`, metres(pan.width_m), problem, mend);
    }
  }
}

/** Pans at offsets in one run make a profile: at least two, apart from each other, within the discharge. */
/** @param {Check} check */
function profilesHold(check) {
  const discharge = dischargeWidth(check);
  const pans = check.catches.filter((one) => one.place === "discharge");
  for (const run of new Set(pans.map((one) => one.run))) {
    const members = pans.filter((one) => one.run === run);
    const placed = members.flatMap(({ number, offset_m }) => (offset_m === null ? [] : [{ number, offset_m }]));
    if (!placed.length) continue;
    const without = members.find((one) => one.offset_m === null);
    if (without) {
      const problem = `is missing, and other pans of run ${run} have one`;
      throw new InputError(`catch ${without.number}, offset`, null, problem, "give its offset, or another run");
    }
    placed.sort((a, b) => a.offset_m - b.offset_m);
    placed.forEach(({ number, offset_m }, i) => {
      const field = `catch ${number}, offset`;
      if (placed.length === 1) {
        const problem = `is the only one in run ${run}, and one pan makes no profile`;
        throw new InputError(field, metres(offset_m), problem, "give the other pans of that pass their offsets");
      }
      if (discharge !== null && Math.abs(offset_m) >= discharge / 2) {
        const problem = `lies outside the discharge, ${metres(discharge)} wide`;
        throw new InputError(field, metres(offset_m), problem, "measure from its middle");
      }
      if (i > 0 && offset_m - placed[i - 1].offset_m < SAME_PLACE_M) {
        const problem = `is that of catch ${placed[i - 1].number} too, in run ${run}`;
        throw new InputError(field, metres(offset_m), problem, "correct one of them, or give it its own run");
      }
    });
  }
}

/** @param {number} value @param {string} [unit] */
const metres = (value, unit = "m") => `${Number(value.toPrecision(4))} ${unit}`;
