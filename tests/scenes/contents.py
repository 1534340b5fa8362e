"""Paint the contents of one jar on one day, with the truth of every cell.

A :class:`JarRecipe` holds everything that makes a jar; :func:`paint` is deterministic in it, so the
days of a jar belong together: the same kernels, the same fronts, growth that only rises unless the
jar is shaken.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import ndimage

from jarvision.records import Float32Array, TissueClass

from .anomalies import Shake, Stall
from .events import Canvas, Event, Growth
from .growth_field import Front, arrival_days, scatter_nuclei
from .measures import TruePatch, true_coverage, true_patches, true_soft_coverage
from .mycelium import Felt, Habit, Tint, felt, filled_relief, mycelium_colour, opacity_at
from .substrates import Bare, bare_contents
from .textures import fractal_noise, lab_to_linear, smoothstep
from .wall_paint import WallGrid, WallPaint

__all__ = [
    "JarRecipe",
    "TruePatch",
    "WallGrid",
    "WallPaint",
    "paint",
    "true_coverage",
    "true_patches",
    "true_soft_coverage",
]

GAP_DELAY_DAYS_PER_MM = 0.12  # threads bridge a gap later than they coat the kernels beside it
PIECE_DELAY_DAYS = 0.7  # kernels lie with more or less of themselves in the air
SPAWN_FUZZ_MM = 1.8
SPAWN_AGE_DAYS = 3.0  # grain spawn is already grown through when it is mixed in


@dataclass(frozen=True)
class JarRecipe:
    """Everything that makes one jar.

    Attributes
    ----------
    seed
        Jars of different seeds share nothing.
    substrate
        A key of :data:`tests.scenes.substrates.LOOKS`.
    habit, tint
        Look of the species' mycelium.
    speed_mm_per_day
        Speed of the front.
    nuclei_per_cm2
        Points of the wall where growth starts.
    lag_days, lag_spread_days
        First day of growth, and the spread of later starts.
    spawn_share
        Share of the wall taken by grain spawn mixed into straw or shavings.
    husks, dust_per_cm2
        Nuisances: share of pale husks, and white gypsum specks (neither is mycelium).
    events
        Anomalies, laid over each other in this order.
    radius_mm, height_mm, fill_mm, cell_mm
        Inner radius, height of the wall, mean fill height, cell size.
    """

    seed: int
    substrate: str = "rye"
    habit: Habit = "fluffy"
    tint: Tint = "white"
    speed_mm_per_day: float = 2.6
    nuclei_per_cm2: float = 0.12
    lag_days: float = 2.0
    lag_spread_days: float = 1.2
    spawn_share: float = 0.0
    husks: float = 0.02
    dust_per_cm2: float = 0.0
    events: tuple[Event, ...] = ()
    radius_mm: float = 40.0
    height_mm: float = 120.0
    fill_mm: float = 85.0
    cell_mm: float = 0.25

    @property
    def grid(self) -> WallGrid:
        """The wall's grid."""
        return WallGrid(self.radius_mm, self.height_mm, self.cell_mm)

    def shakes(self, day: float) -> tuple[Shake, ...]:
        """Shakes up to and with ``day``, in order."""
        done = [e for e in self.events if isinstance(e, Shake) and e.from_day <= day]
        return tuple(sorted(done, key=lambda shake: shake.from_day))

    def growing_day(self, day: float) -> float:
        """Day at which the mycelium's clock stands: it stops at a stall."""
        return min([day, *(e.from_day for e in self.events if isinstance(e, Stall))])

    def event_rng(self, number: int) -> np.random.Generator:
        """Each event draws from its own stream, the same every day."""
        return np.random.default_rng([self.seed, 1000 + number])


@dataclass(frozen=True)
class _Spell:
    """What stays the same between two shakes."""

    bare: Bare
    growth: Growth
    texture: Felt
    remains: Float32Array

    def age(self, day: float) -> Float32Array:
        """Days that each place has been growing, negative where nothing has arrived yet."""
        age = np.minimum(day - self.growth.arrival, self.growth.oldest)
        return np.asarray(age, dtype=np.float32)


def paint(recipe: JarRecipe, *, day: float) -> WallPaint:
    """Paint the whole inner wall of one jar.

    Parameters
    ----------
    recipe
        The jar.
    day
        Days since it was started; need not be whole.

    Returns
    -------
    WallPaint
        With classes that follow from the same arrays as the colours.
    """
    spell = _spell(recipe, len(recipe.shakes(day)))
    canvas = _grown(recipe, spell, day)
    for number, event in enumerate(recipe.events):
        event.lay(canvas, day=day, rng=recipe.event_rng(number))
    fill = spell.bare.fill_height_mm
    outside = recipe.grid.heights_mm[:, None] > fill[None, :]
    canvas.classes[outside] = TissueClass.OUTSIDE
    canvas.opacity[outside] = 0.0
    return WallPaint(
        albedo=np.clip(canvas.albedo, 0.0, 1.0),
        relief_mm=np.clip(canvas.relief_mm, 0.0, None),
        gloss=np.clip(canvas.gloss, 0.0, 1.0),
        classes=canvas.classes,
        opacity=np.clip(canvas.opacity, 0.0, 1.0),
        fill_height_mm=fill,
        radius_mm=recipe.radius_mm,
        height_mm=recipe.height_mm,
        pins=canvas.pins & ~outside,
        standing=tuple(canvas.standing),
    )


def _grown(recipe: JarRecipe, spell: _Spell, day: float) -> Canvas:
    """Bare contents with the mycelium of ``day`` grown over them."""
    age = spell.age(recipe.growing_day(day))
    opacity = np.maximum(opacity_at(age, spell.texture, recipe.habit), spell.remains)
    colour = mycelium_colour(age, spell.texture, recipe.habit, recipe.tint)
    classes = np.where(opacity >= 0.5, TissueClass.MYCELIUM, TissueClass.BARE).astype(np.uint8)
    canvas = Canvas(
        grid=recipe.grid,
        albedo=spell.bare.albedo.copy(),
        relief_mm=filled_relief(
            spell.bare.relief_mm, opacity, spell.texture, recipe.habit, recipe.grid
        ),
        gloss=np.asarray(spell.bare.gloss * (1.0 - 0.9 * opacity), dtype=np.float32),
        classes=classes,
        opacity=opacity,
        piece_tone=spell.bare.piece_tone,
        pins=np.zeros(classes.shape, dtype=bool),
    )
    if recipe.dust_per_cm2 > 0.0:
        _sprinkle(canvas, recipe)
    canvas.mix(opacity, colour)
    return canvas


def _sprinkle(canvas: Canvas, recipe: JarRecipe) -> None:
    """White gypsum specks on the contents; mycelium grows over them."""
    rng = np.random.default_rng([recipe.seed, 21])
    grid = recipe.grid
    seeds = np.zeros(grid.shape, dtype=np.float32)
    share = recipe.dust_per_cm2 * grid.step_mm[0] * grid.step_mm[1] / 100.0
    hit = rng.random(grid.shape) < share
    seeds[hit] = rng.uniform(0.6, 2.2, int(hit.sum()))
    specks = ndimage.gaussian_filter(seeds, 0.22 / grid.step_mm[1], mode=("nearest", "wrap"))
    share_seen = smoothstep(0.10, 0.22, specks)
    canvas.mix(0.9 * share_seen, lab_to_linear(np.array([92.0, 0.0, 3.0]))[None, None])


@lru_cache(maxsize=3)
def _spell(recipe: JarRecipe, shaken: int) -> _Spell:
    """Contents, arrival times and textures after ``shaken`` shakes."""
    grid = recipe.grid
    rng = np.random.default_rng([recipe.seed, 31, shaken])
    bare = bare_contents(
        recipe.substrate,
        grid,
        seed=recipe.seed + 7919 * shaken,
        fill_mm=recipe.fill_mm,
        spawn_share=recipe.spawn_share,
        husks=recipe.husks,
    )
    arrival = _healthy_arrival(recipe, bare, shaken, rng)
    growth = Growth(arrival, np.full(grid.shape, np.inf, dtype=np.float32))
    for number, event in enumerate(recipe.events):
        growth = event.hinder(growth, grid, rng=recipe.event_rng(number))
    texture = felt(grid, arrival, recipe.habit, rng=rng)
    return _Spell(bare, growth, texture, _remains(recipe, bare, texture, shaken))


def _healthy_arrival(
    recipe: JarRecipe, bare: Bare, shaken: int, rng: np.random.Generator
) -> Float32Array:
    """Arrival days without anomalies: from nuclei on the wall and from mixed-in spawn."""
    grid = recipe.grid
    front = Front(recipe.speed_mm_per_day)
    per_cm2, first, spread = recipe.nuclei_per_cm2, recipe.lag_days, recipe.lag_spread_days
    if shaken:
        shake = recipe.shakes(np.inf)[shaken - 1]
        per_cm2, first, spread = shake.nuclei_per_cm2, shake.from_day + shake.lag_days, 0.5
    nuclei = scatter_nuclei(
        grid,
        rng=rng,
        per_cm2=per_cm2,
        first_day=first,
        spread_days=spread,
        top_mm=recipe.fill_mm,
    )
    arrival = arrival_days(nuclei, front, grid, rng=rng)
    if recipe.spawn_share > 0.0:
        arrival = np.minimum(arrival, _from_spawn(recipe, bare, first, rng))
    shelter = GAP_DELAY_DAYS_PER_MM * bare.relief_mm + PIECE_DELAY_DAYS * (bare.piece_tone - 0.5)
    return np.asarray(arrival + shelter, dtype=np.float32)


def _from_spawn(
    recipe: JarRecipe, bare: Bare, first_day: float, rng: np.random.Generator
) -> Float32Array:
    """Arrival days of fronts that leave the pieces of spawn; the pieces are grown already."""
    grid = recipe.grid
    wide = np.concatenate([bare.spawn] * 3, axis=1) < 0.5  # three turns make the seam invisible
    distance = ndimage.distance_transform_edt(wide, sampling=grid.step_mm)
    distance = distance[:, grid.cols : 2 * grid.cols]
    rough = fractal_noise(grid, rng=rng, largest_mm=14.0, smallest_mm=0.6)
    ready = first_day - recipe.lag_days - SPAWN_AGE_DAYS
    # a fuzz of old growth surrounds each piece, then the front starts after the lag
    fuzz = smoothstep(0.0, SPAWN_FUZZ_MM, distance + 0.5 * rough)
    days = ready + (first_day - ready) * fuzz
    days = days + np.maximum(distance + 1.2 * rough, 0.0) / recipe.speed_mm_per_day
    return np.asarray(np.where(bare.spawn > 0.5, ready, days), dtype=np.float32)


def _remains(recipe: JarRecipe, bare: Bare, texture: Felt, shaken: int) -> Float32Array:
    """Torn mycelium left on the kernels by a shake: the more had grown, the more is left."""
    if not shaken:
        return np.zeros(recipe.grid.shape, dtype=np.float32)
    before = _spell(recipe, shaken - 1)
    day = recipe.growing_day(recipe.shakes(np.inf)[shaken - 1].from_day)
    grown = opacity_at(before.age(day), before.texture, recipe.habit)
    share = float(grown[recipe.grid.heights_mm < recipe.fill_mm].mean())
    # some kernels come out white, most hardly so
    torn = np.clip(0.7 + 0.35 * texture.threads + 0.3 * texture.patches, 0.0, 1.6)
    coat = share * (0.15 + 1.5 * bare.piece_tone**3) * torn
    return np.asarray(np.clip(coat, 0.0, 0.9), dtype=np.float32)
