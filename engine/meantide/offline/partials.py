"""Measure the frequency of sinusoids in a stretch of samples, by phase, far finer than a bin.

Let x be a line e^(i(w+d)t) and X[g] = sum of g(t) x(t) e^(-iwt) its transform at w under a weight
g. Integrating by parts, a window h that is zero at both ends gives X[h'] = -i d X[h], so that
d = -Im(X[h'] / X[h]): exact for a steady line and for one that dies or grows exponentially; and,
once w has been moved onto the line, exact for any change of amplitude, since a real envelope
turns no phase. (The idea is that of reassignment: Auger and Flandrin, IEEE Trans. Signal Proc. 43,
1995, from memory.) All arithmetic is float64.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Reals = NDArray[np.float64]
Complexes = NDArray[np.complex128]

# Four cosine terms with a continuous third derivative: side lobes from -82.6 dB, falling by 30 dB
# an octave. Nuttall, IEEE Trans. ASSP 29, 1981; coefficients from memory, their sum of alternate
# signs (0, and so the window's end) and their side lobes checked by the tests.
TERMS = np.array([0.338946, 0.481973, 0.161054, 0.018027])
MAIN_LOBE_BINS = 4.0  # half the width of the main lobe, in bins of rate / size
RMS_WIDTH = 0.1304  # standard deviation of the window as a density, in window lengths

_MEAN = float(TERMS[0])
_SLOPE_ENERGY = float(np.sum((2.0 * np.pi * np.arange(4) * TERMS) ** 2) / 2.0)

_RING_BINS = (6, 40)  # beside a line its skirts are gone and the noise is still its own
_FEWEST_RING_BINS = 8
_BUSY_BINS = 5.0
# Onto a line of even level two steps lead; where its level changes much, each step leaves some
# part of the way, a fifth or so.
_MOST_STEPS = 12
_CLOSE_BINS = 1e-8
_SKEW_BINS = 2  # within a main lobe, whatever stands beside it
_SKEW_SHARE = 0.5  # measured: of four such uncertainties pushes took half or less
_PEAK_SHARE = 10.0**-1.2  # in power: 12 dB


def window_at(place: Reals) -> Reals:
    """Return (3, ...): the window at places 0..1 along it, and its two derivatives by place.

    Cosines and sines of multiples come from the first by multiplying complex numbers.
    """
    once = np.exp(2j * np.pi * place)
    multiple = once
    value = np.zeros((3, *place.shape))
    value[0] = TERMS[0]
    for order in range(1, len(TERMS)):
        turn = 2.0 * np.pi * order
        signed = TERMS[order] * (-1.0) ** order
        value[0] += signed * multiple.real
        value[1] -= signed * turn * multiple.imag
        value[2] -= signed * turn**2 * multiple.real
        multiple = multiple * once
    return value


@lru_cache(maxsize=8)
def window(size: int) -> Reals:
    """Return (3, size), read-only: the window's samples and those of its two derivatives."""
    values = window_at((np.arange(size) + 0.5) / size)
    values.flags.writeable = False
    return values


def noise_of_density(density: Reals, amplitude: Reals, size: int, rate: int) -> Reals:
    """Return the standard deviation in Hz of lines over white noise, before anything is measured.

    `density` is the noise's RMS a sample, `size` the window's length in samples.
    """
    hz: Reals = density / np.maximum(amplitude, 1e-300)
    scale: float = math.sqrt(2.0 * _SLOPE_ENERGY) / _MEAN * size**-1.5 * rate / (2.0 * math.pi)
    noise: Reals = hz * scale
    return noise


def fitting_size(size: int) -> int:
    """Return the largest size up to `size` of the form m * 2^k, 32 <= m < 64: fast to transform."""
    spare = max(size.bit_length() - 6, 0)
    return size >> spare << spare


@dataclass(frozen=True, slots=True)
class Lines:
    """Lines found, one entry each in arrays of one length; Hz are NaN where `found` is False.

    `amplitude` is the peak amplitude as the window weighs it; `floor` the noise beside the line,
    as the RMS amplitude it would pretend; `noise_hz` and `drift_hz` are standard deviations, from
    that noise and from the curvature of the line's own phase.
    """

    found: NDArray[np.bool_]
    hz: Reals
    amplitude: Reals
    floor: Reals
    noise_hz: Reals
    drift_hz: Reals


def joined(lines: Sequence[Lines]) -> Lines:
    """Return lines found apart, one after the other."""
    columns = (
        np.concatenate([getattr(each, field.name) for each in lines]) for field in fields(Lines)
    )
    return Lines(*columns)


class Stretch:
    """A stretch of mono samples, windowed once and searched for lines as often as asked.

    `samples` is (size,), at least 64 of them, float64, or complex128 where they have been turned
    in phase; it is read once and not kept. The length used is `fitting_size(size)`, from the start.
    """

    def __init__(self, samples: Reals | Complexes, rate: int) -> None:
        self.size = fitting_size(len(samples))
        self.rate = rate
        self.bin_hz = rate / self.size
        used = samples[: self.size]
        weights = window(self.size)
        self._weighted = used * weights
        self._sum = float(weights[0].sum())
        energy = [float(np.dot(weight, weight)) for weight in weights[:2]]
        self._energy = energy[0]
        self._slope_ratio = energy[1] / energy[0]
        if np.iscomplexobj(samples):
            bins = np.fft.fft(self._weighted[0])[: self.size // 2 + 1]
        else:
            bins = np.fft.rfft(self._weighted[0])
        self._power: Reals = bins.real**2 + bins.imag**2

    def lines(self, expected_hz: Reals, low_hz: Reals, high_hz: Reals, floor: Reals) -> Lines:
        """Find the line of each region low..high; `floor` is what `self.floor` says of them.

        It is the peak nearest to `expected_hz` among those within 12 dB of the region's highest.

        A region without a peak of its own (it lies on the skirt of something outside, or is
        narrower than a bin) gives none; nor does one whose peak leads to a line outside.
        """
        start_hz, found = self.peaks(expected_hz, low_hz, high_hz)
        hz = start_hz.copy()
        for _ in range(_MOST_STEPS):
            transforms = self._transform(hz)
            step_hz = np.where(found, self._step_hz(transforms), 0.0)
            hz = hz + step_hz
            found &= np.isfinite(hz) & (np.abs(hz - start_hz) < 2.0 * self.bin_hz)
            hz = np.where(found, hz, start_hz)
            if not np.any(np.abs(step_hz[found]) > _CLOSE_BINS * self.bin_hz):
                break
        found &= self._within(hz, low_hz, high_hz)
        return self._read(hz, found, transforms, floor)

    def peaks(
        self, expected_hz: Reals, low_hz: Reals, high_hz: Reals
    ) -> tuple[Reals, NDArray[np.bool_]]:
        """Return the peak of each region, and whether it has one; without, it is `expected_hz`.

        It is put between bins by a parabola through its logarithm.
        """
        power = self._power
        hz = expected_hz.copy()
        found = np.zeros(len(hz), dtype=np.bool_)
        first = np.clip(np.floor(low_hz / self.bin_hz), 1, len(power) - 2).astype(np.int64)
        last = np.clip(np.ceil(high_hz / self.bin_hz), 1, len(power) - 2).astype(np.int64)
        for line, (low, high) in enumerate(zip(first, last, strict=True)):
            inner = power[low : high + 1]
            tops = (inner >= power[low - 1 : high]) & (inner > power[low + 1 : high + 2])
            if not tops.any():
                continue
            high_enough = tops & (inner >= _PEAK_SHARE * inner[tops].max())
            peaks = low + np.flatnonzero(high_enough)
            top = peaks[np.argmin(np.abs(peaks - hz[line] / self.bin_hz))]
            left, middle, right = np.log(np.maximum(power[top - 1 : top + 2], 1e-300))
            bend = left - 2.0 * middle + right
            shift = 0.5 * (left - right) / bend if bend < 0.0 else 0.0
            place = (top + shift) * self.bin_hz
            # A peak that its region does not hold belongs to a neighbour.
            if self._within(place, low_hz[line], high_hz[line]):
                hz[line], found[line] = place, True
        return hz, found

    def seen_at(self, hz: Reals) -> tuple[Reals, Reals]:
        """Return the amplitude seen at each of `hz`, and how it would push a line, in bins of it.

        That is by how many bins times the line's own amplitude, were the two on each other.
        """
        magnitude = np.abs(self._transform(hz)[:2]) * (2.0 / self._sum)
        return magnitude[0], magnitude[1] / (2.0 * np.pi)

    def lines_at(self, hz: Reals, floor: Reals) -> Lines:
        """Read the lines at `hz` by one step from there: whether, and which way, their phase turns.

        For a line that is there it says 0, however its amplitude changes, its sign too; for a
        steady one near by where it is. The amplitude is what is seen at `hz`; `drift_hz` is what
        the skirts of others may do: those of lines that come and go quickly reach further than
        the window's, and make the line's own lobe asymmetric.
        """
        transforms = self._transform(hz)
        stepped = hz + self._step_hz(transforms)
        found = self._read(stepped, np.isfinite(stepped), transforms, floor)
        return replace(found, drift_hz=self._skewed_hz(hz))

    def _skewed_hz(self, hz: Reals) -> Reals:
        """Return how far others may push lines at `hz`, by how they skew the lines' own lobes.

        A skirt of share e of a line pushes it by about e bins, and leaves e^2 of asymmetry.
        """
        skewed = np.array([self.asymmetry(each, _SKEW_BINS) for each in hz.tolist()])
        pushed: Reals = _SKEW_SHARE * np.sqrt(np.maximum(skewed, 0.0)) * self.bin_hz
        return pushed

    def asymmetry(self, hz: float, reach_bins: int) -> float:
        """Return how far the spectrum about `hz`, so many bins either way, is from symmetric: 0..1.

        A line at w whose phase stands still, but for turning over where its amplitude changes its
        sign, is a real signal once it is brought to 0 Hz: X(w + f) and X(w - f) are conjugates, but
        for one phase, and |sum of X(w + f) X(w - f)| is the sum of |X|^2. Of anything else, as of
        one of two peaks, it is less.
        """
        offset = np.arange(-reach_bins, reach_bins + 1, dtype=np.float64)
        bins = self._transform(np.asarray(hz + offset * self.bin_hz, dtype=np.float64))[0]
        power = float(np.sum(np.abs(bins) ** 2))
        return 1.0 - float(np.abs(np.sum(bins * bins[::-1]))) / power if power else 1.0

    def _step_hz(self, transforms: Complexes) -> Reals:
        """Return how far above where `transforms` were taken the lines seem to be."""
        with np.errstate(divide="ignore", invalid="ignore"):
            step: Reals = -(transforms[1] / transforms[0]).imag * self.bin_hz / (2.0 * np.pi)
        return step

    def _read(
        self, hz: Reals, found: NDArray[np.bool_], transforms: Complexes, floor: Reals
    ) -> Lines:
        """Return lines found at `hz` by `transforms` taken there, or a step away."""
        magnitude = np.abs(transforms[0])
        found = found & (magnitude > 0.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            curve = transforms[2] / transforms[0] - (transforms[1] / transforms[0]) ** 2
            drift = np.abs(curve.imag) * RMS_WIDTH * self.bin_hz / (2.0 * np.pi)
            amplitude = 2.0 * magnitude / self._sum
            noise = self.noise_hz(amplitude, floor)
        missing = np.where(found, 0.0, np.nan)
        return Lines(
            found, hz + missing, np.where(found, amplitude, 0.0), floor, noise + missing,
            drift + missing,
        )  # fmt: skip

    def noise_hz(self, amplitude: Reals, floor: Reals) -> Reals:
        """Return the standard deviation in Hz of lines of `amplitude` over noise of `floor`."""
        with np.errstate(divide="ignore"):
            hz: Reals = floor / amplitude * np.sqrt(self._slope_ratio / 2.0)
        return hz * (self.bin_hz / (2.0 * np.pi))

    def floor(self, hz: Reals, busy_hz: Reals) -> Reals:
        """Return the noise at each of `hz` (lines,): the RMS amplitude it would pretend.

        The median of the bins 6 to 40 off, without those within 5 of any of `busy_hz`; where too
        few are left, of all of them, which says too much rather than too little.
        """
        busy = self._busy_bins(busy_hz)
        offset = np.arange(_RING_BINS[0], _RING_BINS[1] + 1)
        around = np.concatenate([-offset[::-1], offset])
        bins = np.rint(hz / self.bin_hz).astype(np.int64)[:, None] + around
        inside = (bins >= 1) & (bins < len(self._power) - 1)
        bins = np.clip(bins, 1, len(self._power) - 2)
        free = inside & ~busy[bins]
        few = free.sum(axis=1) < _FEWEST_RING_BINS
        free[few] = inside[few]
        ranked = np.sort(np.where(free, self._power[bins], np.inf), axis=1)
        count = np.maximum(free.sum(axis=1), 1)
        middle = ranked[np.arange(len(hz)), count // 2]
        # The power of noise in a bin is exponentially distributed: its median is ln 2 of its mean.
        floor: Reals = 2.0 * np.sqrt(middle / np.log(2.0)) / self._sum
        return floor

    def floor_density(self, floor: Reals) -> Reals:
        """Return a floor as the RMS of one sample of white noise, whatever the window's length."""
        density: Reals = floor * (self._sum / 2.0 / np.sqrt(self._energy))
        return density

    def _busy_bins(self, busy_hz: Reals) -> NDArray[np.bool_]:
        place = np.abs(busy_hz) / self.bin_hz
        edges = np.zeros(len(self._power) + 1, dtype=np.int64)
        first = np.clip(np.ceil(place - _BUSY_BINS), 0, len(self._power)).astype(np.int64)
        last = np.clip(np.floor(place + _BUSY_BINS) + 1, 0, len(self._power)).astype(np.int64)
        np.add.at(edges, first, 1)
        np.add.at(edges, last, -1)
        busy: NDArray[np.bool_] = np.cumsum(edges)[:-1] > 0
        return busy

    def _within(self, hz: Reals, low_hz: Reals, high_hz: Reals) -> NDArray[np.bool_]:
        """Say whether regions hold what is found at `hz`, but for half a bin."""
        margin_hz = self.bin_hz / 2.0
        return (low_hz - margin_hz <= hz) & (hz <= high_hz + margin_hz)

    def _transform(self, hz: Reals) -> Complexes:
        """Return (3, lines): the transforms at exactly `hz` under the window and two derivatives.

        Sample n is a * block + b, and e^(-iw(a block + b)) splits into a factor for a and one for
        b, so the sum is a matrix product and only few sines are needed.
        """
        block = 1 << (self.size.bit_length() // 2)
        while self.size % block:
            block >>= 1
        rows = self.size // block
        cycles = hz / self.rate
        inner = 2.0 * np.pi * np.outer(np.arange(block), cycles)
        outer = 2.0 * np.pi * np.mod(np.outer(np.arange(rows) * block, cycles), 1.0)
        folded = self._weighted.reshape(3 * rows, block)
        partly = (folded @ np.cos(inner)) - 1j * (folded @ np.sin(inner))
        sums: Complexes = np.einsum("kap,ap->kp", partly.reshape(3, rows, -1), np.exp(-1j * outer))
        return sums
