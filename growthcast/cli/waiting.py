"""Long work on a terminal: after a second, what is done and how long it will take."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Event, Thread
from time import monotonic

from growthcast.steps import LISTENER

PATIENCE_S, EVERY_S = 1.0, 0.1
WAITING = "Writing, or waiting for another growthcast that writes in this book"


@contextmanager
def working(what: str) -> Iterator[None]:
    """Show a bar on stderr while work lasts longer than a second, on a terminal only."""
    if LISTENER.get() is not None or not sys.stderr.isatty():
        yield
        return
    far, done = [0, 0], Event()
    bar = Thread(target=_show, args=(what, far, done), daemon=True)

    def listen(number: int, total: int) -> None:
        far[:] = number, total

    heard = LISTENER.set(listen)
    bar.start()
    try:
        yield
    finally:
        done.set()
        bar.join()
        LISTENER.reset(heard)


def _show(what: str, far: list[int], done: Event) -> None:
    """Draw what is done, how long it has taken and how long it will take, until it is done."""
    began = monotonic()
    if done.wait(PATIENCE_S):
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    parts = (TextColumn("{task.description}"), BarColumn())
    console = Console(stderr=True)
    with Progress(*parts, console=console, transient=True, redirect_stdout=False) as bar:
        task = bar.add_task(what, total=None)
        while not done.wait(EVERY_S):
            number, total = far
            spent = monotonic() - began
            left = f", about {spent / number * (total - number):.0f} s left" if number else ""
            said = f"{what}, {spent:.0f} s{left}"
            bar.update(task, description=said, completed=number, total=total or None)
