"""Cuts of which no row tells: from what stood, as the filter knows it, down to the usual height."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.fit.cuts import unsaid_cuts
from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.problem import BORDER, HABIT


def test_the_length_of_an_unsaid_cut_is_what_stood_less_the_usual_cut():
    """By hand: 10 cm, half a stage too low at 2 cm a stage, is 11 cm; cut to 4 cm it lost 7 cm.

    The spread joins 2 cm a stage times 0.3 stages with the 0.8 cm of where people cut.
    """
    nodes = SimpleNamespace(
        link=np.array([Link.FRESH, Link.UNSAID]),
        area=np.zeros(2, dtype=int),
        day=np.array([5.0, 5.0]),
        aim_sd_cm=np.array([np.nan, 0.8]),
    )
    block = SimpleNamespace(
        chains=SimpleNamespace(nodes=nodes, previous=np.array([-1, 0]), unsaid=np.array([1])),
        sites=SimpleNamespace(cut_chance=np.array([0.0, 0.6])),
    )
    at = SimpleNamespace(height_cm=np.array([10.0, 4.0]), observation=np.array([2.0, 1.0]))
    known = SimpleNamespace(mean=np.array([0.5, 0.0]), variance=np.array([0.09, 0.01]))
    border = np.zeros((BORDER, 1))
    border[HABIT] = np.log(4.0)
    solution = SimpleNamespace(
        problem=SimpleNamespace(blocks=[block]),
        view=SimpleNamespace(forward=lambda _: SimpleNamespace(at=at, filtered=known)),
        point=SimpleNamespace(border=border),
    )
    cuts = unsaid_cuts(solution)
    assert cuts.length_cm == pytest.approx([7.0])
    assert cuts.sd_cm == pytest.approx([np.hypot(0.6, 0.8)])
    assert (cuts.day.tolist(), cuts.chance.tolist()) == ([5.0], [0.6])
