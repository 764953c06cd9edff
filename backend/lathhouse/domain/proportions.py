"""Shares and what a count of them can bear: intervals of a proportion."""

import math

# The lower edge of an 80 % interval: nine in ten turn out at least so well. The normal quantile.
Z_80 = 1.2815515655446004


def wilson(successes: float, trials: float, z: float) -> tuple[float, float]:
    """Return the lowest and the highest share that a count bears.

    Wilson, E. B. (1927): Probable inference, the law of succession, and statistical inference.
    Journal of the American Statistical Association 22 (158), 209-212. It keeps its width where
    nothing or everything succeeded, which plus or minus so many standard errors does not.
    """
    share, squared = successes / trials, z * z
    scale = 1 + squared / trials
    middle = share + squared / (2 * trials)
    spread = z * math.sqrt(share * (1 - share) / trials + squared / (4 * trials * trials))
    low, high = (middle - spread) / scale, (middle + spread) / scale
    return (0.0 if successes == 0 else low), (1.0 if successes == trials else high)
