"""How the page of a scoring is laid out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from jarvision.settings.limits import Limits


@dataclass(frozen=True)
class PageSettings:
    """How ``report.html`` is laid out."""

    one_file_jars: Annotated[int, Limits(0, 1000, unit="jars")] = 24
    """Up to so many jars stand on one page, a single file to send or to print; the pictures of more
    would have to be smaller, and a slow phone takes 3 s for so many already. With more the page is
    a list to search, and each jar has a file of its own in ``jars`` beside it."""
