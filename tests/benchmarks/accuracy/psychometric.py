"""A detection curve fitted to found-or-missed: probability found against signal-to-noise."""

import math

import numpy as np
from scipy import optimize, special

BINS = (0, 3, 4, 5, 6, 7, 8, 10, 12, 16, 24, 1000)


def wilson(found, total, z=1.959964):
    """95 % score interval of a share (Wilson 1927)."""
    if total == 0:
        return 0.0, 1.0
    share = found / total
    middle = share + z * z / (2 * total)
    half = z * math.sqrt(share * (1 - share) / total + z * z / (4 * total * total))
    whole = 1 + z * z / total
    return max(0.0, (middle - half) / whole), min(1.0, (middle + half) / whole)


def curve(d_prime, mean_log, spread_log, lapse):
    return (1 - lapse) * special.ndtr((np.log(d_prime) - mean_log) / spread_log)


def fit(d_prime, found, start=None):
    """(mean of log d', its spread, share missed however strong), by maximum likelihood.

    A cumulated normal in log d': 0 at no signal, and the shape of a threshold whose place varies
    from feature to feature. None where all or none were found.
    """
    d_prime, found = np.asarray(d_prime, float), np.asarray(found, bool)
    if len(d_prime) < 8 or found.all() or not found.any():
        return None

    def loss(p):
        if not (0.03 <= p[1] <= 3 and 0 <= p[2] <= 0.5):
            return 1e9
        chance = np.clip(curve(d_prime, *p), 1e-4, 1 - 1e-4)
        return -np.log(np.where(found, chance, 1 - chance)).sum()

    starts = [start] if start else [(math.log(m), s, 0.01) for m in (5, 12) for s in (0.15, 0.5)]
    best = min(
        (optimize.minimize(loss, s, method="Nelder-Mead", options={"maxiter": 300}) for s in starts),
        key=lambda r: r.fun,
    )
    return tuple(best.x)


def point_at(parameters, share):
    """The d' at which `share` are found; None beyond what the curve reaches or 1000."""
    if parameters is None:
        return None
    mean_log, spread_log, lapse = parameters
    if share >= 1 - lapse:
        return None
    at = math.exp(mean_log + spread_log * special.ndtri(share / (1 - lapse)))
    return at if at < 1000 else None


def interval(d_prime, found, groups, share, rounds=40, seed=1):
    """95 % interval of the point at `share`, by drawing whole pictures again (bootstrap)."""
    rng = np.random.default_rng(seed)
    d_prime, found, groups = np.asarray(d_prime), np.asarray(found), np.asarray(groups)
    names = np.unique(groups)
    members = [np.flatnonzero(groups == n) for n in names]
    points, start = [], fit(d_prime, found)
    for _ in range(rounds):
        drawn = np.concatenate([members[i] for i in rng.integers(0, len(names), len(names))])
        point = point_at(fit(d_prime[drawn], found[drawn], start), share)
        points.append(math.inf if point is None else point)
    low, high = np.percentile(points, [2.5, 97.5], method="nearest")
    return low, high


def binned(d_prime, found):
    """(low, high, found, total) by bins of d'."""
    d_prime, found = np.asarray(d_prime), np.asarray(found, bool)
    rows = []
    for low, high in zip(BINS, BINS[1:]):
        inside = (d_prime >= low) & (d_prime < high)
        rows.append((low, high, int(found[inside].sum()), int(inside.sum())))
    return rows
