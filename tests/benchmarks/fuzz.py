"""A coverage-guided fuzzer of every reader, run by hand: no traceback, no hang.

    python -m tests.benchmarks.fuzz --seconds 60

Inputs that reach a new pair of lines in growthcast are kept and changed further. Where ``atheris``
is installed (``pip install atheris``; it is no dependency) ``--atheris`` uses it instead, which is
faster. An input that ends in anything but a finding or a sentence, or takes longer than five
seconds, is written to the folder named with --keep, and the status is 1.
"""

from __future__ import annotations

import argparse
import importlib
import io
import random
import sys
import tempfile
import time
import traceback
import zipfile
from collections.abc import Callable
from datetime import date
from functools import partial
from pathlib import Path
from types import FrameType
from typing import Any

from growthcast.book import read
from growthcast.book.findings import format_findings
from growthcast.book.practice import read_practice
from growthcast.book.sheets.export import book_sheets, xlsx_bytes
from growthcast.book.sheets.load import read_workbook
from growthcast.book.sheets.merge import merge_workbook
from growthcast.book.writing.source import read_source, rewritten
from growthcast.errors import GrowthcastError
from tests.unit.book.small_book import FILES, SPECIES, TODAY, write_book, write_species

LONGEST_S = 5.0
TOKENS = [
    *(bytes([n]) for n in b",;\t\n\r\"\0=[]#'{}.-+e\\/"),
    *(b"nan", b"1e999", b"24,5", b"1.234", b"sep=;\n", b"\xef\xbb\xbf", b"\xff\xfe", b"9" * 30),
    *(
        "１２".encode(),
        "\u202e".encode(),
        b"2026-13-45",
        b"0000-01-01",
        b"9999-12-31",
        b"T1",
        b"A1",
    ),
    *(b'r="XFD1048576"', b'r="A1"', b'table:number-columns-repeated="99"', b"<text:p>", b"</"),
    *(b'table:number-rows-repeated="9999"', b"<c ", b"<row ", b't="s"', b"<v>7</v>", b"&#1;"),
    *(b"_x0041_", b'office:value-type="date"', b'office:date-value="0-0-0"', b"<!DOCTYPE a>"),
]


class Readers:
    """Every reader, as functions of bytes; a small invented book around the part that is fuzzed."""

    def __init__(self, folder: Path) -> None:
        species = write_species(folder / "shipped")
        read.shipped_species_dir = lambda: species  # type: ignore[assignment]
        self.book = write_book(folder / "book", {})
        self.around = write_book(folder / "around", {})
        self.file = folder / "book.zip"
        self.packed = xlsx_bytes(book_sheets(self.book))

    def targets(self) -> dict[str, tuple[Callable[[bytes], None], list[bytes]]]:
        """Return each reader with its first inputs."""
        targets: dict[str, tuple[Callable[[bytes], None], list[bytes]]] = {
            "practice.toml": (self.practice, [FILES["practice.toml"].encode()]),
        }
        for name in ("tanks.csv", "areas.csv", "trims.csv", "conditions.csv", "species.csv"):
            text = FILES.get(name, SPECIES)
            seeds = [text.encode(), text.replace(",", ";").replace(".", ",").encode("cp1252")]
            seeds.append(text.replace("\n", "\r\n").encode("utf-16"))
            targets[name] = (lambda data, name=name: self.table(name, data), seeds)  # type: ignore[misc]
        log = "xl/worksheets/sheet4.xml"
        with zipfile.ZipFile(io.BytesIO(self.packed)) as packed:
            seed = packed.read(log)
        targets["sheet4.xml"] = (lambda new: self.part(self.packed, log, new), [seed])
        targets["workbook"] = (self.workbook, [self.packed])
        return targets

    def practice(self, data: bytes) -> None:
        """Read settings and say what is odd about them."""
        format_findings(read_practice(data)[1])

    def table(self, name: str, data: bytes) -> None:
        """Read a table among correct ones, check the book, take the file apart and back."""
        path = self.around / name
        path.write_bytes(data)
        try:
            book, findings = read.inspect_book(self.around, today=TODAY)
            format_findings(findings)
            source = read_source(self.around, name.removesuffix(".csv"))
            assert rewritten(source, {}, [])[0] == data
            if book is not None:
                self.file.write_bytes(xlsx_bytes(book_sheets(self.around)))
                assert not merge_workbook(self.around, read_workbook(self.file)).files
        finally:
            if name in FILES:
                path.write_text(FILES[name])
            else:
                path.unlink()

    def workbook(self, data: bytes) -> None:
        """Read a workbook and lay it over the book."""
        self.file.write_bytes(data)
        merge_workbook(self.book, read_workbook(self.file))

    def part(self, data: bytes, path: str, new: bytes) -> None:
        """Read a workbook with one part replaced."""
        stream = io.BytesIO()
        with (
            zipfile.ZipFile(io.BytesIO(data)) as old,
            zipfile.ZipFile(stream, "w") as made,
        ):
            for name in old.namelist():
                made.writestr(name, new if name == path else old.read(name))
        self.workbook(stream.getvalue())


def trouble(run: Callable[[bytes], None], data: bytes) -> str | None:
    """Return what went wrong, none where the reader found a sentence for it."""
    began = time.process_time()
    try:
        run(data)
    except GrowthcastError as error:
        str(error)
    except (KeyboardInterrupt, SystemExit):
        raise
    except BaseException:  # noqa: BLE001 - everything else is what is looked for
        return traceback.format_exc()
    took = time.process_time() - began  # the machine may be busy
    return f"took {took:.1f} s" if took > LONGEST_S else None


class Coverage:
    """Pairs of lines of growthcast that ran one after the other."""

    def __init__(self) -> None:
        self.seen: set[tuple[str, int, int]] = set()
        self.fresh = False

    def of(self, run: Callable[[], Any]) -> Any:
        """Run something and note whether it reached anything new."""
        self.fresh = False
        sys.settrace(self._call)
        try:
            return run()
        finally:
            sys.settrace(None)

    def _call(self, frame: FrameType, event: str, arg: Any) -> Any:
        file = frame.f_code.co_filename
        if "/growthcast/" not in file:
            return None
        last = frame.f_lineno

        def line(inner: FrameType, event: str, arg: Any) -> Any:
            nonlocal last
            pair = (file, last, inner.f_lineno)
            last = inner.f_lineno
            if pair not in self.seen:
                self.seen.add(pair)
                self.fresh = True
            return line

        return line


def mutated(data: bytes, corpus: list[bytes], rng: random.Random) -> bytes:
    """Return an input with a few changes."""
    for _ in range(rng.randint(1, 4)):
        at = rng.randint(0, len(data))
        upto = min(len(data), at + rng.randint(0, 12))
        way = rng.randrange(6)
        if way == 0:
            data = data[:at] + rng.choice(TOKENS) + data[upto:]
        elif way == 1:
            data = data[:at] + rng.choice(TOKENS) + data[at:]
        elif way == 2:
            data = data[:at] + data[upto:]
        elif way == 3 and at < len(data):
            data = data[:at] + bytes([data[at] ^ (1 << rng.randrange(8))]) + data[at + 1 :]
        elif way == 4:
            data = data[:upto] + data[at:upto] * rng.randint(1, 8) + data[upto:]
        else:
            other = rng.choice(corpus)
            cut = rng.randint(0, len(other))
            data = data[:at] + other[cut : cut + rng.randint(0, 60)] + data[at:]
    return data[:60_000]


def fuzz(seconds: float, seed: int, keep: Path, only: str | None) -> int:
    """Fuzz every reader for an equal share of the time; return how many inputs broke one."""
    rng, broken = random.Random(seed), 0
    with tempfile.TemporaryDirectory() as name:
        targets = Readers(Path(name)).targets()
        chosen = {only: targets[only]} if only else targets
        for target, (run, seeds) in chosen.items():
            coverage, corpus, tried = Coverage(), list(seeds), 0
            began, kinds = time.perf_counter(), set[str]()
            waiting = list(seeds)
            while time.perf_counter() - began < seconds / len(chosen):
                data = waiting.pop() if waiting else mutated(rng.choice(corpus), corpus, rng)
                told = coverage.of(partial(trouble, run, data))
                tried += 1
                if coverage.fresh:
                    corpus.append(data)
                if told and (kind := told.splitlines()[-1][:90]) not in kinds:
                    kinds.add(kind)
                    broken += 1
                    kept = keep / f"fuzz-{target}-{len(kinds)}"
                    kept.write_bytes(data)
                    print(f"{target}: {kept}\n{told}")
            print(
                f"{target:15s} {tried:7d} inputs, {len(coverage.seen):5d} pairs of lines, "
                f"{len(corpus):4d} kept, {len(kinds)} kinds of trouble",
                flush=True,
            )
    return broken


def with_atheris(seconds: float, only: str) -> None:
    """Let atheris fuzz one reader; it ends the process, with a status above 0 on trouble."""
    import atheris  # type: ignore[import-not-found]

    for loaded in [name for name in sys.modules if name.startswith("growthcast")]:
        del sys.modules[loaded]
    with atheris.instrument_imports(include=["growthcast"]):
        again = importlib.import_module("tests.benchmarks.fuzz")
    folder = Path(tempfile.mkdtemp())
    run, seeds = again.Readers(folder).targets()[only]
    corpus = folder / "corpus"
    corpus.mkdir()
    for number, data in enumerate(seeds):
        (corpus / str(number)).write_bytes(data)

    def one(data: bytes) -> None:
        told = again.trouble(run, data)
        if told:
            raise RuntimeError(told)

    options = [f"-max_total_time={seconds:.0f}", "-timeout=60", "-rss_limit_mb=1500"]
    atheris.Setup([sys.argv[0], *options, "-max_len=20000", str(corpus)], one)
    atheris.Fuzz()


def main() -> None:
    """Fuzz and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--seed", type=int, default=int(date.today().strftime("%Y%m%d")))
    parser.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()))
    parser.add_argument("--only", help="one reader, as trims.csv, practice.toml or workbook")
    parser.add_argument("--atheris", action="store_true")
    asked = parser.parse_args()
    if asked.atheris:
        with_atheris(asked.seconds, asked.only or "trims.csv")
        return
    sys.exit(bool(fuzz(asked.seconds, asked.seed, asked.keep, asked.only)))


if __name__ == "__main__":
    main()
