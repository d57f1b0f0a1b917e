"""Maximum a posteriori fit of a few parameters to measurements, whatever the forward model.

Every parameter has a prior (its law's uncertainty); the data sharpen it or they do not, and the
result says which. Solved by scipy's trust-region least squares on (data residuals, prior
residuals); the posterior is the Gaussian of the curvature at the solution.

Rows that scatter about the fit by more than their stated error say that the error is larger, or the
model lacks something: their error is enlarged by the root of chi-square over the spare rows (as
Birge did for constants of physics, Physical Review 40 (1932) 207, from memory) and the fit is
repeated, so that the bands hold either way. Never below what was stated. A misfit that neighbouring
rows share (a smooth hump) is covered less well than scatter from row to row.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np

from distrib.errors import InputError, NoSolution, Problem
from distrib.results import BoolArray, FloatArray

Z90: Final = 1.6448536269514722
"""Standard normal quantile of 0.95: half-width of a two-sided 90 % interval."""
DETERMINED_BELOW: Final = 0.5
UNDETERMINED_ABOVE: Final = 0.9
"""Posterior over prior standard deviation: below the first the data determine the parameter, above
the second they say next to nothing (design choice)."""
STRONG_CORRELATION: Final = 0.95
MOVED_FAR: Final = 2.0
"""Prior standard deviations beyond which a value has left its prior."""

LEAST_SPARE: Final = 1.0
"""Spare rows below which the scatter about the fit tells nothing."""
SETTLED: Final = 0.01
BY_CHANCE: Final = 0.1
TOLD: Final = 1.2
"""Enlargement from which it is told."""
ROUNDS: Final = 6
"""Repetitions in which the enlargement settles."""

Predict = Callable[[FloatArray], FloatArray]
"""(B, K) parameter sets to (B, M) predictions of the observations."""


@dataclass(frozen=True)
class Parameter:
    """One unknown. On a log scale `prior_sigma` is relative (0.1: about 10 %), else in its unit.

    `prior_sigma` None means no prior at all. `low`, `high` bound the value; `basis` says where the
    prior comes from.
    """

    name: str
    prior: float
    prior_sigma: float | None
    scale: Literal["linear", "log"] = "linear"
    low: float = -np.inf
    high: float = np.inf
    unit: str = "-"
    basis: str = ""


@dataclass(frozen=True)
class Fit:
    """Result of a fit of K parameters to M observations.

    `value` (K,), `low90`/`high90` (K,) 90 % interval, `sigma` (K,) posterior standard deviation on
    the parameter's scale (relative on a log scale), `covariance` (K, K) on that scale.
    `shrink` (K,) posterior over prior sigma (NaN without prior); `verdict` (K,) determined, partly,
    not determined. `residual` (M,) measured minus predicted over its sigma as stated; `predicted`
    (M,). `chi2` sum of their squares, `spare` the rows beyond what the parameters took up (M less
    the trace of the hat matrix), `widened` what the stated errors were multiplied by.
    """

    parameters: tuple[Parameter, ...]
    value: FloatArray
    low90: FloatArray
    high90: FloatArray
    sigma: FloatArray
    covariance: FloatArray
    shrink: FloatArray
    verdict: tuple[str, ...]
    at_limit: BoolArray
    predicted: FloatArray
    residual: FloatArray
    chi2: float
    spare: float
    widened: float
    evaluations: int
    statements: tuple[str, ...]

    def of(self, name: str) -> float:
        """Fitted value of a parameter by name; KeyError if there is none."""
        for parameter, value in zip(self.parameters, self.value, strict=True):
            if parameter.name == name:
                return float(value)
        raise KeyError(name)


def _to_scale(values: FloatArray, logs: BoolArray) -> FloatArray:
    out = np.array(values, dtype=np.float64)
    out[..., logs] = np.log(out[..., logs])
    return out


def _from_scale(theta: FloatArray, logs: BoolArray) -> FloatArray:
    out = np.array(theta, dtype=np.float64)
    out[..., logs] = np.exp(out[..., logs])
    return out


def _check(
    parameters: Sequence[Parameter], observed: FloatArray, sigma: FloatArray
) -> None:
    problems = []
    names = [p.name for p in parameters]
    for p in parameters:
        if names.count(p.name) > 1:
            problems.append(Problem(f"parameter {p.name}", "the name twice", "names once"))
        if p.prior_sigma is not None and p.prior_sigma <= 0.0:
            problems.append(Problem(f"parameter {p.name}", f"prior sigma {p.prior_sigma:g}",
                                    "above 0, or none"))
        if p.scale == "log" and p.prior <= 0.0:
            problems.append(Problem(f"parameter {p.name}", f"{p.prior:g} on a log scale",
                                    "positive values"))
        if not p.low <= p.prior <= p.high:
            problems.append(Problem(f"parameter {p.name}", f"prior {p.prior:g}",
                                    f"{p.low:g} to {p.high:g}"))
    if not parameters:
        problems.append(Problem("fit", "no parameters", "at least one"))
    if observed.ndim != 1 or len(observed) == 0 or not np.isfinite(observed).all():
        problems.append(Problem("observations", "none, or not finite", "finite numbers"))
    if sigma.shape != observed.shape or np.any(sigma <= 0.0) or not np.isfinite(sigma).all():
        problems.append(Problem("observations", "a sigma that is not above 0", "sigma above 0"))
    if problems:
        raise InputError(problems)


class _Posterior:
    """Residuals and their derivatives on the parameters' scale."""

    def __init__(self, predict: Predict, observed: FloatArray, sigma: FloatArray,
                 parameters: Sequence[Parameter]) -> None:
        self.predict, self.observed, self.sigma = predict, observed, sigma
        self.logs: BoolArray = np.array([p.scale == "log" for p in parameters])
        self.prior = _to_scale(np.array([p.prior for p in parameters]), self.logs)
        self.has_prior: BoolArray = np.array([p.prior_sigma is not None for p in parameters])
        self.prior_sigma = np.array([p.prior_sigma or 1.0 for p in parameters])
        size = np.where(self.has_prior, self.prior_sigma, np.maximum(np.abs(self.prior), 1.0))
        self.scale_of_x = size
        self.evaluations = 0

    def model(self, theta: FloatArray) -> FloatArray:
        """Predictions (B, M) of parameter sets (B, K); NoSolution when one is not finite."""
        self.evaluations += len(theta)
        out = np.asarray(self.predict(_from_scale(theta, self.logs)), dtype=np.float64)
        if out.shape != (len(theta), len(self.observed)):
            raise ValueError(f"predict gave shape {out.shape}")
        if not np.isfinite(out).all():
            bad = _from_scale(theta[~np.isfinite(out).all(axis=1)][0], self.logs)
            raise NoSolution(f"the model has no solution at parameters {bad.tolist()}")
        return out

    def residual(self, theta: FloatArray) -> FloatArray:
        """Data residuals, then prior residuals."""
        data = (self.model(theta[None, :])[0] - self.observed) / self.sigma
        prior = ((theta - self.prior) / self.prior_sigma)[self.has_prior]
        return np.concatenate([data, prior])

    def jacobian(self, theta: FloatArray) -> FloatArray:
        """Central differences of all parameters in one batch, step 1e-5 of their scale."""
        k = len(theta)
        h = 1e-5 * self.scale_of_x
        sets = np.concatenate([theta + np.diag(h), theta - np.diag(h)])
        both = self.model(sets)
        data = ((both[:k] - both[k:]) / (2.0 * h[:, None])).T / self.sigma[:, None]
        prior = np.diag(1.0 / self.prior_sigma)[self.has_prior]
        return np.concatenate([data, prior])


def fit_map(
    predict: Predict, observed: FloatArray, sigma: FloatArray, parameters: Sequence[Parameter],
    max_evaluations: int = 60, tolerance: float = 1e-13,
) -> Fit:
    """Fit `parameters` so that `predict` meets `observed` (M,) with standard errors `sigma` (M,).

    The search ends when a step changes the parameters by less than `tolerance` of their size; the
    default leaves rounding only, 1e-5 is far below any measured scatter.

    InputError for impossible priors or data, NoSolution when the model or the fit does not
    converge. A flat parameter that the data do not determine keeps its start value and is said so.
    """
    from scipy.optimize import least_squares

    observed = np.asarray(observed, dtype=np.float64)
    sigma = np.asarray(sigma, dtype=np.float64)
    _check(parameters, observed, sigma)
    post = _Posterior(predict, observed, sigma, parameters)
    low = np.array([p.low for p in parameters], dtype=np.float64)
    high = np.array([p.high for p in parameters], dtype=np.float64)
    with np.errstate(divide="ignore"):
        low, high = _to_scale(np.where(post.logs, np.maximum(low, 0.0), low), post.logs), _to_scale(
            high, post.logs)
    start, widened = np.clip(post.prior, low, high), 1.0
    for _ in range(ROUNDS):
        found = least_squares(
            post.residual, start, jac=post.jacobian, bounds=(low, high),
            method="trf", x_scale=post.scale_of_x, xtol=tolerance,
            ftol=0.1 * tolerance, gtol=max(1e-9, tolerance), max_nfev=max_evaluations,
        )
        if found.status == 0 and not _settled(found):
            raise NoSolution(f"the fit did not settle in {max_evaluations} steps: {found.message}")
        start = np.asarray(found.x)
        spare = _spare(found.jac, len(observed))
        before, widened = widened, widened * _excess(found.fun[:len(observed)], spare, widened)
        if abs(widened / before - 1.0) < SETTLED:
            break
        post.sigma = sigma * widened
    post.sigma = sigma * before
    return _result(post, start, parameters, low, high, before)


def _spare(jacobian: FloatArray, rows: int) -> float:
    """Rows beyond what the parameters took up: M less the trace of the hat matrix."""
    u, s, _ = np.linalg.svd(jacobian, full_matrices=False)
    kept = s > 1e-9 * max(s[0], 1e-300)
    return float(rows - np.sum(u[:rows, kept] ** 2))


def band_factor(chi2: float, spare: float) -> float:
    """What bands of the stated errors are to be multiplied by, for a linear fit with no priors: 1
    where chance explains chi-square."""
    from scipy.stats import chi2 as distribution

    if spare < LEAST_SPARE or distribution.sf(chi2, spare) > BY_CHANCE:
        return 1.0
    return float(max(np.sqrt(chi2 / spare), 1.0) * _quantile(spare) / Z90)


def _excess(data: FloatArray, spare: float, widened: float) -> float:
    """What the errors in use are to be multiplied by; never below those stated.

    A chi-square that chance alone makes so large one time in ten is none to act on."""
    from scipy.stats import chi2

    if spare < LEAST_SPARE:
        return 1.0
    if widened == 1.0 and chi2.sf(float(np.sum(data**2)), spare) > BY_CHANCE:
        return 1.0
    return max(float(np.sqrt(np.sum(data**2) / spare)), 1.0 / widened)


def _settled(found: Any) -> bool:
    """Whether the step still wanted is far below the posterior width (rounding ends the search)."""
    step, *_ = np.linalg.lstsq(found.jac, -found.fun, rcond=1e-9)
    return bool(np.sum((found.jac @ step) ** 2) < 1e-8)


def _result(
    post: _Posterior, theta: FloatArray, parameters: Sequence[Parameter], low: FloatArray,
    high: FloatArray, widened: float,
) -> Fit:
    jacobian = post.jacobian(theta)
    rows = len(post.observed)
    spare = _spare(jacobian, rows)
    if widened > 1.0:
        jacobian[:rows] *= Z90 / _quantile(spare)
    scaled = jacobian * post.scale_of_x
    u, s, vt = np.linalg.svd(scaled, full_matrices=False)
    del u
    kept = s > 1e-9 * max(s[0], 1e-300)
    inverse = np.where(kept, 1.0 / np.where(kept, s, 1.0) ** 2, 0.0)
    covariance = (vt.T * inverse) @ vt * np.outer(post.scale_of_x, post.scale_of_x)
    sigma = np.sqrt(np.clip(np.diag(covariance), 0.0, None))
    lost = (np.abs(vt[~kept]) > 1e-3).any(axis=0) if (~kept).any() else np.zeros(len(s), bool)
    sigma = np.where(lost, np.inf, sigma)
    shrink = np.where(post.has_prior, sigma / post.prior_sigma, np.nan)
    edge = 1e-6 * post.scale_of_x
    at_limit = (theta - low < edge) | (high - theta < edge)
    verdict = tuple(_verdict(x, bool(gone)) for x, gone in zip(shrink, lost, strict=True))
    predicted = post.model(theta[None, :])[0]
    residual = (post.observed - predicted) / (post.sigma / widened)
    chi2 = float(np.sum(residual**2))
    return Fit(
        tuple(parameters), _from_scale(theta, post.logs),
        _from_scale(theta - Z90 * sigma, post.logs), _from_scale(theta + Z90 * sigma, post.logs),
        sigma, covariance, shrink, verdict, at_limit, predicted, residual,
        chi2, spare, widened, post.evaluations,
        (*_about_scatter(chi2, spare, widened), *_statements(
            parameters, verdict, at_limit, covariance, residual,
            np.where(post.has_prior, np.abs(theta - post.prior) / post.prior_sigma, 0.0))),
    )


def _quantile(spare: float) -> float:
    """Student's quantile of 0.95: an error found from few spare rows is uncertain itself."""
    from scipy.stats import t

    return float(t.ppf(0.95, spare))


def _about_scatter(chi2: float, spare: float, widened: float) -> tuple[str, ...]:
    """What chi-square says of the stated errors."""
    if spare < LEAST_SPARE:
        return ("hardly a row is spare: nothing checks the fit, its bands rest on the stated "
                "errors",)
    if widened < TOLD:
        return ()
    return (f"the rows scatter {widened:.1f} times as far as stated (chi-square {chi2:.0f} for "
            f"{spare:.0f} spare rows): a wrong row, or something the model lacks; the bands are "
            "widened by it",)


def _verdict(shrink: float, lost: bool) -> str:
    if lost:
        return "not determined"
    if np.isnan(shrink) or shrink < DETERMINED_BELOW:
        return "determined"
    return "partly" if shrink < UNDETERMINED_ABOVE else "not determined"


def _statements(
    parameters: Sequence[Parameter], verdict: Sequence[str], at_limit: BoolArray,
    covariance: FloatArray, residual: FloatArray, moved: FloatArray,
) -> tuple[str, ...]:
    """What the data could and could not say, in words; `moved` (K,) prior sigmas from the prior."""
    out = []
    open_ones = [(p.name, m) for p, v, m in zip(parameters, verdict, moved, strict=True)
                 if v == "not determined"]
    kept = [name for name, m in open_ones if m <= MOVED_FAR]
    pushed = [name for name, m in open_ones if m > MOVED_FAR]
    if kept:
        out.append("not determined by these data (they keep their prior): " + ", ".join(kept))
    if pushed:
        out.append("pushed far from their prior, yet not determined: " + ", ".join(pushed)
                   + ": they make up for something the model or the rows have wrong")
    for p, hit in zip(parameters, at_limit, strict=True):
        if hit:
            out.append(f"{p.name} runs into its limit: the model cannot follow the data there")
    d = np.sqrt(np.clip(np.diag(covariance), 1e-300, None))
    correlation = covariance / np.outer(d, d)
    for i in range(len(parameters)):
        for j in range(i):
            if abs(correlation[i, j]) > STRONG_CORRELATION:
                out.append(f"{parameters[j].name} and {parameters[i].name} can hardly be told "
                           f"apart (correlation {correlation[i, j]:+.2f})")
    large = np.flatnonzero(np.abs(residual) > 3.0)
    if len(large):
        out.append(f"{len(large)} of {len(residual)} observations miss by more than three standard "
                   "errors as stated: a wrong row, or something the model lacks")
    return tuple(out)
