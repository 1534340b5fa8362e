"""``jarvision.toml``: settings of the grower's own, read with care and written with their reasons.

A section for each group of thresholds, one line for each value that differs from the default::

    [verdict]
    sure_days = 3

Whatever is not there keeps its default. TOML 1.0; the standard library reads it.
"""

from __future__ import annotations

import re
import textwrap
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from jarvision.base.errors import SettingsError
from jarvision.settings.groups import Settings
from jarvision.settings.retired import RETIRED
from jarvision.settings.table import ORDERED, SettingField, groups, sections

SETTINGS_NAME = "jarvision.toml"
_MAX_BYTES = 1_000_000
_SEE_ALL = "Run 'jarvision settings' to see every section and name with its default."
_WIDTH = 88


@dataclass(frozen=True)
class Change:
    """A setting that differs from its default."""

    field: SettingField
    value: float | None

    def __str__(self) -> str:
        where = f"{self.field.section}.{self.field.name}"
        return f"{where} = {shown(self.value)} (default {shown(self.field.default)})"


def find_settings(folder: Path, *, chosen: Path | None = None) -> Settings:
    """Read the settings that hold for a folder of photos.

    Parameters
    ----------
    chosen
        A settings file to use instead of ``jarvision.toml`` in ``folder``.

    Raises
    ------
    SettingsError
        The chosen file is not there, or a file is wrong; see :func:`parse_settings`.
    """
    path = chosen or folder / SETTINGS_NAME
    if chosen is None and not path.is_file():
        return Settings()
    return read_settings(path)


def read_settings(path: Path) -> Settings:
    """Read one settings file.

    Raises
    ------
    SettingsError
    """
    try:
        content = path.read_bytes()[: _MAX_BYTES + 1]
        if len(content) > _MAX_BYTES:
            raise SettingsError(f"{path.name} is too large for settings", _SEE_ALL)
        text = content.decode("utf-8-sig")
    except OSError as error:
        raise SettingsError(
            f"The settings file {path} cannot be read ({error.strerror})",
            "Give a file that is there, or leave --settings away.",
        ) from error
    except UnicodeDecodeError as error:
        raise SettingsError(f"{path.name} is no text in UTF-8", "Save it as UTF-8.") from error
    return parse_settings(text, name=path.name)


def parse_settings(text: str, *, name: str = SETTINGS_NAME) -> Settings:
    """Turn the text of a settings file into settings.

    Raises
    ------
    SettingsError
        Not TOML; an unknown section or name, with the nearest one; a value of the wrong kind or out
        of its range; another value than the default for a name that can no longer be set; two
        values in the wrong order. Names the line.
    """
    try:
        document = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # of TOML, and of numbers with 5000 digits
        raise not_toml(error, name) from error
    source = _Source(text, name)
    chosen = {
        section: _section_values(section, table, source) for section, table in document.items()
    }
    settings = with_values(chosen)
    _check_order(settings, source)
    return settings


def with_values(chosen: Mapping[str, Mapping[str, Any]]) -> Settings:
    """The defaults with some values replaced: section to name to value, not checked."""
    settings = Settings()
    made = {name: replace(group, **chosen.get(name, {})) for name, group in groups(settings)}
    photo = {name: made.pop(name) for name, _ in groups(settings) if hasattr(settings.photo, name)}
    return replace(settings, photo=replace(settings.photo, **photo), **made)


def changes(settings: Settings) -> tuple[Change, ...]:
    """The settings that differ from their defaults, in the order of the file."""
    return tuple(
        Change(field, value)
        for name, group in groups(settings)
        for field in sections()[name].fields.values()
        if (value := getattr(group, field.name)) != field.default
    )


def to_toml(settings: Settings, *, changed_only: bool = False) -> str:
    """Write settings as TOML that :func:`parse_settings` reads, with unit, range and reason."""
    differing = {(c.field.section, c.field.name) for c in changes(settings)}
    blocks = []
    for name, group in groups(settings):
        fields = [
            field
            for field in sections()[name].fields.values()
            if not changed_only or (name, field.name) in differing
        ]
        if fields:
            blocks.append("\n".join(_section_lines(name, group, fields)))
    return "\n\n".join(blocks)


def as_plain(text: str) -> str:
    """A docstring without its markup."""
    return re.sub(r"``|:\w+:`[~]?", "", text).replace("`", "")


def shown(value: float | None) -> str:
    """A value as in a settings file; ``not set`` for None."""
    return "not set" if value is None else repr(value)


# --------------------------------------------------------------------------- reading
@dataclass(frozen=True)
class _Source:
    """The text of a settings file, to say where something stands in it."""

    text: str
    name: str

    def error(self, section: str, key: str, what: str, remedy: str = _SEE_ALL) -> SettingsError:
        line = self._line(section, key)
        place = self.name if line is None else f"{self.name}, line {line}"
        return SettingsError(f"{place}: {what}", remedy)

    def _line(self, section: str, key: str) -> int | None:
        """Line of a key, else of its section; None when they are written in a rarer way."""
        here, found = "", None
        for number, raw in enumerate(self.text.split("\n"), 1):
            line = raw.split("#")[0].strip()
            header = re.fullmatch(r"\[\s*[\"']?([^\[\]\"']+?)[\"']?\s*\]", line)
            if header:
                here = header[1]
            word = line.split("=")[0].replace('"', "").replace("'", "").strip()
            parts = (f"{here}.{word}" if here else word).split(".")
            full = ".".join(part.strip() for part in parts)
            if "=" in line and key and full == f"{section}.{key}":
                return number
            if found is None and ((header and here == section) or full.split(".")[0] == section):
                found = number
        return found


def not_toml(error: Exception, name: str) -> SettingsError:
    """Turn the parser's ``Invalid value (at line 2, column 7)`` into an error of ours."""
    place = re.fullmatch(r"(.*) \(at (.*)\)", str(error))
    told = f"{name}, {place[2]}: {place[1]}" if place else f"{name}: {error}"
    return SettingsError(f"{told}: this is not TOML", "Write lines such as: sure_days = 3.")


def _section_values(section: str, table: Any, source: _Source) -> dict[str, Any]:
    known = sections()
    if section not in known:
        owners = [s.name for s in known.values() if section in s.fields]
        if owners:
            what = f"'{section}' stands outside its section"
            raise source.error(section, "", what, f"Write [{owners[0]}] on a line above it.")
        what = f"there is no section [{section}]{_nearest(section, known)}"
        raise source.error(section, "", what)
    if not isinstance(table, dict):
        raise source.error(
            section, "", f"'{section}' is a section, not a value", f"Write [{section}] on a line."
        )
    return {
        key: _checked(section, key, value, source)
        for key, value in table.items()
        if not _is_retired(section, key, value, source)
    }


def _is_retired(section: str, key: str, value: Any, source: _Source) -> bool:
    """Say whether a line may be passed over: it sets what is set no more, to what holds anyway."""
    retired = RETIRED.get((section, key))
    if retired is None or retired.agrees(value):
        return retired is not None
    what = f"[{section}] {key} can no longer be set: {retired.why}"
    raise source.error(section, key, what, "Delete the line.")


def _checked(section: str, key: str, value: Any, source: _Source) -> float:
    fields = sections()[section].fields
    if key not in fields:
        others = [s.name for s in sections().values() if key in s.fields]
        hint = f" (it belongs in [{others[0]}])" if others else _nearest(key, fields)
        raise source.error(section, key, f"[{section}] has no setting '{key}'{hint}")
    field = fields[key]
    kinds = (int,) if field.whole else (int, float)
    is_number = isinstance(value, kinds) and not isinstance(value, bool)
    if not (is_number and field.limits.allows(value)):
        unit = f", in {field.unit}" if field.unit else ""
        raise source.error(
            section,
            key,
            f"[{section}] {key} must be {field.allowed}{unit}, not {_written(value)}",
            f"Correct it, or delete the line to keep the default, {shown(field.default)}.",
        )
    return value if field.whole else float(value)


def _check_order(settings: Settings, source: _Source) -> None:
    values = dict(groups(settings))
    for section, lower, higher in ORDERED:
        low, high = getattr(values[section], lower), getattr(values[section], higher)
        if low > high:
            what = f"[{section}] {lower} ({shown(low)}) is above {higher} ({shown(high)})"
            raise source.error(section, lower, what, "Change one of the two.")


def _nearest(word: str, known: Iterable[str]) -> str:
    near = get_close_matches(word, list(known), n=1)
    return f" (the nearest is '{near[0]}')" if near else ""


def _written(value: Any) -> str:
    """A value of the file as its writer would know it again."""
    text = {True: "true", False: "false"}[value] if isinstance(value, bool) else repr(value)
    return textwrap.shorten(text, 40, placeholder=" ...")


# --------------------------------------------------------------------------- writing
def _section_lines(name: str, group: Any, fields: Iterable[SettingField]) -> Iterator[str]:
    yield from _comment(sections()[name].about.split("\n\n")[0])
    yield f"[{name}]"
    told = ""
    for field in fields:
        if field.reason != told:
            yield ""
            yield from _comment(field.reason)
            told = field.reason
        value = getattr(group, field.name)
        line = f"# {field.name} =" if value is None else f"{field.name} = {shown(value)}"
        yield f"{line}  # {', '.join(filter(None, (field.unit, field.allowed)))}"


def _comment(text: str) -> list[str]:
    return textwrap.wrap(
        as_plain(text), _WIDTH, initial_indent="# ", subsequent_indent="# ", break_on_hyphens=False
    )
