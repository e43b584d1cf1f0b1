// @ts-check
/**
 * What is the likelihood of a draw: read from tables over ln μ, as chaffinch.engine.sources does it.
 *
 * One table for each distinct exposure, worked out where draws fall and nowhere else: of 400 rows a check asks for a
 * hundred.
 */

import { C_NODES, GRID, LN_C_WEIGHTS, LN_LOSS, averageOfRow, byLikeness, cNodes, groupBy, likelihoods, lnOfSum } from "./evidence.js";
import { GRAMS_PER_KG_HA_M2 } from "./exposure.js";
import { ln } from "./special.js";

/** @typedef {import("./exposure.js").Catch} Catch */
/** @typedef {import("./exposure.js").Source} Source */
/** @typedef {import("./sources.js").Nuisance} Nuisance */

/** Widest spacing of ln μ in the tables; three eighths of c where c is small. */
const TABLE_STEP = 0.06;
/** Expected mass, as a share of half a step or of a seed, at which an empty reading is certain to about 2 %. */
const CERTAINLY_EMPTY = 0.002;
/** How far the tables extend beyond the expected masses of the grid of losses [ln]. */
const TABLE_MARGIN = 4;
/** Stands for an impossible reading: keeps the climb finite, low enough for it to feel the slope above. */
const FLOOR = -1e9;
/** Rows worked out at once, a power of two. */
const BLOCK_BITS = 2;
const BLOCK = 1 << BLOCK_BITS;

/** @typedef {{alike: string, c: Float64Array, rows: Row[]}} Group */

/** Log-likelihood of draws. A draw is given as losses [kg/ha] and errors: those of kinds in logs, the width's as a factor. */
export class Tables {
  /** @param {Catch[]} catches @param {Source[]} seen @param {Nuisance} nuisance */
  constructor(catches, seen, nuisance) {
    /** @type {Group[]} */
    this.groups = [...byLikeness(catches)].map(([alike, members]) => {
      const c = cNodes(members[0].c0);
      const parts = groupBy(members, ({ exposure, reading }) =>
        JSON.stringify([
          seen.map((s) => exposure.area_m2[s]),
          exposure.variation_factor,
          exposure.by_width,
          nuisance.kinds.indexOf(reading.kind),
        ]),
      );
      return { alike, c, rows: parts.map((group) => new Row(group, seen, nuisance, c, parts.length === 1)) };
    });
    this.cells = new Float64Array(C_NODES);
  }

  /**
   * Sum over the groups of the average over c, for one draw.
   * @param {Float64Array} point  logs of the losses first
   * @param {Float64Array} loss
   * @param {Float64Array} errors
   * @param {number} width_factor
   */
  logLikelihood(point, loss, errors, width_factor) {
    const { groups, cells } = this;
    let sum = 0;
    for (let g = 0; g < groups.length; g += 1) {
      const { rows } = groups[g];
      if (rows.length === 1) {
        // All catches that share a c share the expected mass too: c need not be kept apart draw by draw.
        sum += rows[0].averageAt(point, loss, errors, width_factor);
      } else {
        cells.set(LN_C_WEIGHTS);
        for (let r = 0; r < rows.length; r += 1) rows[r].addAt(point, loss, errors, width_factor, cells);
        sum += lnOfSum(cells);
      }
    }
    return sum;
  }
}

/** The table of catches that share an exposure and a kind of reading. */
class Row {
  /**
   * @param {Catch[]} catches
   * @param {Source[]} seen
   * @param {Nuisance} nuisance
   * @param {Float64Array} c
   * @param {boolean} alone  no other catches share this c: the average over it is wanted
   */
  constructor(catches, seen, nuisance, c, alone) {
    const { exposure, reading } = catches[0];
    const areas = seen.map((s) => GRAMS_PER_KG_HA_M2 * exposure.area_m2[s]);
    this.areas = Float64Array.from(areas);
    const on_width = seen.map((s) => nuisance.width && exposure.by_width && (s === "machine" || s === "leak"));
    this.on_width = Uint8Array.from(on_width, Number);
    const sees = areas.flatMap((area, k) => (area > 0 ? [k] : []));
    /** The source seen, where it is a single one: then the log of its loss is known already. */
    this.only = sees.length === 1 && !on_width[sees[0]] ? sees[0] : -1;
    this.ln_area = Math.log(areas[sees[0]]);
    this.kind = nuisance.kinds.indexOf(reading.kind);
    const low = Math.log(Math.min(...areas.filter((a) => a > 0))) + LN_LOSS[0] - TABLE_MARGIN;
    const high = Math.log(areas.reduce((a, b) => a + b, 0)) + LN_LOSS[GRID - 1] + TABLE_MARGIN;
    // Where an empty reading has become certain its likelihood is flat, and may be read on straight from there.
    const certain = Math.min(
      ...catches.map((x) => CERTAINLY_EMPTY * Math.max(x.reading.step_g / 2, x.reading.seed_g)),
    );
    this.step = Math.min(TABLE_STEP, 0.375 * catches[0].c0 * exposure.variation_factor);
    this.first = Math.min(low, Math.log(certain));
    const size = Math.ceil((high - this.first) / this.step);
    this.size = size;
    this.catches = catches.length;
    this.adds = likelihoods(catches, c);
    this.ready = new Uint8Array(Math.ceil(size / BLOCK));
    this.table = new Float64Array(size * C_NODES);
    this.averaged = new Float64Array(alone ? size : 0);
  }

  /** Work out the rows of one block. @param {number} block */
  fill(block) {
    const start = block * BLOCK;
    const end = Math.min(this.size, start + BLOCK);
    const ln_mean = Float64Array.from({ length: end - start }, (_, i) => this.first + (start + i) * this.step);
    const part = this.table.subarray(start * C_NODES, end * C_NODES);
    for (const add of this.adds) add(ln_mean, part);
    const floor = FLOOR * this.catches;
    for (let i = 0; i < part.length; i += 1) if (!(part[i] > floor)) part[i] = floor;
    if (this.averaged.length) for (let i = start; i < end; i += 1) this.averaged[i] = averageOfRow(this.table, i * C_NODES);
    // 2: holds an impossible reading, beside which a cubic would overshoot.
    this.ready[block] = part.some((value) => value <= 0.5 * FLOOR) ? 2 : 1;
  }

  /**
   * Where in the table a draw stands, in rows.
   * @param {Float64Array} point
   * @param {Float64Array} loss
   * @param {Float64Array} errors
   * @param {number} width_factor
   */
  place(point, loss, errors, width_factor) {
    let ln_mean = 0;
    if (this.only >= 0) {
      ln_mean = point[this.only] + this.ln_area;
    } else {
      const { areas, on_width } = this;
      let mean = 0;
      for (let k = 0; k < areas.length; k += 1) mean += loss[k] * areas[k] * (on_width[k] ? width_factor : 1);
      ln_mean = ln(mean);
    }
    return (ln_mean - (this.kind < 0 ? 0 : errors[this.kind]) - this.first) / this.step;
  }

  /** First of the four rows that a place is read from, less one; they are ready then. @param {number} place */
  index(place) {
    // A mean so far off that it is no number is read at the top end, as the throw of a NaN needs.
    const index = place < 1 ? 1 : place < this.size - 3 ? place | 0 : this.size - 3;
    const from = (index - 1) >> BLOCK_BITS;
    const to = (index + 2) >> BLOCK_BITS;
    if (!this.ready[from]) this.fill(from);
    if (!this.ready[to]) this.fill(to);
    return index;
  }

  /**
   * The average over c for one draw.
   * @param {Float64Array} point
   * @param {Float64Array} loss
   * @param {Float64Array} errors
   * @param {number} width_factor
   */
  averageAt(point, loss, errors, width_factor) {
    const place = this.place(point, loss, errors, width_factor);
    const index = this.index(place);
    const v = this.averaged;
    return smooth(v[index - 1], v[index], v[index + 1], v[index + 2], place - index);
  }

  /**
   * Add the log-likelihood for each node of c, for one draw, to the cells.
   * @param {Float64Array} point  logs of the losses first
   * @param {Float64Array} loss
   * @param {Float64Array} errors
   * @param {number} width_factor
   * @param {Float64Array} cells
   */
  addAt(point, loss, errors, width_factor, cells) {
    const place = this.place(point, loss, errors, width_factor);
    const index = this.index(place);
    const along = place - index;
    const v = this.table;
    const start = (index - 1) * C_NODES;
    const possible = this.ready[(index - 1) >> BLOCK_BITS] + this.ready[(index + 2) >> BLOCK_BITS] === 2;
    if (!possible || along < 0 || along > 1) {
      for (let j = 0, at = start; j < C_NODES; j += 1, at += 1) {
        cells[j] += smooth(v[at], v[at + C_NODES], v[at + 2 * C_NODES], v[at + 3 * C_NODES], along);
      }
      return;
    }
    // What `smooth` gives to each of the four rows.
    const square = 0.5 * along * along;
    const before = square * (2 - along) - 0.5 * along;
    const here = 1 + square * (3 * along - 5);
    const after = 0.5 * along + square * (4 - 3 * along);
    const last = square * (along - 1);
    for (let j = 0, at = start; j < C_NODES; j += 1, at += 1) {
      cells[j] += before * v[at] + here * v[at + C_NODES] + after * v[at + 2 * C_NODES] + last * v[at + 3 * C_NODES];
    }
  }
}

/**
 * Between two rows: the cubic whose slope at a row is that from the row before to the row after; straight on beyond the
 * ends, and straight beside the floor that stands for an impossible reading, where it would overshoot.
 * @param {number} before
 * @param {number} here
 * @param {number} after
 * @param {number} last
 * @param {number} along   0 at `here`, 1 at `after`
 */
function smooth(before, here, after, last, along) {
  if (!(before > 0.5 * FLOOR && last > 0.5 * FLOOR)) return here + along * (after - here);
  if (along < 0) return here + 0.5 * along * (after - before);
  if (along > 1) return after + 0.5 * (along - 1) * (last - here);
  const bend = 2 * before - 5 * here + 4 * after - last + along * (3 * (here - after) + last - before);
  return here + 0.5 * along * (after - before + along * bend);
}
