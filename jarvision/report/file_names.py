"""Names of the files that each jar has beside the page."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from jarvision.base.text import safe_name, with_digest


def file_names(jars: Iterable[str]) -> dict[str, str]:
    """Name, without suffix, of every jar's file.

    They are apart on file systems that do not tell capitals apart.
    """
    plain = {jar: safe_name(jar) for jar in jars}
    alike = Counter(name.casefold() for name in plain.values())
    return {
        jar: name if alike[name.casefold()] == 1 else with_digest(name, jar)
        for jar, name in plain.items()
    }
