"""The documents and the program say the same."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from crowlight.cli.app import app
from crowlight.files.tables import COLUMNS, HEAD
from crowlight.reed import instruments

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
TABLES = (ROOT / "docs" / "howto" / "tables.md").read_text(encoding="utf-8")
COMMANDS = sorted(c.name or c.callback.__name__ for c in app.registered_commands if c.callback)


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_in_the_readme(command: str) -> None:
    assert f"`crowlight {command}" in README


def test_every_column_and_head_line_is_documented() -> None:
    for name in (*COLUMNS, *HEAD):
        assert f"`{name}`" in TABLES
    for code in instruments():
        assert f"`{code}`" in TABLES


def test_help_loads_no_heavy_library() -> None:
    code = (
        "import sys\nfrom crowlight.cli import main\nsys.argv = ['crowlight', '--help']\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        "print('LOADED', *sorted({'numpy', 'scipy', 'sqlalchemy'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert re.search(r"^LOADED\s*$", done.stdout, re.MULTILINE), done.stdout
    assert "assess" in done.stdout
