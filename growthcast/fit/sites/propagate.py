"""Expectation propagation: what looks and whole tanks' weights say, worked out anew."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from growthcast.fit.sites.looks import sites_of_looks
from growthcast.fit.sites.weights import densities, parts_of, sites_of_weights
from growthcast.fit.solver.problem import Problem
from growthcast.fit.solver.view import View


def propagate(view: View, *, border_known: bool = False) -> Problem:
    """Return the problem with its looks and weights heard at the point of a view.

    With ``border_known`` the parameters of the areas are taken as they stand.
    """
    problem = view.problem
    numbers = range(len(problem.blocks))
    heard = [sites_of_looks(view, number, border_known=border_known) for number in numbers]
    sites, parts = [], []
    for number, (block, (look, known)) in enumerate(zip(problem.blocks, heard, strict=True)):
        part = parts_of(view, number, known)
        if border_known:
            part = replace(part, density_variance=np.zeros(part.area.size))
        site, heard_part = sites_of_weights(problem, block, part, look)
        sites.append(site)
        parts.append(heard_part)
    blocks = tuple(
        replace(block, sites=site) for block, site in zip(problem.blocks, sites, strict=True)
    )
    if border_known or not problem.weights.grams.size:
        return replace(problem, blocks=blocks)
    pooling = replace(problem.pooling, weighed=densities(view, parts))
    return replace(problem, blocks=blocks, pooling=pooling)
