"""The judgements as draws, in the form in which learned draws come: learning before any corpus."""

from __future__ import annotations

import numpy as np

from dating.arrays import Floats
from dating.learning.comparison import judged_values
from dating.learning.gauges import MEAN_DOUBT, SPREAD_DOUBT
from dating.learning.lags import LAG_DOUBT, RATIO_DOUBT
from dating.learning.layout import CHANCE_DOUBT, SHARE_DOUBT, Layout, layout_of
from dating.learning.learned import Learned
from dating.learning.walk import DEVIATION, SCALE_DOUBT, STEP
from dating.maker import Maker


def prior_draws(maker: Maker, seed: int = 1) -> Learned:
    """Draw everything uncertain from the judgements and their doubts, as learning starts from.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> draws = prior_draws(read_maker("priors/marrowby.yaml"))
    >>> bool(abs(draws.shares.sum(axis=-1).max() - 1) < 1e-12)
    True
    """
    layout = layout_of(maker)
    values = judged_values(layout, seed)
    count, generator = len(values), np.random.default_rng((seed, 7))
    features = [feature for _, feature in maker.features().values()]
    stated = [mean for gauge in layout.gauges for mean in gauge.stated]
    spread = [gauge.spread for gauge in layout.gauges for _ in gauge.stated]
    moved = MEAN_DOUBT * generator.standard_normal((count, len(stated)))
    gauges = np.array([gauge.spread for gauge in layout.gauges])
    wider = SPREAD_DOUBT * generator.standard_normal((count, len(gauges)))
    return Learned(
        maker_fingerprint=maker.origin.fingerprint,
        corpus_fingerprint="",
        numbers=tuple(layout.numbers),
        values=values,
        shares=_shares(layout.stated_shares, count, generator),
        slip=_chances([feature.slip.value for feature in features], count, generator),
        replaced=_chances([feature.replaced.value for feature in features], count, generator),
        means=np.array(stated) + moved * np.array(spread),
        seed=seed,
        spreads=gauges * np.exp(wider),
        lags=_lags(layout, count, generator),
        output=_output(layout, count, generator),
    )


def _shares(stated: Floats, count: int, generator: np.random.Generator) -> Floats:
    """Draw the shares of mixed regimes, as the model does; shape (draw, track, regime, state)."""
    doubt = generator.standard_normal((count, *stated.shape))
    weighed = stated * np.exp(SHARE_DOUBT * doubt)
    total = weighed.sum(axis=-1, keepdims=True)
    return np.asarray(weighed / np.where(total == 0, 1.0, total))


def _chances(stated: list[float], count: int, generator: np.random.Generator) -> Floats:
    """Draw chances; what is stated as never or always stands."""
    p = np.array(stated)
    open_ = (p > 0) & (p < 1)
    p_inside = np.where(open_, p, 0.5)
    logit = np.log(p_inside) - np.log1p(-p_inside)
    draws = 1 / (1 + np.exp(-(logit + CHANCE_DOUBT * generator.standard_normal((count, len(p))))))
    return np.where(open_, draws, p)


def _lags(layout: Layout, count: int, generator: np.random.Generator) -> Floats:
    """Draw the median and the ratio of every lag; what is stated as one number stands."""
    learned = np.array([lag.learned for lag in layout.lags], dtype=float)
    median = np.array([lag.median for lag in layout.lags])
    later, wider = learned * generator.standard_normal((2, count, len(learned)))
    return np.stack([median * np.exp(LAG_DOUBT * later), np.exp(RATIO_DOUBT * wider)], axis=-1)


def _output(layout: Layout, count: int, generator: np.random.Generator) -> Floats:
    """Draw the share of each month in what was made; none where the output stands."""
    if layout.walk is None:
        return np.zeros((count, 0))
    scales = np.exp(SCALE_DOUBT * generator.standard_normal((count, 2))) * [STEP, DEVIATION]
    return layout.walk.shares(scales, generator.standard_normal((count, len(layout.walk.reach))))
