"""Joins the desk to what implements its ports."""

from crowlight.wiring.desks import SystemClock, data_folder, open_desk, reader_only

__all__ = ["SystemClock", "data_folder", "open_desk", "reader_only"]
