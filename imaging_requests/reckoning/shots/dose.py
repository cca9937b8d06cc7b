"""Light and ultraviolet that a view costs the object. Arithmetic only, never advice."""

from imaging_requests.reckoning.shots.methods import Method

_SECONDS_PER_HOUR = 3600


def flash_lxs(aperture: float, iso: float, *, constant: float) -> float:
    """Luminous exposure of one correct frame in lx·s: ``H = C·N²/S``.

    >>> flash_lxs(8, 100, constant=250), flash_lxs(11, 100, constant=250)
    (160.0, 302.5)
    """
    return constant * aperture**2 / iso


def lamp_minutes(method: Method, *, minutes: float, tiles: int) -> float:
    """How long visible light falls on the object while a view is made."""
    if method.lamp_on == "view":
        return minutes
    if method.lamp_on == "tiles":
        return method.per_tile_min * tiles
    return method.lamp_on_min if method.lamp_on == "fixed" else 0.0


def view_light_lxh(
    method: Method, *, minutes: float, tiles: int, frames: int, flash_lxs_per_frame: float
) -> float:
    """Visible light of one view in lux hours: lamp-on minutes × lux / 60, plus its flashes."""
    lamp = lamp_minutes(method, minutes=minutes, tiles=tiles) * method.lamp_lx / 60
    flash = frames * flash_lxs_per_frame / _SECONDS_PER_HOUR if method.uses_flash else 0.0
    return lamp + flash
