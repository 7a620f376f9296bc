"""Run the benchmarks and print them, most as ratios.

    python tests/bench/run.py [--json] [--rounds 3]

Partials held in real time, ours beside pyo's own sine objects, taken in turns in the same run, on
one core each; four-part music rendered; what an idle engine takes; what an event costs. Absolute
figures move from machine to machine, so compare ratios. Nothing here is a test that fails.
RESULTS.md has what was measured, and where.
"""

import argparse
import contextlib
import json
import os
import platform
import sys
from importlib.metadata import version
from pathlib import Path
from typing import Any

import engine_load
import numpy as np
import pyo_baseline

CHORALE = Path(__file__).parents[1] / "data" / "chorale.mid"
FRAMES = (256, 64)
CHORDS = (1, 16)
PARTIALS_TARGET, MUSIC_TARGET = 5.0, 100.0
Figures = dict[str, Any]


def one_thread() -> str | None:
    """Hold the BLAS of the children, which measure, to one thread and to its own choice of code.

    Returns the OPENBLAS_CORETYPE that was set, if one was.
    """
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    return os.environ.pop("OPENBLAS_CORETYPE", None)


def machine(coretype: str | None) -> Figures:
    """Return what the figures depend on."""
    model = platform.processor() or platform.machine()
    with contextlib.suppress(OSError):
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
        models = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
        model = models[0] if models else model
    blas = np.show_config(mode="dicts")["Build Dependencies"]["blas"]
    return {
        "cpu": model,
        "cores": os.cpu_count(),
        "load_average": " ".join(f"{load:.2f}" for load in os.getloadavg()),
        "system": platform.platform(),
        "python": platform.python_version(),
        "blas": f"{blas['name']} {blas['version']}",
        **{name: version(name) for name in ("meantide", "numpy", "pyo")},
        "openblas_num_threads": 1,
        "openblas_coretype_was": coretype or "not set",
    }


def partials(frames: int, rounds: int) -> Figures:
    """Return the partials that ours and pyo's hold, in turns: the best of as many rounds each."""
    ours, theirs = [], []
    for _ in range(rounds):
        ours.append(int(engine_load.run("held", str(frames))["partials_held"]))
        theirs.append(pyo_baseline.held(frames))
    return {
        "frames": frames,
        "ours": max(ours),
        "pyo": max(theirs),
        "ratio": max(ours) / max(theirs),
        "rounds_ours": ours,
        "rounds_pyo": theirs,
    }


def measure(rounds: int) -> Figures:
    """Return all figures."""
    conditions = machine(one_thread())
    music = engine_load.run("music", str(CHORALE))
    return {
        "machine": conditions,
        "partials": [partials(frames, rounds) for frames in FRAMES],
        "music": music,
        "idle": [{"frames": n, **engine_load.run("idle", str(n))} for n in FRAMES],
        "events": [
            {"frames": FRAMES[0], "chord": n, **engine_load.run("events", str(FRAMES[0]), str(n))}
            for n in CHORDS
        ],
    }


def table(found: Figures) -> str:
    """Return the figures for people."""
    lines = [f"{name}: {value}" for name, value in found["machine"].items()]
    lines += ["", f"{'partials held at 48 kHz, stereo':34}{'ours':>9}{'pyo':>9}{'ratio':>9}"]
    for row in found["partials"]:
        target = f"   target {PARTIALS_TARGET:g}" if row["frames"] == FRAMES[0] else ""
        name = f"  {row['frames']} frames"
        lines.append(f"{name:34}{row['ours']:9}{row['pyo']:9}{row['ratio']:9.2f}{target}")
    music = found["music"]
    lines += [
        "",
        f"{CHORALE.name}, {music['notes']} notes: seconds of music a second (target "
        f"{MUSIC_TARGET:g})",
        f"{'  sound only':34}{music['seconds_per_second']:9.1f}",
        f"{'  with take and log written':34}{music['seconds_per_second_written']:9.1f}",
        "",
        "an engine with no notes, of a block's time",
    ]
    for row in found["idle"]:
        name = f"  {row['frames']} frames"
        lines.append(f"{name:34}{row['share'] * 100:9.2f} %")
    lines += ["", f"{'microseconds a note':34}{'on':>9}{'off':>9}"]
    for row in found["events"]:
        name = "  alone" if row["chord"] == 1 else f"  in a chord of {row['chord']}"
        lines.append(f"{name:34}{row['note_on_us']:9.1f}{row['note_off_us']:9.1f}")
    return "\n".join(lines)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--json", action="store_true", help="print JSON for programs")
    parser.add_argument("--rounds", type=int, default=3, help="turns each side has (default 3)")
    arguments = parser.parse_args()
    if arguments.rounds < 1:
        parser.error("--rounds: at least 1")
    print("measuring; this takes some minutes", file=sys.stderr)
    found = measure(arguments.rounds)
    print(json.dumps(found, indent=1) if arguments.json else table(found))


if __name__ == "__main__":
    main()
