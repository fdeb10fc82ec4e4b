"""The commands as typer knows them: it reads what is no plain words, and says what is wrong."""

from __future__ import annotations

from collections.abc import Callable
from inspect import Parameter, Signature
from types import GenericAlias
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from growthcast import cache
from growthcast.book.tables import CONDITION_WORDS
from growthcast.cli.main import COMMANDS, help_of, help_text
from growthcast.cli.options import KINDS, Command, Taken
from growthcast.cli.output import Form, refuse_if


def takes_options(name: str) -> Callable[..., None]:
    """Return a command as typer calls it."""
    command = Command(name)

    def called(**given: Any) -> None:
        command(**given)

    declared = [*map(_declared, command.takes)]
    called.__doc__, vars(called)["__signature__"] = help_of(name), Signature(declared)
    called.__annotations__ = {one.name: one.annotation for one in declared}
    return called


def _declared(one: Taken) -> Parameter:
    told: Any
    default = Parameter.empty if one.required else one.default
    if one.argument:
        told = typer.Argument(metavar=one.argument, help=one.help, show_default=False)
    else:
        said: dict[str, Any] = {"show_default": default not in (None, ""), "metavar": one.takes}
        words = one.help.format(conditions=", ".join(CONDITION_WORDS))
        told = typer.Option(*one.names, help=words, **said)
        told.parser = one.value_of if one.kind == "date" or one.one_of else None
    kind: Any = GenericAlias(list, KINDS[one.kind]) if one.many else KINDS[one.kind]
    annotation = Annotated[kind, told]
    return Parameter(one.name, Parameter.KEYWORD_ONLY, default=default, annotation=annotation)


class _Commands(TyperGroup):
    """The commands by their names; one that is called is imported then."""

    def format_help(self, _: Any, formatter: Any) -> None:
        formatter.write(help_text())

    def get_command(self, _: Any, name: str) -> Any:
        if name not in COMMANDS:
            return None
        alone = typer.Typer(**_PLAIN)
        alone.command(name)(takes_options(name))
        return typer.main.get_command(alone)


_PLAIN: dict[str, Any] = {
    "rich_markup_mode": None,  # plain help starts in a third of the time
    "add_completion": False,
    "pretty_exceptions_enable": False,
}
app = typer.Typer(name="growthcast", cls=_Commands, no_args_is_help=True, **_PLAIN)


def _tell_version(asked: bool) -> None:
    if asked:
        from importlib.metadata import version

        print(f"growthcast {version('growthcast')}")  # noqa: T201
        raise typer.Exit


@app.callback()
def _before_any_command(
    version: bool = typer.Option(False, "--version", callback=_tell_version, is_eager=True),
) -> None:
    """Take the options that stand before any command."""


for _name in COMMANDS:
    app.command(_name)(lambda: None)


def cache_command(clear: bool, form: Form) -> None:
    """Say what is kept to answer sooner when a book has not changed, and where, or delete it.

    Example: growthcast cache --clear

    Exit status: 0 done, 2 bad arguments or what cannot be deleted, 3 the tool itself failed.
    """
    from growthcast.say.words import Answer, count_of, sentence

    folder, kept = cache.folder(), cache.files()
    if folder is None:
        words = f"Nothing is kept: {cache.VARIABLE} is off."
    elif clear:
        gone = cache.clear()
        refuse_if("cache_stays", gone < len(kept), folder=folder)
        words = f"Deleted {count_of(gone, 'answer')} from {folder}."
    else:
        megabytes, most = sum(size for _, size in kept) / 1e6, cache.MOST_BYTES / 1e6
        blanks = {"folder": folder, "count": len(kept), "megabytes": megabytes, "most": most}
        words = sentence("cache_holds", variable=cache.VARIABLE, off=cache.OFF, **blanks)
    answer = {"folder": folder and str(folder), "answers": len(kept), "cleared": clear}
    form.print(answer, Answer(words))
