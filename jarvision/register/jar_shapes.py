"""The shapes of jars that the grower knows: ``jar_profiles.toml`` beside the photos.

One table per shape; every value may be left out::

    [litre]
    diameter_mm = 98.0   # outside, where the wall is straight
    height_mm = 180.0    # table to rim, without the lid
    groove_mm = 140.0    # table to groove or shoulder
    volume_ml = 1000
    glass_mm = 3.0

A jar names its shape in the column ``profile`` of the register; columns of the same names there
hold for that jar alone and go before the shape's.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import fields, replace
from pathlib import Path

from jarvision.base.errors import UsageError
from jarvision.records import JarEntry, JarShape
from jarvision.register.photo_names import read_name, tells_jar

SHAPES_NAME = "jar_profiles.toml"

LIMITS: Mapping[str, tuple[float, float]] = {
    "diameter_mm": (50.0, 140.0),
    "height_mm": (50.0, 350.0),
    "groove_mm": (15.0, 340.0),
    "volume_ml": (50.0, 4000.0),
    "glass_mm": (1.0, 8.0),
    "diameter_sd_mm": (0.2, 5.0),
}
"""What each value may be: beyond it lies a slip, such as inches or centimetres."""

MEASURES = ("diameter_mm", "height_mm", "groove_mm", "volume_ml")
"""The values that have a column in the register."""

_OVERFULL = 1.05
"""A jar holds no more than its outer cylinder; ruler and print of the volume are a little off."""


def load_jar_shapes(folder: Path) -> dict[str, JarShape]:
    """Read the shapes of a folder of photos; none when it has no such file.

    Raises
    ------
    UsageError
        The file is no TOML, or a value is unknown, no number, or cannot be.
    """
    path = folder / SHAPES_NAME
    if not path.is_file():
        return {}
    try:
        tables = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise UsageError(
            f"{SHAPES_NAME} cannot be read ({error})", "Write it as its example in docs/files.md."
        ) from error
    return {name: _shape(name, values) for name, values in tables.items()}


def fault_of(shape: JarShape) -> str:
    """Say what cannot be about a shape, empty when nothing."""
    for key, (low, high) in LIMITS.items():
        value = getattr(shape, key)
        if value is not None and not low <= value <= high:
            return f"{key} is {value:g}; it must be {low:g} to {high:g}"
    if shape.height_mm and shape.groove_mm and shape.groove_mm >= shape.height_mm:
        return f"groove_mm ({shape.groove_mm:g}) is not below height_mm ({shape.height_mm:g})"
    if shape.diameter_mm and shape.height_mm and shape.volume_ml:
        most_ml = math.pi / 4 * shape.diameter_mm**2 * shape.height_mm / 1000.0
        if shape.volume_ml > _OVERFULL * most_ml:
            return (
                f"a jar {shape.diameter_mm:g} mm wide and {shape.height_mm:g} mm high holds at "
                f"most {most_ml:.0f} ml, not {shape.volume_ml:g}"
            )
    return ""


def shapes_of(
    entries: Iterable[JarEntry], profiles: Mapping[str, JarShape]
) -> tuple[dict[str, JarShape], tuple[str, ...]]:
    """Shape of every jar of the register of which something is known, and what was odd.

    A profile that the file lacks is passed over with a warning: jars are found without, too.
    """
    shapes, odd = {}, []
    for entry in entries:
        if profiles and entry.profile and entry.profile not in profiles:
            odd.append(f"jar '{entry.jar}': no profile '{entry.profile}' in {SHAPES_NAME}")
        shape = _merged(entry.shape, profiles.get(entry.profile, JarShape()))
        fault = fault_of(shape)
        if fault:
            odd.append(f"jar '{entry.jar}': {fault}; its shape is not used")
        elif shape != JarShape(name=shape.name):
            shapes[entry.jar] = shape
    return shapes, tuple(odd)


def shapes_for_photo(
    name: str, shapes: Mapping[str, JarShape], told: str = ""
) -> dict[str, JarShape]:
    """Shapes that a reading of this photo can depend on.

    That of the jar in its name, or ``told`` by the grower; where the name tells no jar, a tag will,
    and tags are numbers.
    """
    jar = read_name(name, told).jar
    if tells_jar(name, told):
        return {jar: shapes[jar]} if jar in shapes else {}
    return {j: shape for j, shape in shapes.items() if j == jar or j.isdigit()}


def _shape(name: str, values: object) -> JarShape:
    known = ", ".join(LIMITS)
    if not isinstance(values, dict):
        raise _fault(name, f"'{name}' stands outside a table", f"Put it under [{name}] or a shape.")
    numbers = {}
    for key, value in values.items():
        if key not in LIMITS:
            raise _fault(name, f"nothing is called '{key}'", f"Known values: {known}.")
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise _fault(name, f"{key} is no number", "Write millimetres without the unit.")
        try:
            numbers[key] = float(value)
        except OverflowError as error:  # TOML knows whole numbers of any length
            raise _fault(name, f"{key} is too large", "Measure again.") from error
    shape = JarShape(name=name, **numbers)
    if fault := fault_of(shape):
        raise _fault(name, fault, "Measure again; lengths are in millimetres.")
    return shape


def _fault(name: str, what: str, remedy: str) -> UsageError:
    return UsageError(f"{SHAPES_NAME}, [{name}]: {what}", remedy)


def _merged(own: JarShape, named: JarShape) -> JarShape:
    """The jar's own values, the rest from its named shape."""
    said = {f.name: getattr(own, f.name) for f in fields(own) if getattr(own, f.name) is not None}
    said.pop("name")
    return replace(named, **said)
