"""The one call that fits a book's growth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import TypeVar

import numpy as np

from growthcast.arrays import distinct
from growthcast.book.book import Book
from growthcast.cache import recall, tables_of
from growthcast.fit.borrowing import borrow, with_borrowed
from growthcast.fit.design import Design, build_design, with_spreads
from growthcast.fit.learning import learn_bends, learn_spreads, rising_forms
from growthcast.fit.model.spreads import Spreads
from growthcast.fit.result import CLEARLY, GrowthFit
from growthcast.fit.sites.weights import evidence_for_everything
from growthcast.fit.solver.machine import one_blas_thread
from growthcast.fit.solver.problem import NOBODY, CannotFit, Point, Problem, with_heights_that_count
from growthcast.fit.solver.solve import ROUGHLY, Solution, solve
from growthcast.fit.suspects import settled_without_suspects

MOST_AREAS_TO_LEARN_FROM = 400
"""Larger books learn their spreads and bends from a sample of tanks with about this many areas."""

Answer = TypeVar("Answer")


def last_logged(book: Book) -> date | None:
    """Last date of the log, or None without one.

    Parameters
    ----------
    book : Book
        A checked book.

    Returns
    -------
    date or None
        The last day.
    """
    dates = book.trims.date("date")
    return dates.max().astype("datetime64[D]").item() if dates.size else None


def _learnt_from_a_sample(book: Book, on: date) -> Design:
    """Learn spreads and bends from tanks spread evenly over a large book."""
    tanks = book.tanks.text("tank_id")
    tanks = tanks[distinct(book.areas.places("tank_id", tanks))]
    count = max(1, int(MOST_AREAS_TO_LEARN_FROM / len(book.areas) * tanks.size))
    chosen = tanks[distinct(np.linspace(0, tanks.size - 1, count).astype(int))]
    sample = book.only(chosen.tolist())
    design = build_design(sample, on)
    default = design.spreads
    design = replace(design, problem=_read_weights(design.problem)[0])
    try:
        bends = bool(rising_forms(design, design.problem, judged=False))
        learnt = learn_spreads(design, fitted=bends)  # else nobody asks for the fit of the sample
        return learn_bends(*learnt, default)[0] if bends else learnt[0]
    except CannotFit as fault:  # by its place in the whole book
        whole = np.flatnonzero(np.isin(book.areas.text("area_id"), design.area_id[fault.areas]))
        raise CannotFit(whole) from fault


def _bending_as(design: Design, sample: Design) -> Design:
    """Return a design whose forms bend, and learn their ceilings, as in a sample of its tanks."""
    rises = sample.problem.rises
    if rises is None:
        return design
    priors = replace(design.priors, shape=sample.priors.shape)
    rises = np.isin(design.form, sample.form[rises])
    problem = replace(design.problem, shape=priors.shape[design.species], rises=rises)
    return replace(design, priors=priors, problem=with_heights_that_count(problem))


def fit_growth(book: Book, on: date, spreads: Spreads | None = None) -> GrowthFit:
    """Fit the growth model to a book as it was known on a day.

    Parameters
    ----------
    book : Book
        A checked book (``growthcast.read_book``).
    on : date
        The day for which the fit is made; log rows after it are left out.
    spreads : Spreads, optional
        Spreads of the model, taken as given; learnt from the book when not given.

    Returns
    -------
    GrowthFit
        Posterior of every area's rate and ceiling, every tank's and species' effect. Areas whose
        steps did not settle are marked in ``solution.converged``.
    """
    book = _until(book, on)
    with one_blas_thread():
        fit, failed = on_what_fits(book, lambda part: _fitted(part, on, spreads))
    return fit.but_for(not_fitted=failed, made_from=book)


def recalled_fit(book: Book, on: date) -> GrowthFit:
    """Fit as ``fit_growth`` does, or recall that from the cache where a command has turned it on.

    Parameters
    ----------
    book : Book
        A checked book.
    on : date
        The day for which the fit is made; log rows after it are left out.

    Returns
    -------
    GrowthFit
        What ``fit_growth`` returns, to the last bit.
    """
    book = _until(book, on)
    with one_blas_thread():
        fit = recall(
            lambda: fit_growth(book, on).but_for(made_from=None), "fit", tables_of(book), on
        )
    return fit.but_for(made_from=book)


def _until(book: Book, on: date) -> Book:
    late = book.trims.date("date") > np.datetime64(on, "D")
    return replace(book, trims=book.trims.keep(~late)) if late.any() else book


def _fitted(book: Book, on: date, spreads: Spreads | None) -> GrowthFit:
    design = build_design(book, on, spreads)
    if spreads is None and design.area_id.size > MOST_AREAS_TO_LEARN_FROM:
        sample = _learnt_from_a_sample(book, on)
        spreads = sample.spreads
        design = with_spreads(_bending_as(design, sample), spreads)
    problem, start, evidence = _read_weights(design.problem)
    if spreads is not None:
        solution = settled_without_suspects(solve(problem, start, tolerance=ROUGHLY))
        return _settled(book, replace(design, problem=solution.problem), solution, evidence)
    default = design.spreads
    design, solution = learn_spreads(replace(design, problem=problem), start)
    design, solution = learn_bends(design, solution, default)
    return _settled(book, design, solution, evidence)


def _settled(book: Book, design: Design, solution: Solution, evidence: float | None) -> GrowthFit:
    """Let tanks borrow from each other where it wins, and return the fit."""
    borrowed = borrow(solution, design.conditions, design.water_depth_cm, design.on_day)
    if borrowed.model != "none":
        design = replace(design, problem=with_borrowed(design.problem, borrowed))
        solution = solve(design.problem, solution.point)
    practice = book.practice
    fit = GrowthFit(
        design=design,
        solution=solution,
        borrowed=borrowed,
        widening=practice.widening,
        evidence_for_everything=evidence,
        grams_said=practice.whole_tank_grams,
    )
    finite = np.isfinite(fit.border_mean).all(axis=0) & np.isfinite(fit._last_nodes["stage"])
    if not solution.view.kept:  # of a large book, and known again where it is asked for
        solution.view.filtered.clear()
    if not finite.all():
        raise CannotFit(np.flatnonzero(~finite))
    return fit


def _read_weights(problem: Problem) -> tuple[Problem, Point | None, float | None]:
    """Settle from the log what whole tanks' weights hold, where nobody says it.

    Returns with the problem where a fit begins, and by how much (log likelihood) "everything" is
    the likelier. Asked of a fit that has not heard the weights, which would agree with either.
    """
    if problem.weights.said.all():
        return problem, None, None
    unheard = replace(
        problem, blocks=tuple(replace(block, members=NOBODY) for block in problem.blocks)
    )
    solution = solve(unheard, tolerance=ROUGHLY)
    evidence = evidence_for_everything(replace(solution.view, problem=problem))
    if evidence < -CLEARLY:
        problem = replace(problem, weights=problem.weights.as_rest())
    return problem, solution.point, evidence


def on_what_fits(book: Book, attempt: Callable[[Book], Answer]) -> tuple[Answer, dict[str, str]]:
    """Try something on a book; tanks whose log cannot be fitted rest on the table.

    Returns the answer with the ids of these tanks and why.

    Parameters
    ----------
    book : Book
        A checked book.
    attempt : callable
        What is tried; it may raise ``CannotFit``.

    Returns
    -------
    tuple
        The answer, and for each tank left to the table by its id why.
    """
    failed: dict[str, str] = {}
    while True:
        try:
            return attempt(book), failed
        except CannotFit as fault:
            areas = book.areas.text("area_id")[fault.areas]
            tanks = book.areas.text("tank_id")[fault.areas]
            logged = book.trims.text("tank_id")
            if not np.isin(logged.astype(str), tanks.astype(str)).any():
                raise
            for tank in sorted(set(tanks.tolist())):
                named = ", ".join(areas[tanks == tank][:3])
                failed[tank] = f"no growth explains the log rows of {named}"
            rows = ~np.isin(logged.astype(str), tanks.astype(str))
            book = replace(book, trims=book.trims.keep(rows))


def known_before(book: Book, day: float) -> Book:
    """Return the book as it was known at the end of the day before ``day``.

    Parameters
    ----------
    book : Book
        The whole book.
    day : float
        Day number (days since 1970-01-01) [d].

    Returns
    -------
    Book
        Log rows, conditions and agreed heights dated before ``day``; areas planted before it, and
        those that were taken out later still standing. What the other tables say of an area carries
        no date and is taken as known.
    """
    limit = np.datetime64(int(day), "D")
    areas, trims, conditions = book.areas, book.trims, book.conditions
    planted = ~(areas.date("planted_on") >= limit)  # a blank date is before our time
    removed_on = areas.date("removed_on").copy()
    removed_on[removed_on >= limit] = np.datetime64("NaT")
    standing = replace(areas, columns={**areas.columns, "removed_on": removed_on}).keep(planted)
    return replace(
        book,
        areas=standing,
        trims=trims.keep(trims.date("date") < limit),
        bounds=book.bounds.keep(book.bounds.date("from_date") < limit),
        conditions=conditions.keep(conditions.date("from_date") < limit),
    )
