"""The templates of the report; every text in them is escaped."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from jinja2 import Environment, Template


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
    )
