"""The templates of the report; every text in them is escaped."""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from jinja2 import Environment, Template

_UNIT: Final = re.compile(r"(?<=\d) (?=%|cm²|mm\b|g\b)")


def template(name: str) -> Template:
    """A template of the report by the name of its file."""
    return _environment().get_template(name)


def source_of(name: str) -> str:
    """A file beside the templates as it is, such as a script."""
    environment = _environment()
    assert environment.loader is not None
    return environment.loader.get_source(environment, name)[0]


@cache
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=PackageLoader("jarvision.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_whole,
    )


def _whole(value: object) -> object:
    """Keep a number and its unit on one line: words of the page only, never its markup."""
    return _UNIT.sub("\N{NO-BREAK SPACE}", value) if type(value) is str else value
