"""A row of contacts laid flat, and where its contacts lie in it: at what pitch, which way they lean, at what phase.

1. A strip is laid flat in millimetres. Where the scale is not known, a quarter of the strip's height stands for one:
   contacts of edge connectors are 1.3 to 9 times as long as their pitch (common practice, no source), which then lies
   within the limits below.
2. Shares and colours are averaged along the contacts. Lags at which the averages resemble themselves are possible
   pitches (autocorrelation); the lag that explains most is taken. Its phase follows by demodulation, first over many
   contacts, then over few, so that it may wander a little (perspective, a lens, a bent board).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.scale import FacePlane

GreyPicture = NDArray[np.float32]
Signals = NDArray[np.complex128]

# Chosen on renders that the network was not trained on. Other values of those that were varied (gap, middle, colours,
# windows, evenness, what counts as slow) changed the mean IoU there by no more than 0.002.
ALONG_MM, ACROSS_MM = 0.08, 0.2  # steps of a flat strip along the row, and along its contacts
ENDS, SIDES = 8, 5  # steps of a flat strip beyond the strip
PITCHES_MM = (0.45, 3.2)  # of edge connectors in use: common practice, no source
LEAST_PITCH_PX = 2.5  # below this, it is the pixels that seem to recur
LEAST_EVEN = 0.9  # of the shares' variation and half of a colour's, together: the part that the pitch explains
_EVERY = 8  # steps between places that are looked up in the plane
_MIDDLE = 0.64  # share of the contacts' length that is averaged
_LEANS = (-0.12, 0.0, 0.12)  # of contacts against the row's normal, as a slope; then nearer to the best
_LEANS_NEARER = (0.06, 0.03)
_UPRIGHT = 0.5  # a slope of 0.1 must explain a twentieth more than none
_SLOW_MM = 1.2  # changes slower than over this length are not a row of contacts
_MOST_PITCHES = 5  # that are tried
_PITCHES_FINER = np.linspace(0.95, 1.05, 11)  # times the lag, which is whole steps
_COLOURS = 2.0  # weight of the colours, together, against shares
_MANY, _FEW = 4.0, 2.0  # standard deviations, in pitches, of the windows that the phase is averaged over
_BAND = 0.12  # of its frequency, either way: beyond it, a ten-thousandth of a window over many is left
_BENDS = 3  # degree of the polynomial that the phase follows over many contacts
_MOST_TURN = 2.0  # radians by which the phase may leave that polynomial


@dataclass(frozen=True, eq=False)
class FlatStrip:
    """A strip laid flat: x runs along the row, y along its contacts.

    Attributes:
        corner: float64 (2,), mm in the plane of the faces, of its first sample.
        along, across: float64 (2,), unit vectors of x and y.
        share: float32 (height, width), 0..1.
        middle: float32 (n, width, 4), share and weighed colours in the middle of the contacts' length.
    """

    corner: FloatArray
    along: FloatArray
    across: FloatArray
    share: GreyPicture
    middle: GreyPicture

    def places(self, at_mm: FloatArray) -> tuple[GreyPicture, GreyPicture]:
        """Columns and rows of points (n, 2) in mm."""
        off = at_mm - self.corner
        return (off @ self.along / ALONG_MM).astype(np.float32), (off @ self.across / ACROSS_MM).astype(np.float32)


@dataclass(frozen=True, eq=False)
class StripComb:
    """Where contacts lie in a strip.

    Attributes:
        lean: slope of the contacts against y.
        phase: float64 (width,), a whole number in the middle of each contact, one more in the middle of the next.
        pitch: steps.
    """

    lean: float
    phase: FloatArray
    pitch: float


def rectangle(at_mm: FloatArray) -> tuple[FloatArray, FloatArray, float, float]:
    """The least rectangle around points (n, 2): middle, unit vector along its longer side, length and width."""
    middle, (length, width), degrees = cv2.minAreaRect(at_mm.astype(np.float32))
    if length < width:
        length, width, degrees = width, length, degrees + 90
    along = np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])
    return np.array(middle, np.float64), along, length, width


def laid_flat(
    rgb: NDArray[np.uint8],
    share: NDArray[np.uint8],
    plane: FacePlane,
    centre: FloatArray,
    along: FloatArray,
    size: tuple[float, float],
) -> FlatStrip:
    """A rectangle of a picture as a strip.

    Args:
        rgb: uint8 (height, width, 3).
        share: uint8 (height, width), plated share, 255 = 1.
        plane: of the faces, from pixels of this picture.
        centre: float64 (2,), mm.
        along: float64 (2,), unit vector along the row.
        size: mm along the row, and along its contacts.
    """
    across = np.array([-along[1], along[0]])
    columns, rows = round(size[0] / ALONG_MM) + 2 * ENDS, round(size[1] / ACROSS_MM) + 2 * SIDES
    corner = centre - along * columns * ALONG_MM / 2 - across * rows * ACROSS_MM / 2
    # the plane is looked up only every few steps, as it bends slowly; OpenCV's resize has its nodes at these places
    nodes = [(np.arange(-(-count // _EVERY) + 2) - 0.5) * _EVERY - 0.5 for count in (columns, rows)]
    off = np.stack(np.meshgrid(nodes[0] * ALONG_MM, nodes[1] * ACROSS_MM), axis=-1)
    nodes_px = plane.to_px((corner + off @ np.stack([along, across])).reshape(-1, 2)).astype(np.float32)
    whole = (len(nodes[0]) * _EVERY, len(nodes[1]) * _EVERY)
    at = cv2.resize(nodes_px.reshape(off.shape), whole)[_EVERY : _EVERY + rows, _EVERY : _EVERY + columns]
    flat_share, flat_rgb = (
        np.asarray(cv2.remap(picture, at, None, cv2.INTER_LINEAR, borderMode=border) / np.float32(255), np.float32)
        for picture, border in ((share, cv2.BORDER_CONSTANT), (rgb, cv2.BORDER_REPLICATE))
    )
    spare = int((rows - size[1] / ACROSS_MM * _MIDDLE) / 2)
    middle = slice(spare, rows - spare)
    seen = np.dstack([flat_share[middle], flat_rgb[middle] * np.float32(np.sqrt(_COLOURS / 3))])
    return FlatStrip(corner, along, across, flat_share, seen)


def comb_of(strip: FlatStrip, finest_mm: float, least_even: float = LEAST_EVEN) -> StripComb | None:
    """Where the contacts lie, at a pitch of at least ``finest_mm``; None where nothing recurs evenly enough."""
    powers = {lean: _power(_profile(strip, lean)) for lean in _LEANS}
    found = [
        (_strength(p, lean, pitch), lean, pitch) for lean, p in powers.items() for pitch in _pitches(p, finest_mm)
    ]
    strength, lean, pitch = max(found, default=(0.0, 0.0, 0.0))
    if strength <= 0:
        return None
    for nearer in _LEANS_NEARER:
        powers |= {at: _power(_profile(strip, at)) for at in (lean - nearer, lean + nearer)}
        lean = max(powers, key=lambda at: _strength(powers[at], at, pitch))
    _, pitch = max((_strength(powers[lean], lean, pitch * finer), pitch * finer) for finer in _PITCHES_FINER)
    phase = _phase(_less_mean(_profile(strip, lean), pitch), pitch, least_even)
    return StripComb(lean, phase, pitch) if phase is not None else None


def leant(picture: GreyPicture, lean: float) -> GreyPicture:
    """A flat strip whose contacts lean, set upright."""
    height, width = picture.shape[:2]
    slope = lean * ACROSS_MM / ALONG_MM
    turn = np.array([[1, slope, -slope * (height - 1) / 2], [0, 1, 0]])
    upright = cv2.warpAffine(picture, turn, (width, height), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    return np.asarray(upright, np.float32)


def _profile(strip: FlatStrip, lean: float) -> FloatArray:
    """Share and colours along the row from its first contact to its last, (n, 4): a row's ends recur nowhere."""
    return np.asarray(leant(strip.middle, lean)[:, ENDS:-ENDS].mean(axis=0), np.float64)


def _less_mean(profile: FloatArray, pitch: float) -> FloatArray:
    """A profile less its mean over a pitch: what recurs at that pitch stays."""
    return np.asarray(profile - cv2.blur(profile, (1, round(pitch) | 1), borderType=cv2.BORDER_REPLICATE))


def _power(profile: FloatArray) -> FloatArray:
    """Power (n + 1,) of a profile of n steps at 0, 1, … n cycles in 2 n steps, shares and colours together."""
    even = profile - profile.mean(axis=0)
    return np.asarray((np.abs(np.fft.rfft(even, 2 * len(profile), axis=0)) ** 2).sum(axis=1))


def _pitches(power: FloatArray, finest_mm: float) -> list[float]:
    """Lags at which a profile resembles itself more than at those nearby, the likeliest first."""
    n = len(power) - 1
    cycles = np.arange(n + 1) / (2 * n)
    alike = np.fft.irfft(power * _kept(cycles, _SLOW_MM / ALONG_MM))[:n] / np.arange(n, 0, -1)
    lag = np.arange(round(finest_mm / ALONG_MM), min(round(PITCHES_MM[1] / ALONG_MM), n // 3))
    peak = lag[(alike[lag] >= alike[lag - 1]) & (alike[lag] >= alike[lag + 1])]
    more = alike[peak] - alike[peak // 2]  # twice a pitch is a lag too, but half of it then is one as well
    return [float(at) for at in peak[np.argsort(-more)][:_MOST_PITCHES]]


def _strength(power: FloatArray, lean: float, pitch: float) -> float:
    """How much of a profile recurs near a pitch, less for contacts that lean."""
    n = len(power) - 1
    at = 2 * n / pitch
    band = np.arange(int(at * (1 - _BAND)), min(int(at * (1 + _BAND)) + 2, n + 1))
    near = np.exp(-((2 * np.pi * _MANY * (band / at - 1)) ** 2))
    return float((power[band] * _kept(band / (2 * n), pitch) * near).sum() / n**2) * (1 - _UPRIGHT * abs(lean))


def _kept(cycles: FloatArray, pitch: float) -> FloatArray:
    """Share of the power, at given cycles per step, that is left after the mean over a pitch is subtracted."""
    return np.asarray((1 - np.sinc(cycles * pitch)) ** 2)


def _phase(profile: FloatArray, pitch: float, least_even: float) -> FloatArray | None:
    """Phase of a profile (n, 4) that recurs near a pitch, float64 (n + 2 × ``ENDS``,), continued beyond the profile.

    None where the phase explains too little of the profile.
    """
    x = np.arange(len(profile))
    turn = np.asarray(x * (2 * np.pi / pitch), np.float64)
    joint = _joint(_demodulated(profile, turn, _MANY * pitch))
    bend = np.polynomial.Polynomial.fit(x, np.unwrap(np.angle(joint)), _BENDS, w=np.abs(joint))
    turn = np.asarray(turn + bend(x), np.float64)
    near = _demodulated(profile, turn, _FEW * pitch)
    explained = 2 * (np.abs(near) ** 2).mean(axis=0) / np.maximum((profile**2).mean(axis=0), 1e-12)
    if explained[0] + explained[1:].max() / 2 < least_even:
        return None
    turn = turn + np.clip(np.angle(_joint(near)), -_MOST_TURN, _MOST_TURN)
    return np.pad(np.asarray(turn / (2 * np.pi)), ENDS, "reflect", reflect_type="odd")


def _demodulated(profile: FloatArray, turn: FloatArray, sigma: float) -> Signals:
    return smooth(np.asarray(profile * np.exp(-1j * turn)[:, None], np.complex128), sigma)


def _joint(signals: Signals) -> Signals:
    """One signal (n,) from shares and colours (n, 4): colours turned into phase with the shares."""
    against = (signals * np.conj(signals[:, :1])).mean(axis=0)
    return np.asarray((signals * np.conj(against / np.maximum(np.abs(against), 1e-12))).sum(axis=1))


def smooth(signals: Signals, sigma: float) -> Signals:
    """Each column of (n, k) smoothed with a Gaussian window; only the part of the window inside counts."""
    n = len(signals)
    room = cv2.getOptimalDFTSize(2 * n)
    window = np.exp(-2 * (np.pi * sigma * np.fft.fftfreq(room)) ** 2)[:, None]
    both = np.column_stack([signals, np.ones(n)])
    seen = np.fft.ifft(np.fft.fft(both, room, axis=0) * window, axis=0)[:n]
    return np.asarray(seen[:, :-1] / np.maximum(seen[:, -1:].real, 1e-9))
