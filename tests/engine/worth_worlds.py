"""A decision and a prospect for the tests of worth; the figures are invented."""

from __future__ import annotations

import numpy as np
from scipy import stats

from chaffinch.engine.plan import Prospect
from chaffinch.engine.worth_choice import Choice, effect_between


def choice(**change) -> Choice:
    """120 ha of a crop at 600/t, 5 ha/h, standing still 300/h; acting takes 20 minutes and 200, saves a fifth or so."""
    given = {
        "area_left_ha": 120.0,
        "price_per_t": 600.0,
        "capacity_ha_h": 5.0,
        "stop_cost_per_h": 300.0,
        "action_minutes": 20.0,
        "action_other_cost": 200.0,
        "effect": effect_between(0.6, 0.95),
        **change,
    }
    return Choice(**given)


def prospect(ln_loss_mean, ln_loss_sd, *, c, shared_sd=0.0, seed_g=1e-6, step_g=1e-6, grams_per_kg=1.0, n=512, seed=4):
    """Lognormal belief about the loss [ln kg/ha], seen by a pan that holds ``grams_per_kg`` grams for each kg/ha.

    Evenly spread draws in random order, as those of the engine are: random ones would have a mean of their own.
    """
    rng = np.random.default_rng(seed)
    z = stats.norm.ppf((np.arange(n) + 0.5) / n)
    ln_seen = ln_loss_mean + ln_loss_sd * rng.permutation(z)
    loss = np.exp(ln_seen + shared_sd * rng.permutation(z))
    return Prospect(ln_seen + np.log(grams_per_kg), np.full(n, c), loss, seed_g, step_g)
