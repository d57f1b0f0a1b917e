"""Ten thousand random engines, faults, policies and rounds: what no round may ever do.

The lock is written again here, cylinder by cylinder in plain arithmetic from its rules, so that the
arrays of `distrib.fuelling.lock` are held against something that shares no line with them.
"""

from __future__ import annotations

import math
from statistics import median

import numpy as np
import pytest

from distrib import fuelling as f
from distrib.fuelling.trims import Policy
from distrib.results import FloatArray

from .simulated import Engine

ENGINES = 10_000
"""Of each policy."""
ROUNDS = 6


def engines(cells: int, rng: np.random.Generator) -> Engine:
    """Random engines of 2 to 8 cylinders with wrong injectors, sensors, probes and base maps."""
    n = int(rng.integers(2, 9))
    shape = (cells, n)

    def faulty(chance: float, low: float, high: float) -> FloatArray:
        return np.where(rng.random(shape) < chance, rng.uniform(low, high, shape), 1.0)

    return Engine(
        rng.uniform(0.70, 1.05, cells), np.exp(rng.normal(0.0, rng.choice([0.01, 0.04]), shape)),
        faulty(0.1, 0.85, 1.1), faulty(0.1, 0.9, 1.1), rng.normal(0.0, rng.choice([1.0, 10.0]),
                                                                  shape),
        np.where(rng.random(shape) < 0.01, 1.0, 0.0), rng.uniform(0.85, 1.15, cells),
        np.round(rng.uniform(-6.0, 6.0, shape) * rng.integers(0, 2), 1),
        float(rng.choice([0.0, 0.0, 0.3])), float(rng.choice([0.0, 0.003, 0.02])), 2.0, rng)


def blanked(run: f.Run, rng: np.random.Generator) -> f.Run:
    """A run as people fill it in: some of it blank."""
    def some(values: FloatArray, chance: float) -> FloatArray:
        return np.where(rng.random(values.shape) < chance, np.nan, values)

    return f.Run(some(run.lambda_read, 0.01), run.trim_percent, some(run.exhaust_k, 0.02),
                 some(run.knock, 0.02))


def agrees(run: f.Run, p: int, c: int, target: float) -> bool:
    """One run alone: rich by more than 1 %, exhaust as cool as that, knock watched and none."""
    lam, exhaust, knock = (v[p].tolist() for v in (run.lambda_read, run.exhaust_k, run.knock))
    if any(math.isnan(x) for x in (*lam, *exhaust, *knock)) or any(k > 0.0 for k in knock):
        return False
    if target > 0.95 or max(lam) > 0.95 or lam[c] >= 0.99 * target:
        return False
    others = [k for k in range(len(lam)) if k != c]
    richer = 100.0 * (lam[c] / median(lam[k] for k in others) - 1.0)
    return bool(exhaust[c] - median(exhaust[k] for k in others) <= 5.0 + 5.0 * richer + 1e-9)


@pytest.mark.parametrize("policy", f.MEASURED_POLICIES)
def test_random_engines(policy: Policy) -> None:
    """Fuel of a cylinder is (1 + base)(1 + trim); also with the base map left as it is."""
    rng = np.random.default_rng(20 + f.MEASURED_POLICIES.index(policy))
    each, done, removals, unlocked = 50, 0, 0, 0
    while done < ENGINES:
        done += each
        engine = engines(each, rng)
        step = float(rng.uniform(0.05, 1.0))
        limits = f.limits({}, measured_cap_percent=float(rng.uniform(1.0, 8.0)))
        cap, before = limits.measured_cap_percent, None
        for _ in range(ROUNDS):
            run = blanked(engine.read(), rng)
            made = f.next_round(run, engine.target, policy=policy, step=step, before=before,
                                limits=limits, air_following_fraction=engine.follows)
            now, then, base = run.trim_percent, made.trims.trim_percent, made.trims.base_percent
            assert np.isfinite(then).all() and np.isfinite(base).all()
            assert np.all(np.abs(then) <= np.maximum(cap, np.abs(now)) + 1e-9)
            total = (1.0 + base[:, None] / 100.0) * (1.0 + then / 100.0)
            for fuel in (total, 1.0 + then / 100.0):
                less = fuel < (1.0 + now / 100.0) * (1.0 - 1e-12)
                for p, c in np.argwhere(less):
                    target = float(engine.target[p])
                    removals += 1
                    assert policy != "richen-only"
                    assert run.lambda_read[p, c] < 0.99 * target
                    assert agrees(run, p, c, target)
                    assert before is not None and agrees(before, p, c, target)
                    assert before.trim_percent[p, c] <= now[p, c] + 0.061
                    assert not (np.array_equal(run.lambda_read[p], before.lambda_read[p])
                                and np.array_equal(run.exhaust_k[p], before.exhaust_k[p]))
                    # and not below what either reading asks for (all fuel at the ports: by hand)
                    if engine.follows == 0.0:
                        need = max((1.0 + r.trim_percent[p, c] / 100.0) * r.lambda_read[p, c]
                                   / target for r in (run, before))
                        assert fuel[p, c] >= need * (1.0 - 1e-9)
            unlocked += int(made.lock.open.sum())
            before = run
            if rng.random() < 0.2:  # the same sheet brought back twice
                again = f.next_round(run, engine.target, policy=policy, before=run, limits=limits)
                assert not again.lock.open.any()
            engine.apply(made)
    assert (removals > 100 and unlocked > 100) or policy == "richen-only"
