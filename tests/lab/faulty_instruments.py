"""Sittings of a spectrophotometer with known faults, by a physical model of its own; invented.

`sitting` returns plain dicts of numpy arrays: what was read and when, the tiles' certificates with
their stated uncertainty, earlier sittings' tile readings, and the truth.
"""

from __future__ import annotations

import numpy as np

FINE = np.arange(330.0, 801.0, 1.0)
FAULTS = (
    "zero",
    "gain",
    "drift",
    "bend",
    "shift",
    "bandpass",
    "jump",
    "dirt",
    "dark_white",
    "certificates",
    "temperature",
)
FAULTLESS: tuple = ()
SIX = ("zero", "gain", "drift", "bend", "shift", "bandpass")
PRESETS = {
    "faultless": FAULTLESS,
    "six": SIX,
    "coverage": (*SIX, "certificates", "temperature"),
    "certificates_only": ("certificates",),
    "temperature_only": ("temperature",),
    "dirt": ("zero", "gain", "drift", "dirt"),
    "dark_white": ("zero", "gain", "dark_white"),
    "jump": ("zero", "gain", "drift", "jump"),
}
TILES = {
    "white": (0.82, [(405, 14, 0.06)], 0.0),
    "pale grey": (0.57, [(408, 16, 0.04)], 0.0),
    "mid grey": (0.27, [(410, 18, 0.02)], 0.0),
    "deep grey": (0.085, [(420, 30, 0.006)], 0.0),
    "black": (0.006, [(620, 60, 0.002)], 0.0),
    "red": (0.045, [(607, 9, 0.56), (420, 20, -0.008)], -0.010),
    "orange": (0.055, [(558, 10, 0.44), (615, 25, 0.16)], -0.010),
    "green": (0.060, [(478, 13, 0.22), (566, 16, -0.21), (720, 15, 0.09)], -0.002),
    "blue": (0.050, [(420, 11, 0.22), (492, 15, -0.215), (688, 11, 0.20)], 0.001),
}
"""Invented ceramic tiles: base, edges (centre, width, height), and the change of reflectance at the
edge for 10 K (orange and red about 0.01: from memory of the trade, no source), negative as an edge
moves to longer wavelengths."""


def edges(w, base, parts):
    r = np.full(np.shape(w), float(base))
    for centre, width, height in parts:
        r = r + height / (1 + np.exp(-(w - centre) / width))
    return r


def seen(spectra, centres, fwhm):
    """Fine spectra (..., FINE) through slits of ``fwhm`` nm at ``centres`` (n,): (..., n)."""
    slit = np.clip(1 - np.abs(FINE[:, None] - centres[None, :]) / fwhm, 0, None)
    return np.asarray(spectra) @ (slit / slit.sum(0))


def smooth(rng, w, n=3):
    """A smooth random function of wavelength, standard deviation 1 at each wavelength."""
    x = (w - 555) / 175
    basis = np.array([np.cos(np.pi * k * (x + 1) / 2) for k in range(n)])
    return rng.normal(0, 1, n) @ basis / np.sqrt((basis**2).sum(0))


def paints(rng, n):
    """Fine spectra of a card's patches, bare white first: random edges, let down at random."""
    white = edges(FINE, 0.09, [(400, 8, 0.79)])
    out = [white]
    for _ in range(n - 1):
        strong = edges(
            FINE,
            rng.uniform(0.03, 0.08),
            [
                (
                    rng.uniform(420, 690),
                    rng.uniform(7, 35),
                    rng.choice([-1, 1]) * rng.uniform(0.05, 0.5),
                )
                for _ in range(rng.integers(1, 4))
            ],
        )
        strong = np.clip(strong - min(0.0, strong.min() - 0.02), 0.02, 0.9)
        out.append(strong ** (1 - (share := rng.uniform(0, 0.9))) * white**share)
    return np.array(out)


def draw(rng, faults, w, duration):
    """The instrument's faults of one sitting; each none unless asked for."""
    on = faults.__contains__

    def sign():
        return rng.choice([-1.0, 1.0])

    f = {
        "zero": 0.002 * sign() * rng.uniform(0.4, 1.2) * (1 + 0.4 * smooth(rng, w)),
        "gain": 1 + 0.01 * sign() * rng.uniform(0.3, 1.5) * (1 + 0.4 * smooth(rng, w)),
        "drift": 0.008 * sign() * rng.uniform(0.3, 1.2),
        "drift_curve": rng.uniform(-0.4, 0.4),
        "drift_tilt": rng.uniform(-0.2, 0.2),
        "bend": 0.02 * sign() * rng.uniform(0.4, 1.2),
        "shift": sign() * rng.uniform(0.15, 0.7),
        "slope": rng.uniform(-0.3, 0.3),
        "bandpass": rng.uniform(1.2, 1.6),
        "jump": rng.choice([0.01, 0.03]) * sign(),
    }
    for key, none in (
        ("zero", np.zeros(w.size)),
        ("gain", np.ones(w.size)),
        ("bend", 0.0),
        ("shift", 0.0),
        ("bandpass", 1.0),
        ("drift", 0.0),
        ("jump", 0.0),
    ):
        if not on(key):
            f[key] = none
    if not on("shift"):
        f["slope"] = 0.0
    f["duration"] = duration
    return f


def gain_at(f, w, times, jump_time):
    """Gain (n_events, n_w) at the events' times."""
    u = times / f["duration"]
    course = f["drift"] * (u + f["drift_curve"] * u * (1 - u) * 4)
    g = 1 + course[:, None] * (1 + f["drift_tilt"] * (w - 555) / 175)[None, :]
    return f["gain"] * g * (1 + f["jump"] * (times >= jump_time))[:, None]


def read(rng, f, w, fwhm, spectra, gain, noise):
    """Readings (n_events, n_w) of fine spectra (n_events, FINE)."""
    centres = w + f["shift"] + f["slope"] * (w - 555) / 100
    s = seen(spectra, centres, fwhm * f["bandpass"])
    s = s + f["bend"] * s * (1 - s)
    s = f["zero"] + gain * s
    return s + rng.normal(0, 1, s.shape) * noise * np.sqrt(0.3 + 3 * np.clip(s, 0, None))


def warmed(name, kelvin, strength):
    """A tile's fine spectrum ``kelvin`` above its certificate's temperature."""
    base, parts, change = TILES[name]
    r = edges(FINE, base, parts)
    if change and kelvin:
        slope = np.gradient(r, FINE)
        r = (
            r
            - slope / np.abs(slope).max() * abs(change) * np.sign(-change) * kelvin / 10 * strength
        )
    return r


def sitting(
    seed,
    faults=(),
    *,
    patches=None,
    step=10.0,
    first=400.0,
    last=700.0,
    bandpass=None,
    repeats=2,
    control_every=None,
    closing="white",
    jump_among_patches=True,
    dirty=None,
    noise=0.0002,
    earlier=3,
    stated=None,
    jump_size=None,
):
    """One synthetic sitting: tiles, card, closing tile.

    Parameters
    ----------
    seed : int
    faults : sequence of str
        Some of ``FAULTS``, or a key of ``PRESETS``.
    patches : int, optional
        Patches on the card, bare white first; drawn from 16 to 48 if None.
    step, first, last, bandpass : float
        The instrument's nominal wavelengths and full width at half height (triangular); bandpass =
        max(step, 10) if None. Certificates are given at the same wavelengths and nominal bandpass.
    repeats : int
        Readings a tile at the opening.
    control_every : int, optional
        Read the mid grey tile as control after every so many patches.
    closing : str or None
        "white", "all" or None.
    jump_among_patches : bool
        The jump comes between two readings of the card, else anywhere after the first reading.
    dirty : str, optional
        Which tile "dirt" is on; drawn if None.
    earlier : int
        Earlier sittings whose tile readings are given (without dirt, dark white or jump).
    stated : float, optional
        Relative standard uncertainty that the certificates state; drawn from 0.002 to 0.005 if
        None. Without the fault "certificates" it is still stated, but the certificates are exact.
    noise : float
        Scale of the noise: its standard deviation is noise * sqrt(0.3 + 3 reading).
    jump_size : float, optional
        Size of the jump (its sign is drawn); 0.01 or 0.03 at random if None.
    """
    faults = PRESETS.get(faults, faults) if isinstance(faults, str) else tuple(faults)
    if unknown := set(faults) - set(FAULTS):
        raise ValueError(f"unknown faults {sorted(unknown)}; known are {FAULTS}")
    rng = np.random.default_rng([20, seed])
    w = np.arange(first, last + step / 2, step)
    fwhm = bandpass or max(step, 10.0)
    n = int(rng.integers(16, 49)) if patches is None else patches
    names = list(TILES)

    plan = [("tile", t) for t in names for _ in range(repeats)]
    for i in range(n):
        plan.append(("patch", f"P{i + 1:02d}"))
        if control_every and (i + 1) % control_every == 0 and i + 1 < n:
            plan.append(("control", "mid grey"))
    plan += [("closing", t) for t in ({"white": ["white"], "all": names}.get(closing) or [])]
    times = np.cumsum(rng.uniform(6, 18, len(plan)))
    times -= times[0]
    kinds = np.array([k for k, _ in plan])
    card = paints(rng, n)
    f = draw(rng, faults, w, max(times[-1], 1.0))
    if jump_size is not None and "jump" in faults:
        f["jump"] = np.sign(f["jump"]) * jump_size

    among = np.flatnonzero(kinds == "patch") if jump_among_patches else np.arange(len(plan))
    k = int(rng.choice(among[1:]))  # the first event after the jump
    jump_time = (times[k - 1] + times[k]) / 2 if "jump" in faults else np.inf

    level = rng.uniform(0.002, 0.005) if stated is None else stated
    common, own = rng.normal(), {t: smooth(rng, w) for t in names}
    nominal = {t: seen(warmed(t, 0, 1), w, fwhm) for t in names}
    off = level if "certificates" in faults else 0.0
    certificate = {t: nominal[t] * (1 + off * np.sqrt(0.5) * (common + own[t])) for t in names}
    uncertainty = {t: level * nominal[t] for t in names}

    strength = {t: rng.uniform(0.7, 1.3) for t in names}

    def tile_spectra(room, soil):
        return {
            t: warmed(t, room + rng.normal(0, 0.3) * ("temperature" in faults), strength[t])
            * soil.get(t, 1.0)
            for t in names
        }

    history = []
    for j in range(earlier):
        then = {
            **f,
            "zero": f["zero"] * rng.uniform(0.8, 1.2),
            "gain": f["gain"] * (1 + 0.003 * rng.normal() * ("gain" in faults)),
            "drift": 0.0,
            "jump": 0.0,
        }
        room = rng.uniform(-4, 4) if "temperature" in faults else 0.0
        fine = tile_spectra(room, {})
        spectra = np.array([fine[t] for t in names for _ in range(repeats)])
        g = np.broadcast_to(then["gain"], (len(spectra), w.size))
        history.append(
            {
                "days_ago": float(7 * (earlier - j)),
                "names": np.repeat(names, repeats),
                "readings": read(rng, then, w, fwhm, spectra, g, noise),
            }
        )

    soil = {}
    if "dirt" in faults:
        grime = 1 - 0.02 * (1 - 0.25 * np.tanh((FINE - 555) / 120))  # a little more in the blue
        soil[dirty or str(rng.choice([t for t in names if t != "black"]))] = grime
    if "dark_white" in faults:
        soil["white"] = np.full(FINE.size, 0.92)
    room = rng.uniform(-4, 4) if "temperature" in faults else 0.0
    fine = tile_spectra(room, soil)
    spectra = np.array(
        [card[int(name[1:]) - 1] if kind == "patch" else fine[name] for kind, name in plan]
    )
    gain = gain_at(f, w, times, jump_time)
    readings = read(rng, f, w, fwhm, spectra, gain, noise)

    def read_again(patch, after):
        """Read a patch of the card again, so many readings after the last: when, and what."""
        when = times[-1] + 12.0 * after
        again = gain_at(f, w, np.array([when]), jump_time)
        values = read(rng, f, w, fwhm, card[int(patch[1:]) - 1][None], again, noise)[0]
        return when, values

    return {
        "read_again": read_again,
        "wavelengths": w,
        "bandpass": fwhm,
        "temperature_range": (21.0, 29.0),
        "certificate_temperature": 25.0,
        "events": {
            "time": times,
            "kind": kinds,
            "name": np.array([name for _, name in plan]),
            "reading": readings,
        },
        "certificates": {
            "names": np.array(names),
            "values": np.array([certificate[t] for t in names]),
            "uncertainty": np.array([uncertainty[t] for t in names]),
            "common_share_of_variance": 0.5,
        },
        "history": history,
        "truth": {
            "faults": tuple(faults),
            "patches": seen(card, w, fwhm),
            "patches_fine": card,
            "fine": FINE,
            "tiles_now": np.array([seen(fine[t], w, fwhm) for t in names]),
            "tiles_clean_25": np.array([nominal[t] for t in names]),
            "gain": gain,
            "zero": f["zero"],
            "bend": f["bend"],
            "shift": f["shift"],
            "slope_per_100_nm": f["slope"],
            "bandpass_factor": f["bandpass"],
            "drift": f["drift"],
            "jump": f["jump"],
            "jump_time": jump_time,
            "jump_before_event": k if "jump" in faults else -1,
            "soiled": tuple(soil),
            "room": 25.0 + room,
        },
    }
