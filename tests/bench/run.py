"""Run the benchmarks and print them, most as ratios.

    python tests/bench/run.py [--json] [--rounds 3]

Partials held in real time, by either of our kernels beside pyo's own sine objects, taken in turns
in the same run, on one core each, and what share that is of the float32 arithmetic; notes of four
FM operators held, likewise; four-part music rendered; what an idle engine takes; what an event
costs; how long a kernel takes to be ready.
Absolute figures move from machine to machine, so compare ratios. Nothing here is a test that fails.
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

import engine_fm
import engine_load
import numpy as np
import pyo_baseline

CHORALE = Path(__file__).parents[1] / "data" / "chorale.mid"
FRAMES = (256, 64)
CHORDS = (1, 16)
KERNELS = ("compiled", "numpy")
TARGETS = {("compiled", 256): 15.0, ("compiled", 64): 8.0, ("numpy", 256): 5.0}
FM_TARGETS = {"compiled, in a row": 8.0}
MUSIC_TARGET = 100.0
FLOPS_PER_SAMPLE = {"compiled": 4.0, "numpy": 8.0}
"""What each kernel's sums take a partial a sample: two and four multiplications with an addition.

All else (sines, envelopes, bases, crossfades, mixing) is not counted, so it lowers the share.
"""
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
        **{name: version(name) for name in ("numpy", "numba", "pyo")},
        "openblas_num_threads": 1,
        "openblas_coretype_was": coretype or "not set",
    }


def partials(frames: int, rounds: int) -> Figures:
    """Return the partials held by each kernel and by pyo, in turns: the best of as many rounds."""
    held: dict[str, list[int]] = {name: [] for name in (*KERNELS, "pyo")}
    for _ in range(rounds):
        for kernel in KERNELS:
            held[kernel].append(int(engine_load.run("held", kernel, str(frames))["partials_held"]))
        held["pyo"].append(pyo_baseline.held(frames))
    best = {name: max(found) for name, found in held.items()}
    return {"frames": frames, "held": best, "rounds": held}


def measure(rounds: int) -> Figures:
    """Return all figures."""
    conditions = machine(one_thread())
    run = engine_load.run
    return {
        "machine": conditions,
        "start": {kernel: run("start", kernel)["seconds"] for kernel in KERNELS},
        "peak_flops": run("peak")["flops"],
        "partials": [partials(frames, rounds) for frames in FRAMES],
        "fm": {"frames": FRAMES[0], "notes": engine_fm.run(FRAMES[0], rounds)},
        "music": {kernel: run("music", kernel, str(CHORALE)) for kernel in KERNELS},
        "idle": [
            {"frames": n, "share": {each: run("idle", each, str(n))["share"] for each in KERNELS}}
            for n in FRAMES
        ],
        "events": [
            {
                "patch": patch,
                "kernel": kernel,
                "chord": n,
                **run("events", kernel, str(FRAMES[0]), str(n), patch),
            }
            for patch in ("additive", "fm")
            for kernel in KERNELS
            for n in CHORDS
        ],
    }


def share_of_peak(kernel: str, partials_held: int, peak_flops: float) -> float:
    """Return the part of the core's float32 arithmetic that the kernel's sums are."""
    return partials_held * engine_load.RATE_HZ * FLOPS_PER_SAMPLE[kernel] / peak_flops


def _of(row: Figures, name: str) -> str:
    return f"  {row['frames']} frames, {name}"


def fm_lines(row: Figures) -> list[str]:
    """Return the FM notes held, for people."""
    title = f"4-operator FM notes held, {row['frames']} frames"
    lines = ["", f"{title:34}{'held':>9}{'ratio':>9}"]
    for name, notes in row["notes"].items():
        line = f"{'  ' + name:34}{notes:9.0f}"
        if name != "pyo":
            line += f"{notes / row['notes']['pyo']:9.2f}"
        target = FM_TARGETS.get(name)
        lines.append(line + (f"   target {target:g}" if target else ""))
    return lines


def table(found: Figures) -> str:
    """Return the figures for people."""
    lines = [f"{name}: {value}" for name, value in found["machine"].items()]
    lines.append(f"float32 matrix product: {found['peak_flops'] / 1e9:.0f} Gflop/s")
    lines += ["", f"{'partials held at 48 kHz, stereo':34}{'held':>9}{'ratio':>9}{'of peak':>9}"]
    for row in found["partials"]:
        for name, held in row["held"].items():
            line = f"{_of(row, name):34}{held:9}"
            if name != "pyo":
                share = share_of_peak(name, held, found["peak_flops"])
                line += f"{held / row['held']['pyo']:9.2f}{share * 100:7.1f} %"
            target = TARGETS.get((name, row["frames"]))
            lines.append(line + (f"   target {target:g}" if target else ""))
    lines += fm_lines(found["fm"])
    lines += ["", f"{CHORALE.name}: seconds of music a second (target {MUSIC_TARGET:g})"]
    for kernel, music in found["music"].items():
        lines.append(
            f"{'  ' + kernel:34}{music['seconds_per_second']:9.1f}; with take and log written "
            f"{music['seconds_per_second_written']:.1f}"
        )
    lines += ["", "an engine with no notes, of a block's time"]
    for row in found["idle"]:
        for kernel, share in row["share"].items():
            lines.append(f"{_of(row, kernel):34}{share * 100:9.2f} %")
    lines += ["", f"{'microseconds a note':34}{'on':>9}{'off':>9}{'split':>9}"]
    for row in found["events"]:
        name = "alone" if row["chord"] == 1 else f"in a chord of {row['chord']}"
        name = f"  {row['patch']}, {row['kernel']}, {name}"
        lines.append(
            f"{name:34}{row['note_on_us']:9.1f}{row['note_off_us']:9.1f}{row['split_us']:9.1f}"
        )
    lines += ["", "seconds until a kernel is ready, in a new process"]
    lines += [f"{'  ' + kernel:34}{seconds:9.3f}" for kernel, seconds in found["start"].items()]
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
