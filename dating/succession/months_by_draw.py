"""What was seen on each of several instruments, draw by draw."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dating.arrays import Floats
from dating.engine import Weighing
from dating.evidence_cache import EvidenceCache
from dating.examination import Examination
from dating.magnitudes import Magnitudes
from dating.maker import Maker
from dating.tables import MonthTables


@dataclass(frozen=True, eq=False)
class MonthsByDraw:
    """The build months of several instruments, given each draw.

    Parameters
    ----------
    months : ndarray of float64, shape (instrument, draw, month)
        P(month | draw, evidence on the instrument); sums to one along the months.
    logs : ndarray of float64, shape (instrument, draw)
        ln P(evidence on the instrument | draw), up to a constant for each instrument.
    """

    months: Floats
    logs: Floats


def months_by_draw(
    maker: Maker, tables: MonthTables, examinations: Sequence[Examination]
) -> MonthsByDraw:
    """Weigh what was seen on each instrument in the same draws.

    Parameters
    ----------
    maker : Maker
        The maker file.
    tables : MonthTables
        Month tables whose draws hold every number that instruments share.
    examinations : sequence of Examination
        What was seen.

    Returns
    -------
    MonthsByDraw
        In the order of the examinations.
    """
    cache = EvidenceCache(maker, tables)
    each = [by_draw(cache.weighing(examination)) for examination in examinations]
    return MonthsByDraw(np.stack([m for m, _ in each]), np.stack([logs for _, logs in each]))


def by_draw(weighing: Weighing, joint: Floats | None = None) -> tuple[Floats, Floats]:
    """Give P(month | draw) and ln P(evidence | draw) of one instrument.

    Shapes: joint (draw, month), that of the weighing unless given; gives (draw, month), (draw,).
    """
    if joint is None:
        joint = weighing.joint.sum(axis=1)
    draws, months = len(weighing.tables.weights), joint.shape[-1]
    joint = np.broadcast_to(joint, (draws, months))
    if isinstance(joint, Magnitudes):
        top = joint.power.max(axis=1)
        level = np.where(np.isfinite(top), top, 0.0)
        joint = np.asarray(joint.number * np.exp2(np.maximum(joint.power - level[:, None], -1074)))
        offset = level * np.log(2)
    else:
        offset = np.zeros(draws)
    total = joint.sum(axis=1)
    with np.errstate(divide="ignore"):
        logs = np.log(total) + offset - np.log(weighing.tables.weights)
    months_given = np.full((draws, months), 1 / months)
    np.divide(joint, total[:, None], out=months_given, where=total[:, None] > 0)
    return months_given, logs
