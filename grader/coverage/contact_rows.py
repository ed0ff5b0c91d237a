"""Contacts of a row, drawn as in real rows: at one pitch, of one width, ending on one line.

Where plating and laminate look alike, the network sees that there is a row, and about how much of it is plated, but
not where one contact ends and the next begins. The network and the photo together show enough along the whole row:

1. A strip is what would be one piece if the gaps between contacts were closed. It is laid flat in millimetres.
2. Shares and colours are averaged along the contacts. Lags at which the averages resemble themselves are possible
   pitches (autocorrelation); the lag that explains most is taken. Its phase follows by demodulation, first over many
   contacts, then over few, so that it may wander a little (perspective, a lens, a bent board).
3. All contacts get one width, chosen so that the row's plated area stays the same. Each keeps its own share, so that
   worn and missing contacts stay so; its spread over the contact's length is shared with its neighbours.

Rows that the network is sure of are left alone: it sees their contacts one by one, better than a model of all.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.scale import FacePlane
from grader.coverage.error import doubt_of
from grader.coverage.plated import around_plating

GreyPicture = NDArray[np.float32]
Signals = NDArray[np.complex128]

# Chosen on renders that the network was not trained on. Other values of those that were varied (gap, middle, colours,
# windows, evenness, what counts as slow) changed the mean IoU there by no more than 0.002.
_SEEN, _IS_CONTACT = 50, 110  # of 255: plated share and chance of an edge contact above which a pixel is in a strip
_GAP_MM = 0.45  # closed to make strips
_REACH_PX = 2  # redrawn beyond a strip's own pixels
_SHORTEST_MM, _NARROWEST_MM, _LEAST_ASPECT = 4.0, 1.2, 1.3  # of strips
_LONGEST_MM = 500.0  # no edge connector is this long (common practice, no source): if a strip is, the scale is wrong
_LEAST_DOUBT = 0.16  # of a strip: strips with less doubt stay; at 0.13 one picture in eight got worse
_ALONG_MM, _ACROSS_MM = 0.08, 0.2  # steps of a flat strip along the row, and along its contacts
_EVERY = 8  # steps between places that are looked up in the plane
_ENDS, _SIDES = 8, 5  # steps of a flat strip beyond the strip
_MIDDLE = 0.64  # share of the contacts' length that is averaged
_LEANS = (-0.12, 0.0, 0.12)  # of contacts against the row's normal, as a slope; then nearer to the best
_LEANS_NEARER = (0.06, 0.03)
_UPRIGHT = 0.5  # a slope of 0.1 must explain a twentieth more than none
_PITCHES_MM = (0.45, 3.2)  # of edge connectors in use: common practice, no source
_SLOW_MM = 1.2  # changes slower than over this length are not a row of contacts
_LEAST_PITCH_PX = 2.5  # below this, it is the pixels that seem to recur
_MOST_PITCHES = 5  # that are tried
_PITCHES_FINER = np.linspace(0.95, 1.05, 11)  # times the lag, which is whole steps
_COLOURS = 2.0  # weight of the colours, together, against shares
_MANY, _FEW = 4.0, 2.0  # standard deviations, in pitches, of the windows that the phase is averaged over
_BAND = 0.12  # of its frequency, either way: beyond it, a ten-thousandth of a window over many is left
_LEAST_EVEN = 0.9  # of the shares' variation and half of a colour's, together: the part that the pitch explains
_BENDS = 3  # degree of the polynomial that the phase follows over many contacts
_MOST_TURN = 2.0  # radians by which the phase may leave that polynomial
_LIKE_NEIGHBOURS = 2.0  # standard deviation, in contacts, of the window for the spread over the length
_MISSING = 0.5  # of the usual share: contacts with less are drawn as they are
_OWN_SHARE = (0.7, 1.3)  # of its neighbours' share: between these limits a contact keeps its own
_WIDTHS = (0.3, 0.95)  # of a pitch
_SOFT = 1.2  # steps over which a drawn edge is spread
_ROUNDS = 5


@dataclass(frozen=True, eq=False)
class _Strip:
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
        return (off @ self.along / _ALONG_MM).astype(np.float32), (off @ self.across / _ACROSS_MM).astype(np.float32)


@dataclass(frozen=True, eq=False)
class _Comb:
    """Where contacts lie in a strip.

    Attributes:
        lean: slope of the contacts against y.
        phase: float64 (width,), a whole number in the middle of each contact, one more in the middle of the next.
        pitch: steps.
    """

    lean: float
    phase: FloatArray
    pitch: float


def draw_rows(
    rgb: NDArray[np.uint8], share: NDArray[np.uint8], contact: NDArray[np.uint8], plane: FacePlane, px_per_mm: float
) -> NDArray[np.uint8]:
    """Shares in which doubtful rows of contacts are drawn evenly; the sum of each stays nearly what it was.

    Args:
        rgb: uint8 (height, width, 3).
        share: uint8 (height, width), plated share, 255 = 1.
        contact: uint8 (height, width), chance of an edge contact, 255 = 1.
        plane: of the faces, from pixels of this picture.
        px_per_mm: of this picture.
    """
    seen = ((share > _SEEN) & (contact > _IS_CONTACT)).astype(np.uint8)
    gap = max(3, round(_GAP_MM * px_per_mm) | 1)
    closed = cv2.morphologyEx(seen, cv2.MORPH_CLOSE, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (gap, gap)))
    rows, columns = around_plating(closed)  # the rest of the picture holds nothing to label
    if rows.start == rows.stop:
        return share.copy()
    _, labels, boxes, _ = cv2.connectedComponentsWithStats(closed[rows, columns])
    boxes[:, [cv2.CC_STAT_LEFT, cv2.CC_STAT_TOP]] += [columns.start, rows.start]
    finest_mm = max(_PITCHES_MM[0], _LEAST_PITCH_PX / px_per_mm)
    large = boxes[:, cv2.CC_STAT_AREA] >= _SHORTEST_MM * _NARROWEST_MM * px_per_mm**2

    def draw(number: int) -> tuple[tuple[slice, slice], NDArray[np.bool_], GreyPicture] | None:
        left, top, width, height, _ = boxes[number].tolist()
        y0, x0 = max(top - _REACH_PX, 0), max(left - _REACH_PX, 0)
        around = (slice(y0, top + height + _REACH_PX), slice(x0, left + width + _REACH_PX))
        own = np.zeros(share[around].shape, np.uint8)
        y, x = top - y0, left - x0
        at_label = (slice(top - rows.start, None), slice(left - columns.start, None))
        own[y : y + height, x : x + width] = labels[at_label][:height, :width] == number
        own = cv2.dilate(own, np.ones((2 * _REACH_PX + 1,) * 2, np.uint8)) > 0
        before = share[around][own]
        if doubt_of(before) < _LEAST_DOUBT:
            return None
        at_mm = plane.to_mm((np.argwhere(own)[:, ::-1] + [x0, y0]).astype(np.float64))
        strip = _flat(rgb, share, plane, at_mm)
        comb = _comb(strip, finest_mm) if strip is not None else None
        if strip is None or comb is None:
            return None
        drawn = 255 * _looked_up(_drawn(strip, comb), strip.places(at_mm))
        return around, own, drawn * (float(before.sum()) / max(float(drawn.sum()), 1.0))

    out = share.copy()
    # one after another: the steps are so short that threads would only wait for each other
    for done in map(draw, (np.flatnonzero(large[1:]) + 1).tolist()):
        if done is not None:
            around, own, drawn = done
            out[around][own] = np.clip(np.round(drawn), 0, 255)
    return out


def _flat(rgb: NDArray[np.uint8], share: NDArray[np.uint8], plane: FacePlane, at_mm: FloatArray) -> _Strip | None:
    """The strip that these points (n, 2) form; None if they form no strip."""
    if not np.isfinite(at_mm).all():
        return None
    (x, y), (width, height), degrees = cv2.minAreaRect(at_mm.astype(np.float32))
    if width < height:
        width, height, degrees = height, width, degrees + 90
    if not max(_SHORTEST_MM, _LEAST_ASPECT * height) <= width <= _LONGEST_MM or height < _NARROWEST_MM:
        return None
    along = np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])
    across = np.array([-along[1], along[0]])
    columns, rows = round(width / _ALONG_MM) + 2 * _ENDS, round(height / _ACROSS_MM) + 2 * _SIDES
    corner = np.array([x, y]) - along * columns * _ALONG_MM / 2 - across * rows * _ACROSS_MM / 2
    # the plane is looked up only every few steps, as it bends slowly; OpenCV's resize has its nodes at these places
    nodes = [(np.arange(-(-count // _EVERY) + 2) - 0.5) * _EVERY - 0.5 for count in (columns, rows)]
    off = np.stack(np.meshgrid(nodes[0] * _ALONG_MM, nodes[1] * _ACROSS_MM), axis=-1)
    nodes_px = plane.to_px((corner + off @ np.stack([along, across])).reshape(-1, 2)).astype(np.float32)
    size = (len(nodes[0]) * _EVERY, len(nodes[1]) * _EVERY)
    at = cv2.resize(nodes_px.reshape(off.shape), size)[_EVERY : _EVERY + rows, _EVERY : _EVERY + columns]
    flat_share, flat_rgb = (
        np.asarray(cv2.remap(picture, at, None, cv2.INTER_LINEAR, borderMode=border) / np.float32(255), np.float32)
        for picture, border in ((share, cv2.BORDER_CONSTANT), (rgb, cv2.BORDER_REPLICATE))
    )
    spare = int((rows - height / _ACROSS_MM * _MIDDLE) / 2)
    middle = slice(spare, rows - spare)
    seen = np.dstack([flat_share[middle], flat_rgb[middle] * np.float32(np.sqrt(_COLOURS / 3))])
    return _Strip(corner, along, across, flat_share, seen)


def _comb(strip: _Strip, finest_mm: float) -> _Comb | None:
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
    phase = _phase(_less_mean(_profile(strip, lean), pitch), pitch)
    return _Comb(lean, phase, pitch) if phase is not None else None


def _leant(picture: GreyPicture, lean: float) -> GreyPicture:
    """A flat strip whose contacts lean, set upright."""
    height, width = picture.shape[:2]
    slope = lean * _ACROSS_MM / _ALONG_MM
    turn = np.array([[1, slope, -slope * (height - 1) / 2], [0, 1, 0]])
    upright = cv2.warpAffine(picture, turn, (width, height), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    return np.asarray(upright, np.float32)


def _profile(strip: _Strip, lean: float) -> FloatArray:
    """Share and colours along the row from its first contact to its last, (n, 4): a row's ends recur nowhere."""
    return np.asarray(_leant(strip.middle, lean)[:, _ENDS:-_ENDS].mean(axis=0), np.float64)


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
    alike = np.fft.irfft(power * _kept(cycles, _SLOW_MM / _ALONG_MM))[:n] / np.arange(n, 0, -1)
    lag = np.arange(round(finest_mm / _ALONG_MM), min(round(_PITCHES_MM[1] / _ALONG_MM), n // 3))
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


def _phase(profile: FloatArray, pitch: float) -> FloatArray | None:
    """Phase of a profile (n, 4) that recurs near a pitch, float64 (n + 2 × ``_ENDS``,), continued beyond the profile.

    None where the phase explains too little of the profile.
    """
    x = np.arange(len(profile))
    turn = np.asarray(x * (2 * np.pi / pitch), np.float64)
    joint = _joint(_demodulated(profile, turn, _MANY * pitch))
    bend = np.polynomial.Polynomial.fit(x, np.unwrap(np.angle(joint)), _BENDS, w=np.abs(joint))
    turn = np.asarray(turn + bend(x), np.float64)
    near = _demodulated(profile, turn, _FEW * pitch)
    explained = 2 * (np.abs(near) ** 2).mean(axis=0) / np.maximum((profile**2).mean(axis=0), 1e-12)
    if explained[0] + explained[1:].max() / 2 < _LEAST_EVEN:
        return None
    turn = turn + np.clip(np.angle(_joint(near)), -_MOST_TURN, _MOST_TURN)
    return np.pad(np.asarray(turn / (2 * np.pi)), _ENDS, "reflect", reflect_type="odd")


def _demodulated(profile: FloatArray, turn: FloatArray, sigma: float) -> Signals:
    return _smooth(np.asarray(profile * np.exp(-1j * turn)[:, None], np.complex128), sigma)


def _joint(signals: Signals) -> Signals:
    """One signal (n,) from shares and colours (n, 4): colours turned into phase with the shares."""
    against = (signals * np.conj(signals[:, :1])).mean(axis=0)
    return np.asarray((signals * np.conj(against / np.maximum(np.abs(against), 1e-12))).sum(axis=1))


def _smooth(signals: Signals, sigma: float) -> Signals:
    """Each column of (n, k) smoothed with a Gaussian window; only the part of the window inside counts."""
    n = len(signals)
    room = cv2.getOptimalDFTSize(2 * n)
    window = np.exp(-2 * (np.pi * sigma * np.fft.fftfreq(room)) ** 2)[:, None]
    both = np.column_stack([signals, np.ones(n)])
    seen = np.fft.ifft(np.fft.fft(both, room, axis=0) * window, axis=0)[:n]
    return np.asarray(seen[:, :-1] / np.maximum(seen[:, -1:].real, 1e-9))


def _drawn(strip: _Strip, comb: _Comb) -> GreyPicture:
    """The flat strip's shares with all contacts drawn alike."""
    upright = _leant(strip.share, comb.lean)
    number = np.floor(comb.phase + 0.5).astype(np.intp)
    off = np.abs(comb.phase - number) * comb.pitch  # steps from a contact's middle
    number -= number.min()
    steps = np.bincount(number)
    sums = np.stack([np.bincount(number, across, len(steps)) for across in upright])
    own = _like_neighbours(sums / np.maximum(steps, 0.8 * comb.pitch))
    width, total = 0.7, float(upright.sum())
    drawn = np.zeros_like(upright)
    for _ in range(_ROUNDS):
        box = np.clip((width * comb.pitch / 2 - off) / _SOFT + 0.5, 0, 1)
        drawn = (np.minimum(own / width, 1.0)[:, number] * box).astype(np.float32)
        width = float(np.clip(width * total / max(float(drawn.sum()), 1e-6), *_WIDTHS))
    return _leant(drawn, -comb.lean)


def _like_neighbours(own: FloatArray) -> FloatArray:
    """Shares over the length (height, contacts), each contact's spread taken from it and its neighbours."""
    total = own.sum(axis=0)
    there = (total > _MISSING * np.median(total)).astype(np.float64)
    several, few = (
        _smooth(v.astype(np.complex128), _LIKE_NEIGHBOURS).real.T for v in ((own * there).T, there[:, None])
    )
    around = several / np.maximum(few, 1e-3)
    factor = np.clip(total / np.maximum(around.sum(axis=0), 1e-6), *_OWN_SHARE)
    return np.asarray(np.where(there > 0, around * factor, own))


def _looked_up(picture: GreyPicture, at: tuple[GreyPicture, GreyPicture]) -> GreyPicture:
    """A picture's values (n,) at n places."""
    side = int(np.ceil(np.sqrt(len(at[0]))))  # OpenCV takes no map of more than 32 767 rows
    x, y = (np.resize(v, (side, side)) for v in at)
    return np.asarray(
        cv2.remap(picture, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT).ravel()[: len(at[0])]
    )
