"""A TOML file that the user wrote, or one line on what is wrong with it."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from jointload.errors import InputError, not_read

HOW = "words in quotes, decimals with a point"


def read_toml(path: Path, what: str, option: str, error: type[InputError]) -> dict[str, Any]:
    """The keys of a file, byte order mark or not; `error` says that `what` is unreadable, or where it is no TOML.

    option : the words of the command line that name the file, such as 'give --rider'
    """
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as problem:
        raise error(not_read(f"{what} file", "a readable TOML file", problem, path, option)) from None
    except UnicodeDecodeError as problem:
        raise error(not_read(f"{what} file", "TOML", problem, path, option)) from None
    except tomllib.TOMLDecodeError as problem:
        raise error(f"{what} file: expected TOML, found {problem} in {path}; mend that line: {HOW}") from None
