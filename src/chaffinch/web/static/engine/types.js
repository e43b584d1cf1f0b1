// @ts-check
/**
 * What goes in and what comes out: the shapes that the phone's pages and its engine share. Nothing runs here.
 *
 * The table is a check file as JSON (docs/check-file.md), the setup is the answer of `/api/v1/setup`, and the answer has
 * the shape of `chaffinch check FILE --json`, but for the sentences: warnings come as keys with facts.
 *
 * In: `answer(table, setup, options)` of `check.js`. A table that cannot be used throws an `InputError`
 * (`errors.js`) with `field`, `value`, `problem` and `mend`; a posterior that cannot be drawn throws a `SamplerError`.
 */

/**
 * One crop's figures, for the farm's country.
 * @typedef {object} CropFigures
 * @property {string} key
 * @property {string} name
 * @property {string[]} [also]                     other names it answers to
 * @property {number} tkw_g                        thousand-kernel weight [g]
 * @property {number} [tkw_low]                    [g]
 * @property {number} [tkw_high]                   [g]
 * @property {number} test_weight_kg_hl            [kg/hL]
 * @property {number|null} [bushel_kg]             null where the country must be named first [kg]
 * @property {number|null} [market_moisture_pct]   wet basis [%]
 * @property {boolean} round_seed
 * @property {number|null} [seed_diameter_mm]      [mm]
 * @property {number|null} [kernel_density_g_cm3]  [g/cm³]
 */

/**
 * @typedef {object} Setup
 * @property {{country?: string|null, currency?: string|null, report_in?: string|null}} [farm]
 * @property {CropFigures[]} crops
 */

/** @typedef {{[key: string]: any}} Table  a check file as JSON */

/**
 * @typedef {object} Options
 * @property {number} [seed]      seed of the sampler; 1 when absent
 * @property {boolean} [further]  false leaves `more_catches` out, which is most of the time of an unsettled check
 */

/** @typedef {{low: number, median: number, high: number}} Range  5th, 50th and 95th percentile */

/**
 * One loss in every measure the check allows.
 * @typedef {object} Loss
 * @property {number|null} plain_kg_ha           textbook arithmetic; may be negative
 * @property {Range} kg_ha
 * @property {{unit: string} & Range} trade      in the unit the person reads in
 * @property {Range|null} share_percent          of (harvested + lost); null without a yield
 * @property {({unit: string} & Range)|null} money_per_area  null without a price
 * @property {number} part_of_loss_percent
 * @property {number} p_largest
 */

/** @typedef {{key: string, facts: {[key: string]: any}}} Notice */

/**
 * @typedef {object} Answer
 * @property {string} crop
 * @property {{[source: string]: Loss}} sources  standing, header, machine, leak: those the catches see, in that order
 * @property {Loss} total
 * @property {{sources: string[], kg_ha: Range, trade: {unit: string} & Range, money_per_area: ({unit: string} & Range)|null}} judged
 *   the losses the limit is held against: never what fell before harvest
 * @property {number|null} limit_kg_ha
 * @property {number|null} limit_trade           the limit in `judged.trade.unit`
 * @property {"over"|"under"|"unsettled"|null} verdict
 * @property {number|null} p_over
 * @property {number|null} more_catches          further catches until a clear verdict is likely; null: twelve are not enough
 * @property {number|null} more_catches_chance
 * @property {number|null} more_catches_like     number of the catch they should be like, from 1
 * @property {number|null} unthreshed_percent
 * @property {number|null} width_ratio
 * @property {{currency: string, per_hour: Range|null, per_field: Range|null}} money
 * @property {Notice[]} warnings
 * @property {Notice[]} assumed
 * @property {number} catches                    pans at offsets of one run count as one
 */

export {};
