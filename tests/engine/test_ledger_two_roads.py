"""Two roads to a field's mean: closed forms, chains against the grid, and a long MCMC run on a density of its own."""

from __future__ import annotations

import math

import emcee
import numpy as np
import pytest
from made_catches import DESIGN_PAN, PRIORS, counted, weighed
from made_fields import about, check, ln_ratio
from scipy import special, stats

from chaffinch.engine import exposure
from chaffinch.engine.catch import PAN_SD
from chaffinch.engine.estimate import Prior, default_prior, range_of
from chaffinch.engine.evidence import LN_LOSS, evidence
from chaffinch.engine.exposure import WIDTH_SD
from chaffinch.engine.ledger.chains import Cloud, Piece, cloud_of_evidence, cloud_of_joint, walk
from chaffinch.engine.ledger.check import field_check
from chaffinch.engine.ledger.field import FieldCheck, FieldEntry, field_loss
from chaffinch.engine.ledger.levels import Spread
from chaffinch.engine.ledger.shared import DRAWS
from chaffinch.engine.ledger.sharing import SharedNames
from chaffinch.engine.sources import locate
from chaffinch.errors import InputError

PRIOR = Prior(40.0)
NAMES = SharedNames(("width", "c"), ("TKW", "canola"))


@pytest.mark.parametrize("count", [1, 3])
def test_lognormal_checks_and_known_spread_have_a_closed_form(count):
    """ln(check) ~ N(ln λ_j, s²), τ known, a huge field: ln(area mean) is normal, with the moments of a normal mean."""
    tau, s, losses = 0.4, 0.25, (30.0, 70.0, 55.0)[:count]
    entry = FieldEntry("a", 1e6, [check(v, s) for v in losses], priors={"machine": PRIOR}, spread=Spread(tau, 1e-3))
    precision = 1.0 / 1.3**2 + count / (tau**2 + s**2)
    centre = (math.log(40.0) / 1.3**2 + sum(map(math.log, losses)) / (tau**2 + s**2)) / precision + tau**2 / 2

    found = field_loss(entry, seed=1).total.kg_ha

    for ours, z in ((found.low, -1.6449), (found.median, 0.0), (found.high, 1.6449)):
        # 0.034 sd is what the draws leave at an end, 0.02 in the middle.
        assert math.log(ours) == pytest.approx(centre + z / math.sqrt(precision), abs=0.04 / math.sqrt(precision))


def test_chains_against_linear_algebra():
    """Normal pieces, two τ known, a prior: θ is normal with mean and covariance in closed form."""
    rows = np.array([[1.0, 0.0], [1.0, 1.0], [1.0, -1.0], [0.0, 1.0]])
    centres, sds, taus = np.array([3.0, 4.2, 2.5, 0.6]), np.array([0.2, 0.3, 0.25, 0.2]), np.array([0.3, 0.5])
    which = (0, 0, 1, 1)
    grid = np.linspace(-3.0, 3.0, 201)
    pieces = [
        Piece(Cloud(("machine",), (c + s * grid)[:, None], -0.5 * grid**2), row[None, :], (w,))
        for c, s, row, w in zip(centres, sds, rows, which, strict=True)
    ]
    prior_mean, prior_sd = np.array([3.5, 0.0]), np.array([1.3, 0.5])
    noise = 1.0 / (sds**2 + taus[list(which)] ** 2)
    cov = np.linalg.inv((rows.T * noise) @ rows + np.diag(1.0 / prior_sd**2))
    mean = cov @ ((rows.T * noise) @ centres + prior_mean / prior_sd**2)

    found = walk(pieces, prior_mean, prior_sd, [Spread(float(t), 1e-3) for t in taus], rng=np.random.default_rng(1))

    assert found.theta.shape == (DRAWS, 2)
    # Chains side by side are as good as 1,000 draws or more: 4 standard errors of mean and sd.
    sd = np.sqrt(np.diag(cov))
    assert np.abs(found.theta.mean(axis=0) - mean).max() < 4 * sd.max() / math.sqrt(1000)
    assert found.theta.std(axis=0) == pytest.approx(sd, rel=4 / math.sqrt(2 * 1000))
    assert found.spread.mean(axis=0) == pytest.approx(taus, rel=0.01)


@pytest.mark.parametrize("masses", [((12.5,),), ((0.0, 0.2),), ((12.5, 9.8), (30.0, 22.0), (7.0, 8.1))])
def test_chains_against_the_grid(masses):
    """The same evidence by both roads: ends within what 4,096 and about 1,000 draws leave, 0.1 sd."""
    seen = [evidence([weighed(m) for m in pans], "machine") for pans in masses]
    grid, chains = (
        field_loss(FieldEntry("a", 62.0, checks), seed=1).total.kg_ha
        for checks in (
            [FieldCheck({"machine": one}) for one in seen],
            [FieldCheck({}, together=cloud_of_evidence("machine", one)) for one in seen],
        )
    )

    sd = ln_ratio(grid) / 3.29
    for a, b in ((grid.low, chains.low), (grid.median, chains.median), (grid.high, chains.high)):
        assert abs(math.log(a / b)) < 0.13 * sd


@pytest.mark.slow
def test_one_field_against_a_long_mcmc_run():
    """Three checks of one, two and three pans in 62 ha: (m, ln τ, every ln λ_j, every ln c_j) outright, then the mean.

    3 % of the posterior sd (design §4.6), plus 0.034 sd for our draws and three errors of the chain's own.
    """
    pans = [(12.5,), (30.0, 18.0), (6.0, 9.5, 4.2)]
    area_m2, seed_g = DESIGN_PAN.machine_m2, 0.0035
    checks = len(pans)

    def log_density(x):
        m, ln_tau, loss, z_c = x[:, 0], x[:, 1], x[:, 2 : 2 + checks], x[:, 2 + checks :]
        total = -0.5 * ((m - math.log(40.0)) / 1.3) ** 2 - 0.5 * ((ln_tau - math.log(0.4)) / 0.5) ** 2
        total = total - 0.5 * (((loss - m[:, None]) / np.exp(ln_tau)[:, None]) ** 2).sum(axis=1) - checks * ln_tau
        total -= 0.5 * (z_c**2).sum(axis=1)
        for j, masses in enumerate(pans):
            mean = 0.1 * np.exp(loss[:, j]) * area_m2
            variance = (0.4 * np.exp(0.35 * z_c[:, j]) * mean) ** 2 + seed_g * mean
            for mass in masses:
                k, theta = mean**2 / variance, variance / mean
                total += (k - 1) * math.log(mass) - mass / theta - special.gammaln(k) - k * np.log(theta)
        total[np.any(np.abs(z_c) > 4, axis=1) | (np.abs(ln_tau - math.log(0.4)) > 1.5) | ~np.isfinite(total)] = -np.inf
        return total

    walkers, steps, burn = 64, 4000, 800
    rng = np.random.default_rng(3)
    start = np.concatenate([[math.log(40.0), math.log(0.4)], np.full(checks, math.log(40.0)), np.zeros(checks)])
    np.random.seed(3)  # noqa: NPY002 (emcee draws from numpy's global state)
    chain = emcee.EnsembleSampler(
        walkers,
        start.size,
        log_density,
        vectorize=True,
        moves=[(emcee.moves.DEMove(), 0.8), (emcee.moves.StretchMove(), 0.2)],
    )
    chain.run_mcmc(start + 0.1 * rng.standard_normal((walkers, start.size)), steps)
    tau_int = chain.get_autocorr_time(discard=burn, tol=0).max()
    draws = chain.get_chain(discard=burn, thin=10, flat=True)
    effective = walkers * (steps - burn) / tau_int
    # The mean over 62 places: three as sampled, 59 drawn outright.
    places = np.exp(draws[:, :1] + np.exp(draws[:, 1:2]) * rng.standard_normal((len(draws), 62 - checks)))
    theirs = np.log((places.sum(axis=1) + np.exp(draws[:, 2 : 2 + checks]).sum(axis=1)) / 62)
    seen = [FieldCheck({"machine": evidence([weighed(m) for m in masses], "machine")}) for masses in pans]

    ours = np.log(field_loss(FieldEntry("a", 62.0, seen), seed=1).draws["machine"])

    assert effective > 2500
    sd = theirs.std()
    for p in (0.05, 0.5, 0.95):
        bound = 0.03 + 0.034 + 3 * math.sqrt(p * (1 - p) / effective) / stats.norm.pdf(stats.norm.ppf(p))
        assert abs(np.quantile(ours, p) - np.quantile(theirs, p)) < bound * sd, p


BEHIND = [weighed(g, exposure.behind(0.5, 12.0, 2.0), tkw_g=40.0) for g in (22.0, 31.0, 26.0)]
STRIP = [weighed(g, exposure.in_header_strip(1.0), tkw_g=40.0) for g in (2.1, 3.3)]


@pytest.mark.parametrize("catches", [BEHIND, STRIP + BEHIND], ids=["behind only", "strip and behind"])
def test_a_field_whose_places_are_alike_is_its_check(catches):
    """With τ → 0 a field of one check is the check's own joint posterior: sources, and their sum as a sum."""
    joint = locate(catches, PRIORS, width_sd=0.08)
    found = []
    for seed in range(6):
        one = field_check(catches, PRIORS, NAMES, width_sd=0.08, seed=seed)
        entry = FieldEntry("a", 62.0, [one], priors=PRIORS, spread=Spread(0.02, 0.1))
        found.append(field_loss(entry, seed=seed))

    own_total, own_machine = range_of(joint.of(*joint.sources)), range_of(joint.of("machine"))
    for own, ranges in (
        (own_total, [one.total.kg_ha for one in found]),
        (own_machine, [one.sources["machine"].kg_ha for one in found]),
    ):
        sd = ln_ratio(own) / 3.29
        # 512 points stand for the joint posterior: what lies in a long tail is known to 0.25 sd, six such to 0.1.
        for end in ("low", "median", "high"):
            mean = np.mean([math.log(getattr(one, end)) for one in ranges])
            assert abs(mean - math.log(getattr(own, end))) < 0.2 * sd, end


def test_a_sum_seen_as_a_sum_stays_sharper_than_its_parts():
    one = field_check(BEHIND, PRIORS, NAMES, width_sd=0.08)
    together = field_loss(FieldEntry("a", 62.0, [one] * 3, priors=PRIORS), seed=1)
    rows = [together.draws[s] for s in ("header", "machine")]

    assert ln_ratio(together.total.kg_ha) < 0.7 * ln_ratio(together.sources["header"].kg_ha)
    # What one source takes the other must give.
    assert np.corrcoef(np.log(rows))[0, 1] < -0.1


def test_one_source_read_one_way_is_evidence_with_its_errors_named():
    pan = field_check([weighed(12.5)] * 2, PRIORS, NAMES, width_sd=0.08)
    count = field_check([counted(40, exposure.in_standing_crop(0.5))] * 2, PRIORS, NAMES, width_sd=0.08)

    assert pan.sources == ("machine",)
    assert np.array_equal(
        pan.evidence["machine"].log_likelihood, evidence([weighed(12.5)] * 2, "machine").log_likelihood
    )
    assert pan.shared["machine"] == {("pan",): PAN_SD, ("width", "c"): WIDTH_SD["guessed"]}
    assert count.shared["standing"] == {("pan",): PAN_SD, ("TKW", "canola", "counted"): 0.08}


def test_several_sources_are_a_cloud_and_only_the_machine_leans_on_the_width():
    one = field_check(STRIP + BEHIND, PRIORS, NAMES, width_sd=0.08, weight_ha=20.0)

    assert one.sources == ("standing", "header", "machine")
    assert one.weight_ha == 20.0
    assert ("width", "c") in one.shared["machine"]
    assert ("width", "c") not in one.shared["header"]


def test_a_leak_is_put_back_to_its_machine_when_asked():
    leak = weighed(120.0, exposure.leaking(10.0, 5.4, 12.0), tkw_g=40.0)
    pans = [weighed(m, DESIGN_PAN, tkw_g=40.0) for m in (14.0, 11.0)]
    apart, back = (
        field_check([*pans, leak], PRIORS, NAMES, width_sd=0.08, leak_with_machine=fold) for fold in (False, True)
    )

    assert apart.sources == ("machine", "leak")
    assert back.sources == ("machine",)
    sums = np.exp(apart.together.ln_loss).sum(axis=1)
    assert np.exp(back.together.ln_loss[:, 0]) == pytest.approx(sums)


def test_clouds_of_a_joint_posterior_hold_its_likelihood():
    """The prior is divided out: weighted with the prior again, the cloud has the posterior's mean."""
    joint = locate(STRIP + BEHIND, PRIORS, width_sd=0.08)
    cloud = cloud_of_joint(joint, PRIORS)
    z = np.stack([(cloud.ln_loss[:, i] - math.log(PRIORS[s].median_kg_ha)) / 1.3 for i, s in enumerate(cloud.sources)])
    weight = np.exp(cloud.log_weight - 0.5 * (z**2).sum(axis=0))

    assert weight == pytest.approx(np.full(weight.size, weight[0]))
    for i in range(3):
        theirs = joint.weights @ np.log(joint.caught_kg_ha[:, i])
        # 512 points know a mean to sd/√512; 4 of them.
        assert abs(cloud.ln_loss[:, i].mean() - theirs) < 4 * cloud.ln_loss[:, i].std() / math.sqrt(512)


def test_nothing_to_learn_from_is_refused():
    with pytest.raises(InputError, match="catches"):
        field_check([], PRIORS, NAMES, width_sd=0.08)
    with pytest.raises(InputError, match="checks"):
        walk([], np.zeros(1), np.ones(1), [Spread()], rng=np.random.default_rng(1))


def test_evidence_thinned_to_a_cloud_keeps_its_mean():
    seen = about(50.0, 0.3)
    cloud = cloud_of_evidence("machine", seen)
    weight = np.exp(cloud.log_weight)

    assert cloud.ln_loss.shape[0] <= 161
    assert LN_LOSS[0] < cloud.ln_loss.min() < cloud.ln_loss.max() < LN_LOSS[-1]
    assert weight @ cloud.ln_loss[:, 0] / weight.sum() == pytest.approx(math.log(50.0), abs=1e-3)


def test_a_drip_below_the_grid_of_losses_is_told_as_what_it_is():
    """A minute of leak caught at 6 km/h stands for 1,200 m²: 1.5 g are 0.0125 kg/ha, and the grid begins at 0.05."""
    seen_by = exposure.leaking(60.0, 6.0, 12.0)

    def check(grams):
        return field_check([weighed(grams, seen_by)], {"leak": default_prior("leak", None)}, NAMES, width_sd=0.08)

    drips = [check(g) for g in (1.5, 1.2, 2.0, 1.1, 1.7, 1.4)]
    found = field_loss(FieldEntry("Long Hollow", 50.0, drips), seed=1).sources["leak"].kg_ha

    assert all(one.together is not None for one in drips)
    # The mean of the catches, 1.48 g, is 0.0124 kg/ha; the spread between places stays open by a factor.
    assert found.low < 0.0124 < found.high
    assert found.high < 0.03
    # On the grid there is nothing to mend, and an empty catch says of all lower losses alike.
    assert check(30.0).together is None
    assert check(0.0).together is None
