"""The wheel as a stranger gets it: installed into an empty environment, used in an empty folder."""

import json
import os
import subprocess
import sys
import zipfile
from dataclasses import dataclass
from pathlib import Path

import pytest

from meantide import __version__

REPO = Path(__file__).parents[1]
BUILDER = "hatchling"  # what pyproject.toml builds with
SCORE = """\
title: Invented, two bells over the mud
scale: 31-equal
anchor: a415
tempo: 80
parts:
  bell:
    voice: harbour-bell
    notes: [[0, 3, A4, 0.7], [1, 3, "C#5", 0.6]]
  reed:
    voice: plain-reed
    notes: [[0, 4, E4, 0.7]]
"""


@dataclass(frozen=True)
class Installed:
    """The wheel, the programs of the environment it is installed in, and an empty folder."""

    wheel: Path
    programs: Path
    folder: Path

    def run(self, program: str, *arguments: str) -> str:
        """Run a program in the empty folder, knowing nothing of this repository."""
        done = subprocess.run(
            [self.programs / program, *arguments],
            cwd=self.folder,
            env={"PATH": os.defpath, "HOME": str(self.folder), "PYTHONNOUSERSITE": "1"},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Installed:
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run([sys.executable, "-m", "venv", folder / "venv"], check=True)
    programs = folder / "venv" / ("Scripts" if os.name == "nt" else "bin")

    def pip(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
        command = [programs / "python", "-m", "pip", "--quiet", *arguments]
        # Not in the repository: its folder would be on the path of `python -m`.
        return subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)

    reached = pip("download", "--no-deps", "--dest", folder / "reached", BUILDER)
    if reached.returncode != 0 and os.environ.get("CI") != "true":
        pytest.skip(f"the package index cannot be reached: {reached.stderr.strip()[-200:]}")
    assert reached.returncode == 0, reached.stderr
    built = pip("wheel", "--no-deps", "--wheel-dir", folder / "built", REPO)
    assert built.returncode == 0, built.stderr
    (wheel,) = (folder / "built").iterdir()
    put = pip("install", wheel)
    assert put.returncode == 0, put.stderr
    (folder / "empty").mkdir()
    return Installed(wheel, programs, folder / "empty")


def test_the_wheel_holds_the_package_and_the_presets_and_nothing_else(installed: Installed) -> None:
    with zipfile.ZipFile(installed.wheel) as wheel:
        names = {name for name in wheel.namelist() if ".dist-info/" not in name}
        licences = [name for name in wheel.namelist() if name.endswith("/LICENSE")]
    presets = {f"meantide/{file.relative_to(REPO)}" for file in REPO.glob("presets/*/*.yaml")}
    code = {str(file.relative_to(REPO / "engine")) for file in REPO.glob("engine/meantide/**/*.py")}
    assert {name.split("/")[2] for name in presets} >= {"scales", "anchors", "layouts", "voices"}
    assert names == presets | code
    assert len(licences) == 1


def test_it_tells_its_version(installed: Installed) -> None:
    assert installed.run("meantide", "--version").split()[-1] == __version__
    origin = installed.run("python", "-c", "import meantide; print(meantide.__file__)")
    assert Path(origin.strip()).is_relative_to(installed.programs.parent)


def test_it_lists_every_shipped_preset(installed: Installed) -> None:
    listed = json.loads(installed.run("meantide", "presets", "--json"))
    shipped = {(file.parent.name, file.stem) for file in REPO.glob("presets/*/*.yaml")}
    assert {(preset["kind"], preset["name"]) for preset in listed} == shipped
    assert not [preset for preset in listed if preset["error"]]
    assert "31-equal" in installed.run("meantide", "presets", "scales")


def test_it_renders_a_score_and_proves_it_in_tune(installed: Installed) -> None:
    (installed.folder / "score.yaml").write_text(SCORE, encoding="utf-8")
    installed.run("meantide", "render", "score.yaml", "--out", "take.wav")
    found = json.loads(installed.run("meantide", "assay", "take.wav", "--json"))
    assert found["passed"]
    assert found["counts"] == {"in tune": 3, "out": 0, "missing": 0, "unresolved": 0}
    # A4 = 415; degrees of 31: C sharp is 10 above A, E is 13 below.
    expected = [415.0, 415.0 * 2 ** (10 / 31), 415.0 * 2 ** (-13 / 31)]
    assert [row["measured_hz"] for row in found["rows"]] == pytest.approx(expected, rel=1e-6)
    assert {file.name for file in installed.folder.iterdir()} == {
        "score.yaml",
        "take.json",
        "take.wav",
    }
