"""What a user has to install stays small."""

import re
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

RUN = Path(__file__).parents[2] / "requirements" / "run.txt"
LIMIT = 600e6


def _size(name: str) -> int:
    try:
        files = distribution(name).files or []
    except PackageNotFoundError:  # for another system or Python
        return 0
    paths = (Path(f.locate()) for f in files)
    return sum(p.stat().st_size for p in paths if p.is_file())


def test_core_install_is_at_most_600_megabytes() -> None:
    names = re.findall(r"^([A-Za-z0-9_.-]+)==", RUN.read_text(encoding="utf-8"), re.MULTILINE)
    sizes = {name: _size(name) for name in names}
    assert sizes["numpy"] > 1e6
    assert sizes["scipy"] > 1e6
    assert sum(sizes.values()) < LIMIT, sorted(sizes.items(), key=lambda s: -s[1])[:5]


def test_locks_carry_hashes_and_no_addresses() -> None:
    for lock in RUN.parent.glob("*.txt"):
        text = lock.read_text(encoding="utf-8")
        assert "://" not in text
        entries = re.findall(r"^\S+==.*(?:\n +--hash=sha256:[0-9a-f]{64}.*)+", text, re.MULTILINE)
        assert len(entries) == len(re.findall(r"^\S+==", text, re.MULTILINE))
