"""The port of last time, so that a browser finds again what it has not sent yet."""

from __future__ import annotations

import socket
from pathlib import Path

import pytest

from crowlight.errors import InputError
from crowlight.wiring.ports import listen


def number(listener: socket.socket) -> int:
    host, port = listener.getsockname()
    assert host == "127.0.0.1"
    return port


def test_the_port_of_last_time_is_taken_again(tmp_path: Path):
    with listen(tmp_path) as listener:
        first = number(listener)
    with listen(tmp_path) as listener:
        assert number(listener) == first
    with listen(tmp_path / "other") as listener:
        assert number(listener) > 0


def test_a_port_that_somebody_else_has_is_left_to_them(tmp_path: Path):
    with listen(tmp_path) as listener:
        first = number(listener)
    with socket.socket() as other:
        other.bind(("127.0.0.1", first))
        other.listen()
        with listen(tmp_path) as listener:
            second = number(listener)
            assert second != first
        with pytest.raises(InputError, match=f"port {first} cannot be used"):
            listen(tmp_path, first)
    with listen(tmp_path) as listener:
        assert number(listener) == second


def test_a_port_that_is_named_is_remembered_too(tmp_path: Path):
    with listen(tmp_path) as listener:
        free = number(listener)
    with listen(tmp_path / "named", free) as listener:
        assert number(listener) == free
    with listen(tmp_path / "named") as listener:
        assert number(listener) == free


@pytest.mark.parametrize("text", ["", "x", "80", "99999999", "-1", "１２３４５", "\xff"])
def test_what_is_no_port_is_passed_over(tmp_path: Path, text: str):
    (tmp_path / "last-port").write_text(text, encoding="utf-8")
    with listen(tmp_path) as listener:
        assert number(listener) >= 1024
