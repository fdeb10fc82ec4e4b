"""growthcast cache: what is kept so that a second answer comes quicker."""

from __future__ import annotations

from growthcast import cache
from growthcast.cli.output import print_answer
from growthcast.errors import UsageError
from growthcast.say.words import count_of


def cache_command(clear: bool, as_json: bool) -> None:
    """Say what is kept to answer sooner when a book has not changed, and where, or delete it.

    Example: growthcast cache --clear

    Exit status: 0 done, 2 bad arguments or what cannot be deleted, 3 the tool itself failed.
    """
    folder, kept = cache.folder(), cache.files()
    if folder is None:
        words = f"Nothing is kept: {cache.VARIABLE} is off."
    elif clear:
        gone = cache.clear()
        if gone < len(kept):
            raise UsageError(f"not all files of {folder} can be deleted")
        words = f"Deleted {count_of(gone, 'answer')} from {folder}."
    else:
        megabytes = sum(size for _, size in kept) / 1e6
        words = (
            f"The cache in {folder} holds {count_of(len(kept), 'answer')} and takes "
            f"{megabytes:.1f} of at most {cache.MOST_BYTES / 1e6:.0f} MB. --clear deletes what it "
            f"holds, {cache.VARIABLE} names another folder or says {cache.OFF}, and a command with "
            "--no-cache does without."
        )
    answer = {"folder": folder and str(folder), "answers": len(kept), "cleared": clear}
    print_answer(as_json, answer, [words])
