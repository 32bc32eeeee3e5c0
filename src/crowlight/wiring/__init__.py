"""Joins the desk to what implements its ports."""

from crowlight.wiring.desks import SystemClock, assess_file, data_folder, open_desk

__all__ = ["SystemClock", "assess_file", "data_folder", "open_desk"]
