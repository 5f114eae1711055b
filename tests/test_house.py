"""The house itself: layers, lint, types, lock files, and a wheel that works from any folder."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import sysconfig
import venv
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
BIN = Path(sysconfig.get_path("scripts"))


def run(*call: str, cwd: Path = ROOT, env: dict[str, str] | None = None) -> str:
    done = subprocess.run(call, cwd=cwd, env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{' '.join(call)}\n{done.stdout}\n{done.stderr}"
    return done.stdout


def test_imports_go_down_only() -> None:
    run(str(BIN / "lint-imports"), "--no-cache")


def test_lint_and_format() -> None:
    run(str(BIN / "ruff"), "check", "--no-cache", ".")
    run(str(BIN / "ruff"), "format", "--check", "--no-cache", "pourstats", "tests")


def test_types() -> None:
    run(str(BIN / "mypy"))


@pytest.mark.parametrize("name", ["requirements.lock", "requirements-dev.lock"])
def test_lock_pins_every_package_by_hash_and_names_no_host(name: str) -> None:
    text = (ROOT / name).read_text()
    assert "://" not in text
    pinned = re.findall(r"^([a-z0-9._-]+)==\S+.*\\$", text, re.M)
    assert len(pinned) > 40
    assert len(re.findall(r"^[a-z0-9]", text, re.M)) == len(pinned)
    wanted = (ROOT / "pyproject.toml").read_text()
    named = re.findall(r'^    "([a-z0-9-]+)[><=]', wanted.split("[project.optional")[0], re.M)
    assert {"duckdb", "pandas", "pint"} <= set(named)
    assert not set(named) - set(pinned)


def test_a_wheel_works_from_any_folder(tmp_path: Path) -> None:
    run(sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path / "dist"))
    wheel = next((tmp_path / "dist").glob("*.whl"))
    home = tmp_path / "env"
    venv.create(home, with_pip=True)
    python = next(p for p in (home / "bin/python", home / "Scripts/python.exe") if p.exists())
    run(str(python), "-m", "pip", "install", "-q", "--no-deps", "--no-index", str(wheel))
    site = Path(
        run(str(python), "-c", "import sysconfig; print(sysconfig.get_path('purelib'))").strip()
    )
    # The libraries of this environment, behind the wheel's own package.
    (site / "libraries.pth").write_text(sysconfig.get_path("purelib") + "\n")
    empty = tmp_path / "elsewhere"
    empty.mkdir()
    env = {**os.environ, "HOME": str(tmp_path / "home"), "PYTHONPATH": ""}
    where = run(
        str(python), "-c", "import pourstats; print(pourstats.__file__)", cwd=empty, env=env
    )
    assert Path(where.strip()).is_relative_to(home)
    said = run(
        str(python),
        "-m",
        "pourstats.cli",
        "demo",
        "--store",
        str(empty / "d.duckdb"),
        cwd=empty,
        env=env,
    )
    assert "labor-hours" in said
    assert "invented" in said.lower()
    run(str(python), "-m", "pourstats.cli", "template", "blank", cwd=empty, env=env)
    assert (empty / "blank" / "pours.csv").exists()
    run(
        str(python), "-m", "pourstats.cli", "template", "--phone", "phone.html",
        "--store", str(empty / "d.duckdb"), cwd=empty, env=env,
    )  # fmt: skip
    page = (empty / "phone.html").read_text(encoding="utf-8")
    assert "B300" in page and "¿Cuál colado?" in page
    rows = run(
        str(python), "-m", "pourstats.cli", "table", "pass_intervals", "--format", "csv",
        "--store", str(empty / "d.duckdb"), cwd=empty, env=env,
    )  # fmt: skip
    assert rows.count("\n") > 50
