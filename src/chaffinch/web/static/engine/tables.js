// @ts-check
/**
 * What is the likelihood of a draw: read from tables over ln μ, as chaffinch.engine.sources does it.
 *
 * One table for each distinct exposure, worked out where draws fall and nowhere else: of 400 rows a check asks for a
 * hundred.
 */

import { GRID, LN_LOSS, byLikeness, groupBy, likelihoods } from "./evidence.js";
import { GRAMS_PER_KG_HA_M2 } from "./exposure.js";
import { roomFor } from "./sampler.js";
import { exp, ln } from "./special.js";
import { ON_GRID, averageOfRow, cNodes, lnOfSum, nodesFor } from "./variation.js";

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
/** Draws placed at once: what is known of them stays near the processor. */
const AT_ONCE = 256;

/** @typedef {import("./variation.js").Nodes} Nodes */
/** @typedef {{alike: string, nodes: Nodes, c: Float64Array, rows: Row[]}} Group */

/**
 * Draws, one column for each quantity.
 * @typedef {object} Drawn
 * @property {Float64Array[]} ln_loss  for each source
 * @property {Float64Array[]} loss     the same in kg/ha
 * @property {Float64Array[]} errors   those of kinds of reading, then the width's, in logs
 */

/** Log-likelihood of draws. */
export class Tables {
  /** @param {Catch[]} catches @param {Source[]} seen @param {Nuisance} nuisance */
  constructor(catches, seen, nuisance) {
    /** @type {Group[]} */
    this.groups = [...byLikeness(catches)].map(([alike, members], group) => {
      const parts = groupBy(members, ({ exposure, reading }) =>
        JSON.stringify([
          seen.map((s) => exposure.area_m2[s]),
          exposure.variation_factor,
          exposure.by_width,
          nuisance.kinds.indexOf(reading.kind),
        ]),
      );
      // Catches that share the expected mass too are averaged once for all draws.
      const nodes = parts.length === 1 ? ON_GRID : nodesFor(members.length);
      const c = cNodes(members[0].c0, nodes);
      const alone = parts.length === 1;
      const rows = parts.map((some, k) => new Row(some, seen, nuisance, nodes, c, `${group} ${k}`, alone));
      return { alike, nodes, c, rows };
    });
  }

  /**
   * Add the sum over the groups of the average over c to the values of draws.
   * @param {Drawn} drawn
   * @param {number} from  first of the draws
   * @param {Float64Array} values  one for each draw
   */
  addLogLikelihoods(drawn, from, values) {
    for (let start = 0; start < values.length; start += AT_ONCE) {
      const count = Math.min(AT_ONCE, values.length - start);
      for (const { rows, nodes } of this.groups) {
        for (const row of rows) row.place(drawn, from + start, count);
        if (rows.length === 1) {
          for (let i = 0; i < count; i += 1) values[start + i] += rows[0].averageAt(i);
          continue;
        }
        const cells = nodes.room;
        for (let i = 0; i < count; i += 1) {
          cells.set(nodes.ln_weights);
          for (let r = 0; r < rows.length; r += 1) rows[r].addAt(i, cells);
          values[start + i] += lnOfSum(cells);
        }
      }
    }
  }
}

/** The table of catches that share an exposure and a kind of reading. */
class Row {
  /**
   * @param {Catch[]} catches
   * @param {Source[]} seen
   * @param {Nuisance} nuisance
   * @param {Nodes} nodes
   * @param {Float64Array} c
   * @param {string} name
   * @param {boolean} alone  no other catches share this c: the average over it is wanted
   */
  constructor(catches, seen, nuisance, nodes, c, name, alone) {
    const { exposure, reading } = catches[0];
    const areas = seen.map((s) => GRAMS_PER_KG_HA_M2 * exposure.area_m2[s]);
    const sees = areas.flatMap((area, k) => (area > 0 ? [k] : []));
    const on_width = seen.map((s) => nuisance.width && exposure.by_width && (s === "machine" || s === "leak"));
    this.areas = areas;
    this.sees = sees;
    /** Sources whose catch goes with the drop width, where that is a parameter of its own. */
    this.on_width = sees.map((k) => on_width[k]);
    this.width = nuisance.kinds.length;
    this.kind = nuisance.kinds.indexOf(reading.kind);
    const low = Math.log(Math.min(...sees.map((k) => areas[k]))) + LN_LOSS[0] - TABLE_MARGIN;
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
    this.nodes = nodes;
    this.wide = c.length;
    this.table = roomFor(`table ${name}`, size * this.wide);
    this.averaged = roomFor(`average ${name}`, alone ? size : 0);
    /** Of the draws placed: the second of the four rows that each is read from, and how far it lies behind that. */
    this.index = new Int32Array(AT_ONCE);
    this.along = new Float64Array(AT_ONCE);
  }

  /** Work out the rows of one block. @param {number} block */
  fill(block) {
    const start = block * BLOCK;
    const end = Math.min(this.size, start + BLOCK);
    const ln_mean = Float64Array.from({ length: end - start }, (_, i) => this.first + (start + i) * this.step);
    const part = this.table.subarray(start * this.wide, end * this.wide);
    part.fill(0);
    for (const add of this.adds) add(ln_mean, part);
    const floor = FLOOR * this.catches;
    let impossible = false;
    for (let i = 0; i < part.length; i += 1) {
      if (!(part[i] > floor)) part[i] = floor;
      if (part[i] <= 0.5 * FLOOR) impossible = true;
    }
    if (this.averaged.length) {
      for (let i = start; i < end; i += 1) this.averaged[i] = averageOfRow(this.table, i * this.wide, this.nodes);
    }
    // 2: holds an impossible reading, beside which a cubic would overshoot.
    this.ready[block] = impossible ? 2 : 1;
  }

  /**
   * Find where in the table some draws stand, and work out the rows they are read from.
   * @param {Drawn} drawn
   * @param {number} from
   * @param {number} count
   */
  place({ ln_loss, loss, errors }, from, count) {
    const { along, index, areas, sees, on_width, ready, size, first } = this;
    if (sees.length === 1 && !on_width[0]) {
      const [ln_area, only] = [Math.log(areas[sees[0]]), ln_loss[sees[0]]];
      for (let i = 0; i < count; i += 1) along[i] = only[from + i] + ln_area;
    } else {
      along.fill(0, 0, count);
      sees.forEach((k, n) => {
        const [area, part] = [areas[k], loss[k]];
        if (on_width[n]) {
          const error = errors[this.width];
          for (let i = 0; i < count; i += 1) along[i] += part[from + i] * area * exp(-error[from + i]);
        } else {
          for (let i = 0; i < count; i += 1) along[i] += part[from + i] * area;
        }
      });
      for (let i = 0; i < count; i += 1) along[i] = ln(along[i]);
    }
    if (this.kind >= 0) {
      const error = errors[this.kind];
      for (let i = 0; i < count; i += 1) along[i] -= error[from + i];
    }
    const per_step = 1 / this.step;
    for (let i = 0; i < count; i += 1) {
      const place = (along[i] - first) * per_step;
      // A mean so far off that it is no number is read at the top end, as the throw of a NaN needs.
      const row = place < 1 ? 1 : place < size - 3 ? place | 0 : size - 3;
      index[i] = row;
      along[i] = place - row;
      const [before, after] = [(row - 1) >> BLOCK_BITS, (row + 2) >> BLOCK_BITS];
      if (!ready[before]) this.fill(before);
      if (!ready[after]) this.fill(after);
    }
  }

  /** The average over c for one of the draws placed. @param {number} i */
  averageAt(i) {
    const v = this.averaged;
    const index = this.index[i];
    return smooth(v[index - 1], v[index], v[index + 1], v[index + 2], this.along[i]);
  }

  /**
   * Add the log-likelihood for each node of c, for one of the draws placed, to the cells.
   * @param {number} i
   * @param {Float64Array} cells
   */
  addAt(i, cells) {
    const index = this.index[i];
    const along = this.along[i];
    const { table: v, wide } = this;
    let a = (index - 1) * wide;
    let b = a + wide;
    let c = b + wide;
    let d = c + wide;
    const possible = this.ready[(index - 1) >> BLOCK_BITS] + this.ready[(index + 2) >> BLOCK_BITS] === 2;
    if (!possible || along < 0 || along > 1) {
      for (let j = 0; j < wide; j += 1) cells[j] += smooth(v[a++], v[b++], v[c++], v[d++], along);
      return;
    }
    // What `smooth` gives to each of the four rows.
    const square = 0.5 * along * along;
    const before = square * (2 - along) - 0.5 * along;
    const here = 1 + square * (3 * along - 5);
    const after = 0.5 * along + square * (4 - 3 * along);
    const last = square * (along - 1);
    for (let j = 0; j < wide; j += 1) cells[j] += before * v[a++] + here * v[b++] + after * v[c++] + last * v[d++];
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
