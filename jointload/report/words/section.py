"""What a section of the page is made from, and what it is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from jointload.analysis import Analysis
from jointload.insole.fitting.fit import Fit
from jointload.insole.fitting.whatif import WhatIf


@dataclass(frozen=True, eq=False)
class Reported:
    """All that one report tells of; whatif, fit : made for the same analysis, None when none was asked for.

    beside : another landing of the same rider, shown as a ghost in the replay
    """

    analysis: Analysis
    whatif: WhatIf | None = None
    fit: Fit | None = None
    beside: Analysis | None = None

    @property
    def answers(self) -> tuple[WhatIf, ...]:
        """Every prediction told of: those asked for, and that of the shape that was found."""
        asked = () if self.whatif is None else (self.whatif, *self.whatif.others)
        found = () if self.fit is None or self.fit.answer is None else (self.fit.answer,)
        return (*asked, *found)


@dataclass(frozen=True)
class Section:
    """One section of the page; `render` gives its HTML, empty where it has nothing to tell.

    key : its place in the page's links;  quantities : the measures that it shows
    fold : the words under which it is folded away, empty where it stands open
    """

    key: str
    heading: str
    render: Callable[[Reported], str]
    quantities: tuple[str, ...] = ()
    fold: str = ""
