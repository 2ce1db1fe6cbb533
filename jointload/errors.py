"""Every exception of jointload.

JointloadError                  anything jointload raises on purpose
  InputError                    the user's input cannot be used: one clear line, exit code 2
    RecordingError              a C3D file is missing, damaged or of a kind that cannot be read
    LabelError                  a labels.toml names something that is not there
    RiderError                  a rider.toml is incomplete or implausible
    BoardError                  a board.toml is incomplete or implausible
    ShoeError                   a shoe.toml says something unknown or implausible
    PressureError               a pressure table or a sensor layout cannot be used
    CalibrationError            no body can be fitted to the static trial
    ModelDataError              a file in models/ is missing, lacks its source, or an unknown name was asked for
    SettingError                a setting is outside its range or unknown
    OutputError                 the result folder cannot be written
    StudyError                  a study cannot be run or compared: a list of every fault
"""

from __future__ import annotations

from collections.abc import Iterable


class JointloadError(Exception):
    """Anything jointload raises on purpose."""


class InputError(JointloadError):
    """The user's input cannot be used; the message is one line that says what to do next."""


class RecordingError(InputError):
    """A C3D file is missing, damaged or of a kind that cannot be read."""


class LabelError(InputError):
    """A labels.toml names something that is not there."""


class RiderError(InputError):
    """A rider.toml is incomplete or implausible."""


class BoardError(InputError):
    """A board.toml is incomplete or implausible."""


class ShoeError(InputError):
    """A shoe.toml says something unknown or implausible."""


class PressureError(InputError):
    """A pressure table or a sensor layout cannot be used."""


class CalibrationError(InputError):
    """No body can be fitted to the static trial."""


class ModelDataError(InputError):
    """A file in models/ is missing, lacks its source, or an unknown name was asked for."""


class SettingError(InputError):
    """A setting is outside its range or unknown."""


class OutputError(InputError):
    """The result folder cannot be written."""


class StudyError(InputError):
    """A study cannot be run or compared; `faults` holds every reason, one line each."""

    def __init__(self, faults: Iterable[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("; ".join(self.faults))


def expected_found(what: str, expected: object, found: object, where: str, advice: str) -> str:
    """The one line every input error shows: what was expected, what was found, where, what to do next."""
    return f"{what}: expected {expected}, found {found} in {where}; {advice}"


def not_read(what: str, expected: str, problem: Exception, path: object, advice: str) -> str:
    """The line of a file that could not be read: it does not exist, or what was found in its place."""
    if isinstance(problem, FileNotFoundError):
        return f"{what}: {path} does not exist; {advice}"
    found = "no text" if isinstance(problem, UnicodeDecodeError) else getattr(problem, "strerror", None) or problem
    return expected_found(what, expected, found, str(path), advice)


def not_written(problem: OSError, path: object, advice: str) -> str:
    """The line of a new file that could not be written: it exists already, or what stands in its way."""
    if isinstance(problem, FileExistsError):
        return f"output: {path} exists already; {advice}"
    return expected_found("output", "a new file", problem.strerror or problem, str(path), advice)


NAMED = 5
"""Names that one line lists before it counts the rest."""


def some(names: Iterable[str], between: str = ", ") -> str:
    """Names in a row; after NAMED of them the rest are counted."""
    names = list(names)
    more = [f"{len(names) - NAMED} more"] if len(names) > NAMED else []
    return between.join([*names[:NAMED], *more])


def known_names(names: Iterable[str]) -> str:
    """The known names as a readable list for an error message."""
    return ", ".join(sorted(names)) or "none"
