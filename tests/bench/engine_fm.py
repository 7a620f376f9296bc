"""How many FM notes of four operators each kernel holds in real time, beside pyo's own objects.

    python tests/bench/engine_fm.py FRAMES ROUNDS    the notes of each, as JSON

The patch is that of `pyo_fm_baseline.py`: four sines in a row, all their gains moving. Beside it
the same made at 4 times the rate, and with feedback on the first. The quickest of many passes,
nothing heard. What else runs on the machine changes the figures more than their ratios: pyo, in
processes of its own, and we are measured in turns, and the best round of each is told. `run.py`
prints it with the other figures.
"""

import json
import subprocess
import sys
import time
from pathlib import Path as File

import numpy as np
from pyo_fm_baseline import INDICES, RATE_HZ, RATIOS, frequencies_hz

from meantide.voice.bank import Strike
from meantide.voice.envelope import Envelope
from meantide.voice.fm import FmBank
from meantide.voice.fm_description import FmVoice, Operator, Path
from meantide.voice.fm_prepared import prepare_fm
from meantide.voice.kernel import Kernel
from meantide.voice.kernels import KERNELS, kernel_named

NOTES = 64
PASSES = 60
PYO_NOTES = 128
MOVING = Envelope(attack_s=0.01, decay_s=100.0, sustain_db=-60.0)


def voice(highest_hz: float, feedback: float = 0.0) -> FmVoice:
    """Return four operators in a row, the last of which is heard."""
    last = len(RATIOS)
    operators = tuple(
        Operator(
            ratio,
            level_db=0.0 if number == last else None,
            envelope=MOVING,
            feedback=feedback if number == 1 else 0.0,
        )
        for number, ratio in enumerate(RATIOS, 1)
    )
    paths = tuple(Path(number, number + 1, index) for number, index in enumerate(INDICES, 1))
    return FmVoice("row", operators, paths, highest_hz=highest_hz)


def notes_in_real_time(fm_voice: FmVoice, kernel: Kernel, frames: int) -> float:
    """Return how many notes take as long as a block lasts."""
    bank = FmBank(NOTES, RATE_HZ, kernel)
    prepared = prepare_fm(fm_voice, RATE_HZ)
    for row, hz in enumerate(frequencies_hz(NOTES)):
        bank.start(row, prepared, Strike(hz, 0.8))
    rows, out = np.arange(NOTES), np.zeros((2, frames), np.float32)
    gains = np.full((2, NOTES), 0.5 / NOTES, np.float32)
    for _ in range(8):
        bank.read(rows, gains, out)
    best_s = min(_timed(bank, rows, gains, out) for _ in range(PASSES))
    return NOTES * frames / RATE_HZ / best_s


def _timed(bank: FmBank, rows: object, gains: object, out: object) -> float:
    start_s = time.perf_counter()
    bank.read(rows, gains, out)  # type: ignore[arg-type]
    return time.perf_counter() - start_s


def pyo_notes(frames: int) -> float:
    """Return how many notes pyo's own objects hold, in a process of their own."""
    command = [sys.executable, str(File(__file__).with_name("pyo_fm_baseline.py")), str(frames)]
    child = subprocess.run([*command, str(PYO_NOTES)], check=True, capture_output=True, text=True)
    return float(json.loads(child.stdout)["notes_in_real_time"])


def run(frames: int, rounds: int) -> dict[str, float]:
    """Return what this program says, in a process of its own."""
    command = [sys.executable, __file__, str(frames), str(rounds)]
    child = subprocess.run(command, check=True, capture_output=True, text=True)
    answer: dict[str, float] = json.loads(child.stdout)
    return answer


def held(frames: int, rounds: int) -> dict[str, float]:
    """Return the notes that pyo and each kernel hold of each patch, in turns: the best round."""
    best = {"pyo": 0.0}
    kernels = {name: kernel_named(name, lambda said: None) for name in KERNELS}
    for _ in range(rounds):
        best["pyo"] = max(best["pyo"], pyo_notes(frames))
        for name, kernel in kernels.items():
            for patch, fm_voice in PATCHES.items():
                notes = notes_in_real_time(fm_voice, kernel, frames)
                row = f"{name}, {patch}"
                best[row] = max(best.get(row, 0.0), notes)
    return best


PATCHES = {
    "in a row": voice(300.0),
    "at 4 times the rate": voice(2000.0),
    "the first fed back": voice(100.0, 0.3),
}


def main(arguments: list[str]) -> None:
    """Print the notes as JSON."""
    if len(arguments) != 2 or not all(a.isdecimal() and int(a) > 0 for a in arguments):
        raise SystemExit(__doc__)
    print(json.dumps(held(int(arguments[0]), int(arguments[1]))))


if __name__ == "__main__":
    main(sys.argv[1:])
