"""What `make test` does when a program the tests need is missing."""

import os
import subprocess
from pathlib import Path

import pytest

SCRIPT = Path(__file__).parents[2] / "scripts" / "debian-packages"


def _stub(folder: Path, name: str, body: str) -> None:
    path = folder / name
    path.write_text(f"#!/bin/sh\n{body}\n", encoding="utf-8")
    path.chmod(0o755)


@pytest.fixture
def machine(tmp_path: Path):
    """Return a function that runs the script on a pretended machine."""

    def run(*, installed: bool, root: bool, apt: bool = True) -> subprocess.CompletedProcess:
        said = "echo install ok installed" if installed else "exit 1"
        _stub(tmp_path, "dpkg-query", said)
        _stub(tmp_path, "id", f"echo {0 if root else 1000}")
        if apt:
            _stub(tmp_path, "apt-get", f'echo "$@" >> {tmp_path}/asked')
        env = {"PATH": str(tmp_path)}
        return subprocess.run(["/bin/sh", SCRIPT], env=env, capture_output=True, text=True)

    return run


def test_nothing_is_done_when_all_is_there(machine, tmp_path: Path) -> None:
    assert machine(installed=True, root=False).returncode == 0
    assert not (tmp_path / "asked").exists()


def test_somebody_else_is_told_the_one_command_and_the_run_fails(machine, tmp_path: Path) -> None:
    done = machine(installed=False, root=False)
    assert done.returncode == 1
    command = [line for line in done.stderr.splitlines() if "apt-get install" in line]
    assert len(command) == 1
    for package in ("chromium", "postgresql", "calculix-ccx", "fluidsynth"):
        assert package in command[0]
    assert not (tmp_path / "asked").exists()


def test_root_on_debian_has_them_installed(machine, tmp_path: Path) -> None:
    assert machine(installed=False, root=True).returncode == 0
    asked = (tmp_path / "asked").read_text(encoding="utf-8")
    assert "update" in asked
    assert "install" in asked
    assert "chromium" in asked


def test_without_apt_the_names_are_said(machine) -> None:
    done = machine(installed=False, root=True, apt=False)
    assert done.returncode == 1
    assert "chromium" in done.stderr


def test_continuous_integration_runs_make_test() -> None:
    run = SCRIPT.parents[1] / ".ci" / "run"
    assert os.access(run, os.X_OK)
    assert "make test" in run.read_text(encoding="utf-8")
