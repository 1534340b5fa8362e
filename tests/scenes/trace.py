"""Spectral path tracing of the scene, one thread a pixel, with drjit.

What is exact and what is not:

- Camera rays meet the glass as it is: both surfaces of the shell refract and reflect by
  Fresnel's equations, to any order. The picture seen through the glass is therefore exact.
- After the first diffuse bounce, light crosses glass straight on, losing what the Fresnel
  reflection takes on each surface (angles taken in air), so that lamps can be sampled directly
  through the shell. Left out: the sideways shift inside the 3 mm glass for *lighting*, and the
  caustics of lamps (light of a lamp that a jar focuses or mirrors on to card or table).
- Four wavelengths a path, spread evenly over 400 to 700 nm; their common offset walks in
  golden-ratio steps from path to path.
- Between specular hits of camera rays, reflection is chosen more often than it happens and
  weighted down: mirrored lamps are the brightest and rarest thing in the picture.
"""

from __future__ import annotations

from typing import Any

import drjit as dr
import mitsuba as mi

from tests.scenes.lights import FIRST_NM, LAST_NM, STEP_NM
from tests.scenes.spec import GLASS_INDEX, WATER_INDEX

REFLECTION_ODDS = 0.25  # least chance of following the reflection of a camera ray
MAX_STEPS = 28  # surfaces met by one path; behind two shells and back out takes 8 without bounces
MAX_DIFFUSE = 4
SHADOW_STEPS = 10
GOLDEN = 0.6180339887  # fractional part of the golden ratio


class Tables:
    """Device arrays that change from photo to photo while the compiled kernel stays.

    A plain class on purpose: drjit would carry the fields of a dataclass through every loop.

    Attributes
    ----------
    camera
        17 numbers: rotation (9, world to camera), centre, focal length, principal point (px),
        radius of the entrance pupil, distance in focus (mm).
    sensitivities
        Three curves on the wavelength grid, one after another.
    ambient
        Spectrum of the ambience.
    sky, sky_rows, sky_cols
        Relative luminance of the room by direction.
    droplets
        Pointer to the droplets' shape: water, where all else clear is glass.
    """

    def __init__(self, **arrays: Any) -> None:
        self.camera = arrays["camera"]
        self.sensitivities = arrays["sensitivities"]
        self.ambient = arrays["ambient"]
        self.sky = arrays["sky"]
        self.sky_rows = arrays["sky_rows"]
        self.sky_cols = arrays["sky_cols"]
        self.droplets = arrays["droplets"]


def _lookup(table: Any, wavelength: Any, offset: int = 0) -> Any:
    """Linear interpolation of a curve of the wavelength grid; any width of ``wavelength``."""
    count = (LAST_NM - FIRST_NM) // STEP_NM
    place = dr.clip((wavelength - FIRST_NM) / STEP_NM, 0.0, count - 1e-3)
    low = dr.floor(place)
    part = place - low
    out = dr.zeros(type(wavelength))
    for k in range(4):
        index = mi.UInt32(low[k]) + mi.UInt32(offset)
        a = dr.gather(mi.Float, table, index)
        b = dr.gather(mi.Float, table, index + 1)
        out[k] = dr.lerp(a, b, part[k])
    return out


def _sky(tables: Tables, direction: Any) -> Any:
    """Relative luminance of the room in a direction (latitude-longitude table, bilinear)."""
    u = (dr.atan2(direction.x, -direction.z) / dr.pi + 1.0) * 0.5
    v = dr.acos(dr.clip(-direction.y, -1.0, 1.0)) / dr.pi
    cols, rows = mi.Float(tables.sky_cols), mi.Float(tables.sky_rows)
    x, y = dr.clip(u * cols - 0.5, 0.0, cols - 1.001), dr.clip(v * rows - 0.5, 0.0, rows - 1.001)
    column, row = mi.UInt32(x), mi.UInt32(y)
    index = row * tables.sky_cols + column
    fx, fy = x - mi.Float(column), y - mi.Float(row)
    top = dr.lerp(
        dr.gather(mi.Float, tables.sky, index), dr.gather(mi.Float, tables.sky, index + 1), fx
    )
    index = index + tables.sky_cols
    low = dr.lerp(
        dr.gather(mi.Float, tables.sky, index), dr.gather(mi.Float, tables.sky, index + 1), fx
    )
    return dr.lerp(top, low, fy)


@dr.syntax
def _shadow(scene: Any, si: Any, target: Any, lit: Any) -> Any:
    """Share of light that reaches ``si`` from ``target``, straight through glass and films."""
    passed = dr.select(lit, mi.Spectrum(1.0), mi.Spectrum(0.0))
    ray = si.spawn_ray_to(target)
    steps = mi.UInt32(0)
    going = mi.Bool(lit)
    while going:
        hit = scene.ray_intersect(ray, going)
        valid = going & hit.is_valid()
        bsdf = hit.bsdf()
        flags = bsdf.flags()
        glass = mi.has_flag(flags, mi.BSDFFlags.DeltaTransmission)
        film = mi.has_flag(flags, mi.BSDFFlags.Null)
        loss = mi.fresnel(dr.abs(hit.wi.z), mi.Float(GLASS_INDEX))[0]
        through = bsdf.eval_null_transmission(hit, valid & film)
        passed[valid & glass] = passed * (1.0 - loss)
        passed[valid & film] = passed * through
        passed[valid & ~glass & ~film] = mi.Spectrum(0.0)
        steps += 1
        going &= valid & (glass | film) & (steps < SHADOW_STEPS)
        ray = hit.spawn_ray_to(target)
    return passed


@dr.syntax
def _path(scene: Any, tables: Tables, ray: Any, rng: Any) -> tuple[Any, Any, Any]:
    """Radiance along a camera ray, and albedo and normal of the first solid surface it meets."""
    light = mi.Spectrum(0.0)
    weight = mi.Spectrum(1.0)
    albedo = mi.Spectrum(1.0)
    normal = mi.Vector3f(0.0)
    last = dr.zeros(mi.Interaction3f)
    last_pdf = mi.Float(0.0)
    bounces = mi.UInt32(0)
    speculars = mi.UInt32(0)
    steps = mi.UInt32(0)
    mirrored = mi.Bool(False)  # specular reflection since the last diffuse bounce
    going = mi.Bool(True)
    while going:
        si = scene.ray_intersect(ray, going)
        lamp = si.emitter(scene)
        hit_lamp = going & si.is_valid() & (lamp != None)  # noqa: E711
        ds = mi.DirectionSample3f(scene, si, last)
        pdf = scene.pdf_emitter_direction(last, ds, hit_lamp & (bounces > 0))
        share = dr.select(bounces == 0, 1.0, last_pdf / dr.maximum(last_pdf + pdf, 1e-20))
        share = dr.select((bounces > 0) & mirrored, 0.0, share)  # caustics are left out
        light[hit_lamp] = light + weight * share * lamp.eval(si, hit_lamp)
        escaped = going & ~si.is_valid()
        ambience = _lookup(tables.ambient, si.wavelengths) * _sky(tables, ray.d)
        light[escaped] = light + weight * ambience

        going &= si.is_valid() & (steps < MAX_STEPS)
        bsdf = si.bsdf()
        flags = bsdf.flags()
        glass = going & mi.has_flag(flags, mi.BSDFFlags.DeltaTransmission)
        film = going & mi.has_flag(flags, mi.BSDFFlags.Null)
        solid = going & ~mi.has_flag(flags, mi.BSDFFlags.DeltaTransmission)

        # glass
        index = dr.select(si.shape == tables.droplets, WATER_INDEX, GLASS_INDEX)
        cosine = si.wi.z
        seen = bounces == 0
        f_true, cos_t, _, eta_ti = mi.fresnel(cosine, mi.Float(index))
        f_flat = mi.fresnel(dr.abs(cosine), mi.Float(index))[0]
        f = dr.select(seen, f_true, f_flat)
        odds = dr.select(seen & (speculars < 6), dr.maximum(f, REFLECTION_ODDS), f)
        reflect = rng.next_float32() < odds
        kept = dr.select(reflect, f, 1.0 - f)
        kept /= dr.maximum(dr.select(reflect, odds, 1.0 - odds), 1e-6)
        bent = mi.refract(si.wi, cos_t, eta_ti)
        out = dr.select(reflect, mi.reflect(si.wi), dr.select(seen, bent, -si.wi))
        glass_ray = si.spawn_ray(si.to_world(out))
        mirrored |= glass & reflect
        speculars[glass] = speculars + 1

        # lamps, sampled from a solid surface
        can_light = solid & (bounces < MAX_DIFFUSE)
        pick = mi.Point2f(rng.next_float32(), rng.next_float32())
        ds, power = scene.sample_emitter_direction(si, pick, False, can_light)
        lit = can_light & (ds.pdf > 0.0)
        wo = si.to_local(ds.d)
        context = mi.BSDFContext()
        value, value_pdf = bsdf.eval_pdf(context, si, wo, lit)
        lit &= dr.max(value) > 0.0
        passed = _shadow(scene, si, ds.p, lit)
        share = ds.pdf / dr.maximum(ds.pdf + value_pdf, 1e-20)
        light[lit] = light + weight * value * power * passed * share

        # the next direction from a solid surface
        choice = rng.next_float32()
        place = mi.Point2f(rng.next_float32(), rng.next_float32())
        bs, scattered = bsdf.sample(context, si, choice, place, can_light)
        passing = film & mi.has_flag(bs.sampled_type, mi.BSDFFlags.Null)
        guide = bsdf.eval_diffuse_reflectance(si, solid & seen)
        first = solid & seen & ~passing
        albedo[first] = guide
        normal[first] = si.sh_frame.n
        bounced = solid & ~passing
        last[bounced] = mi.Interaction3f(si)
        last_pdf[bounced] = bs.pdf
        mirrored &= ~bounced
        bounces[bounced] = bounces + 1

        weight[glass] = weight * kept
        weight[solid] = weight * scattered
        next_ray = si.spawn_ray(si.to_world(bs.wo))
        ray.o = dr.select(glass, glass_ray.o, next_ray.o)
        ray.d = dr.select(glass, glass_ray.d, next_ray.d)
        strength = dr.max(weight)
        alive = dr.minimum(strength, 0.95)
        roulette = bounces >= 2
        survive = ~roulette | (rng.next_float32() < alive)
        weight[roulette] = weight / dr.maximum(alive, 1e-6)
        going &= (glass | can_light) & survive & (strength > 1e-5)
        steps += 1
    return light, albedo, normal


@dr.syntax
def film(scene: Any, tables: Tables, *, width: Any, pixel: Any, spp: Any, seed: Any) -> tuple:
    """Mean camera signal, albedo guide (both of 3 channels) and normal guide of some pixels."""
    rng = mi.PCG32(size=dr.width(pixel), initstate=mi.UInt64(seed), initseq=mi.UInt64(pixel))
    row = pixel // width
    column = pixel - row * width
    c = [dr.gather(mi.Float, tables.camera, mi.UInt32(i)) for i in range(17)]
    signal = mi.Vector3f(0.0)
    guide = mi.Vector3f(0.0)
    facing = mi.Vector3f(0.0)
    first_wave = rng.next_float32()
    n = mi.UInt32(0)
    while n < spp:
        x = mi.Float(column) + rng.next_float32() - 0.5
        y = mi.Float(row) + rng.next_float32() - 0.5
        lens = mi.warp.square_to_uniform_disk_concentric(
            mi.Point2f(rng.next_float32(), rng.next_float32())
        )
        lens_x, lens_y = lens.x * c[15], lens.y * c[15]
        local = mi.Vector3f((x - c[13]) / c[12], (y - c[14]) / c[12], 1.0) * c[16]
        local = mi.Vector3f(local.x - lens_x, local.y - lens_y, local.z)
        direction = mi.Vector3f(
            c[0] * local.x + c[3] * local.y + c[6] * local.z,
            c[1] * local.x + c[4] * local.y + c[7] * local.z,
            c[2] * local.x + c[5] * local.y + c[8] * local.z,
        )
        origin = mi.Point3f(
            c[9] + c[0] * lens_x + c[3] * lens_y,
            c[10] + c[1] * lens_x + c[4] * lens_y,
            c[11] + c[2] * lens_x + c[5] * lens_y,
        )
        # golden-ratio steps spread a pixel's wavelengths far better than chance: less colour noise
        u = first_wave + mi.Float(n) * GOLDEN
        u -= dr.floor(u)
        span = mi.Float(LAST_NM - FIRST_NM)
        waves = type(mi.Ray3f().wavelengths)(*[FIRST_NM + span * (u + k) * 0.25 for k in range(4)])
        ray = mi.Ray3f(origin, dr.normalize(direction), mi.Float(0.0), waves)
        light, albedo, normal = _path(scene, tables, ray, rng)
        light = dr.select(dr.isfinite(light), light, 0.0)
        curve_length = (LAST_NM - FIRST_NM) // STEP_NM + 1
        for k in range(3):
            response = _lookup(tables.sensitivities, waves, k * curve_length)
            signal[k] += dr.mean(light * response)
            guide[k] += dr.mean(albedo * response)
        facing += normal
        n += 1
    scale = 1.0 / mi.Float(spp)
    return signal * scale, guide * scale, facing * scale
