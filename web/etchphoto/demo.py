"""The demo picture: a lighthouse at dusk, drawn here and belonging to nobody else.

It has what shows a tile's quality: a smooth sky, fine texture on the sea, a glow that fades
into it, hard edges and true black.
"""

from typing import Final

import numpy as np
from PIL import Image

from etchphoto.canvas import Canvas, Floats, Points, bump, step

SIDE_PX: Final = 1200
HORIZON: Final = 0.66
SUNSET_X: Final = 0.26
LAMP: Final = (0.665, 0.236)

ZENITH: Final = (0.045, 0.075, 0.16)
DUSK: Final = (0.30, 0.31, 0.42)
AFTERGLOW: Final = (0.98, 0.60, 0.33)
SUN_GLOW: Final = (0.80, 0.52, 0.22)
CLOUD: Final = (0.13, 0.13, 0.20)
LAMP_LIGHT: Final = (1.0, 0.93, 0.72)
ROCK: Final = (0.012, 0.013, 0.016)
PLASTER: Final = (0.80, 0.77, 0.74)
PAINT: Final = (0.10, 0.025, 0.02)
IRON: Final = (0.015, 0.016, 0.02)
WARM: Final = (1.0, 0.82, 0.68)  # the evening's light on stone


def draw_lighthouse(side_px: int = SIDE_PX) -> Image.Image:
    """Return the picture as an RGB image with sides of `side_px`; the same every time."""
    canvas = Canvas.blank(side_px)
    _paint_sky(canvas)
    _paint_sea(canvas.part(0, HORIZON - 0.01, 1, 1))
    _paint_coast(canvas.part(0, 0.55, 1, HORIZON + 0.01))
    _paint_beams(canvas)
    _paint_lighthouse(canvas.part(LAMP[0] - 0.08, 0.1, LAMP[0] + 0.08, 0.85))
    _paint_cottage(canvas.part(0.74, 0.6, 0.91, 0.85))
    _paint_rock(canvas.part(0, HORIZON, 1, 1))
    return canvas.image()


def _sky(x: Floats, height: Floats) -> Floats:
    """Return the sky's light at `height`, 0 at the horizon to 1 at the top."""
    height = np.clip(height, 0, 1)[..., np.newaxis]
    towards_sun = bump(x - SUNSET_X, 0.30)[..., np.newaxis]
    near_sea = bump(height, 0.22)
    low, high = step(height, 0, 0.55), step(height, 0.25, 1.05)
    afterglow, dusk, zenith, glow = (
        np.asarray(colour, np.float32) for colour in (AFTERGLOW, DUSK, ZENITH, SUN_GLOW)
    )
    colour = (afterglow + low * (dusk - afterglow)) * (1 - high) + zenith * high
    return np.asarray(colour * (0.72 + 0.28 * towards_sun) + glow * towards_sun * near_sea)


def _paint_sky(canvas: Canvas) -> None:
    height = (HORIZON - canvas.y) / HORIZON
    canvas.light[:] = _sky(canvas.x, height)
    field = canvas.noise(2.2, 11, octaves=5, seed=1859)
    share = step(field + 1.1 * bump(height - 0.36, 0.22), 1.0, 2.5) * 0.75
    shift = max(1, canvas.side_px // 60)
    lit_below = step(field - np.roll(field, -shift, axis=0), -0.2, 0.9)
    warm = bump(height, 0.45) * bump(canvas.x - SUNSET_X, 0.45)
    lining = np.asarray(AFTERGLOW, np.float32) * (lit_below * warm)[..., np.newaxis]
    canvas.cover(np.asarray(CLOUD, np.float32) + 0.3 * canvas.light + lining, share)
    _paint_stars(canvas)


def _paint_stars(canvas: Canvas) -> None:
    random = np.random.default_rng(7)
    for x, y, size in random.uniform((0, 0, 0.5), (1, 0.3, 1.3), (46, 3)):
        near = canvas.part(x - 0.006, y - 0.006, x + 0.006, y + 0.006)
        spot = bump(np.hypot(near.x - x, near.y - y), 0.0011 * size)
        near.add((0.9, 0.92, 1.0), spot * np.float32(size * 0.9 * (1 - y / 0.33)))


def _paint_sea(canvas: Canvas) -> None:
    below = canvas.y - HORIZON
    is_sea = step(below, -0.0006, 0.0006) + 0 * canvas.x
    depth = np.clip(below, 1e-4, None) / (1 - HORIZON)
    waves = _waves(canvas.x, depth)
    mirrored = _sky(canvas.x, np.clip(0.06 + depth * 0.8 + waves * 0.10, 0, 1))
    body = np.clip(0.54 - 0.24 * depth + 0.22 * waves, 0.05, 1)
    path = bump(canvas.x - SUNSET_X, 0.035 + 0.17 * depth)
    glitter = path * step(waves, 0.08, 0.8) * (1 - 0.45 * depth)
    canvas.cover(mirrored * body[..., np.newaxis], is_sea)
    canvas.add(SUN_GLOW, glitter * is_sea)


def _waves(x: Floats, depth: Floats) -> Floats:
    """Return the sea's slope, -1 to 1; waves finer than a pixel far off are left out."""
    random = np.random.default_rng(3)
    far = 1 / (depth + np.float32(0.045))
    u, v = (x - 0.4) * far, far
    total = np.zeros(u.shape, dtype=np.float32)
    for frequency in (4.0, 7.5, 12.5, 19.0, 30.0, 48.0, 76.0):
        fade = np.exp(-1.2 * np.square(frequency * far * far / 420))
        for _ in range(3):
            lean, phase = random.normal(0, 0.34), random.uniform(0, 2 * np.pi)
            bend = 1.3 * np.sin(u * np.float32(2.3) + np.float32(phase))
            swell = np.sin(frequency * (v * np.float32(3.2) + u * np.float32(lean)) + bend)
            total += (fade * swell / frequency**0.28).astype(np.float32)
    return np.asarray(np.clip(total / np.float32(2.6), -1, 1))


def _paint_coast(canvas: Canvas) -> None:
    xs = canvas.x[0]
    ridge = canvas.noise(5, 1, octaves=5, seed=11)[0]
    rise = 0.035 * step(xs, 0.52, 0.95) * (1 + 0.22 * ridge)
    hills = canvas.shape([*_line(xs, HORIZON - rise), (1.0, HORIZON), (0.42, HORIZON)])
    canvas.cover((0.085, 0.085, 0.12), hills * np.float32(0.92))
    hull = [(0.118, 0.655), (0.172, 0.655), (0.164, 0.6655), (0.126, 0.6655)]
    main_sail = [(0.1475, 0.585), (0.1475, 0.651), (0.170, 0.651)]
    fore_sail = [(0.1455, 0.594), (0.1455, 0.650), (0.124, 0.650)]
    canvas.cover((0.02, 0.02, 0.03), canvas.shape(hull))
    canvas.cover((0.11, 0.085, 0.08), canvas.shape(main_sail, fore_sail))


def _paint_beams(canvas: Canvas) -> None:
    dx, dy = canvas.x - LAMP[0], canvas.y - LAMP[1]
    distance = np.hypot(dx, dy)
    fading = np.exp(-distance / 0.42)
    for lean, strength in ((np.pi + 0.13, 0.62), (0.13, 0.5)):
        along = dx * np.float32(np.cos(lean)) + dy * np.float32(np.sin(lean))
        across = dy * np.float32(np.cos(lean)) - dx * np.float32(np.sin(lean))
        beam = bump(across, 0.012 + 0.115 * np.clip(along, 0, None)) * step(along, 0, 0.03)
        canvas.add(LAMP_LIGHT, strength * beam * fading)
    canvas.add(LAMP_LIGHT, 0.34 * np.exp(-distance / 0.045) + 0.05 * np.exp(-distance / 0.18))


def _paint_rock(canvas: Canvas) -> None:
    xs = canvas.x[0]
    rough = canvas.noise(16, 1, octaves=6, seed=23)[0]
    level = step(xs, 0.50, 0.58) * (1 - 0.6 * step(xs, 0.90, 0.97))
    top = 1.03 - 0.19 * step(xs, 0.36, 0.60) - 0.09 * step(xs, 0.22, 0.42)
    top += rough * np.float32(0.012) * (1 - 0.72 * level)
    below = np.clip(canvas.y - top[np.newaxis, :], 0, None)
    relief = canvas.noise(13, 9, octaves=7, seed=5)
    shift = max(1, canvas.side_px // 300)
    lower_left = np.pad(relief, ((0, shift), (shift, 0)), mode="edge")[shift:, :-shift]
    slope = relief - lower_left  # a raking light
    lit = step(slope, 0.05, 0.75) * (0.22 * np.exp(-below / 0.07) + 0.035)
    rim = step(slope, -0.3, 0.4) * bump(below, 0.004) * 0.22
    stone = np.asarray(ROCK, np.float32) + (lit + rim)[..., np.newaxis] * np.asarray(WARM)
    canvas.cover(stone.astype(np.float32), canvas.shape([*_line(xs, top), (1.0, 1.0), (0.0, 1.0)]))
    foam = step(canvas.noise(34, 26, octaves=4, seed=31), 0.0, 1.6) * bump(
        canvas.y - top - 0.004, 0.010
    )
    canvas.cover((0.70, 0.64, 0.62), foam * step(xs, 0.19, 0.25) * (1 - step(xs, 0.32, 0.42)))


def _paint_cottage(canvas: Canvas) -> None:
    wall = _box(0.765, 0.692, 0.120, 0.10)
    roof = [(0.752, 0.694), (0.783, 0.646), (0.867, 0.646), (0.898, 0.694)]
    chimney = _box(0.846, 0.625, 0.016, 0.030)
    shade = np.clip(0.30 - 1.3 * (canvas.x - 0.765), 0.1, 1)[..., np.newaxis]
    canvas.cover(np.asarray(PLASTER, np.float32) * shade, canvas.shape(wall))
    canvas.cover(IRON, canvas.shape(roof, chimney))
    for left in (0.785, 0.842):
        canvas.cover((1.0, 0.78, 0.42), canvas.shape(_box(left, 0.711, 0.020, 0.026)))
        bars = (_box(left + 0.0092, 0.711, 0.0016, 0.026), _box(left, 0.723, 0.020, 0.0016))
        canvas.cover(IRON, canvas.shape(*bars))
    canvas.cover(IRON, canvas.shape(_box(0.816, 0.713, 0.018, 0.07)))


def _paint_lighthouse(canvas: Canvas) -> None:
    axis, head, foot = LAMP[0], 0.288, 0.79
    half = 0.030 + 0.025 * (canvas.y - head) / (foot - head)
    around = np.clip((canvas.x - axis) / half, -1, 1)
    shade = (0.08 + 0.80 * np.clip(1 - np.square(around + 0.45) / 1.9, 0, 1))[..., np.newaxis]
    tower = canvas.shape(_trapezium(axis, (head, 0.030), (foot, 0.055)))
    canvas.cover(np.asarray(PLASTER, np.float32) * shade, tower)
    for top, bottom in ((0.372, 0.452), (0.545, 0.632), (0.725, foot)):
        inside = (canvas.y >= top) & (canvas.y < bottom)
        canvas.cover(np.asarray(PAINT, np.float32) * (0.4 + shade), tower * inside)
    for y in (0.487, 0.667):
        window = _box(axis - 0.006, y, 0.012, 0.026)
        canvas.cover((0.85, 0.62, 0.32), canvas.shape(window))
    _paint_lantern(canvas, axis, head)


def _paint_lantern(canvas: Canvas, axis: float, head: float) -> None:
    canvas.cover((0.95, 0.85, 0.60), canvas.shape(_box(axis - 0.0225, 0.214, 0.045, 0.068)))
    away = np.hypot(canvas.x - LAMP[0], canvas.y - LAMP[1] - 0.010)
    canvas.add(LAMP_LIGHT, 0.9 * bump(away, 0.017))
    gallery = _box(axis - 0.043, head - 0.008, 0.086, 0.010)
    bracket = _trapezium(axis, (head + 0.002, 0.040), (head + 0.020, 0.029))
    bars = [_box(axis + at - 0.001, 0.214, 0.002, 0.068) for at in (-0.0215, -0.01, 0.01, 0.0215)]
    bars += [_box(axis - 0.043, y, 0.086, 0.0018) for y in (0.252, 0.265)]
    bars += [_box(axis + 0.0105 * at - 0.001, 0.252, 0.002, 0.030) for at in range(-4, 5)]
    angles = np.linspace(0, np.pi, 40)
    dome = [(axis + 0.028 * float(np.cos(a)), 0.215 - 0.032 * float(np.sin(a))) for a in angles]
    ball = [
        (axis + 0.005 * float(np.cos(2 * a)), 0.181 + 0.005 * float(np.sin(2 * a))) for a in angles
    ]
    tip = _box(axis - 0.0012, 0.150, 0.0024, 0.036)
    canvas.cover(IRON, canvas.shape(gallery, bracket, *bars, dome, ball, tip))
    canvas.add(LAMP_LIGHT, 0.55 * bump(away, 0.012))


def _line(xs: Floats, ys: Floats) -> Points:
    return [(float(x), float(y)) for x, y in zip(xs, ys, strict=True)]


def _box(left: float, top: float, width: float, height: float) -> Points:
    right, bottom = left + width, top + height
    return [(left, top), (right, top), (right, bottom), (left, bottom)]


def _trapezium(axis: float, top: tuple[float, float], bottom: tuple[float, float]) -> Points:
    """Return a shape of which `top` and `bottom` give height and half the width."""
    (high, narrow), (low, wide) = top, bottom
    return [(axis - narrow, high), (axis + narrow, high), (axis + wide, low), (axis - wide, low)]
