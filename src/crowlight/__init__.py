"""crowlight: measure oboe reeds and weigh the next cut before any cane goes."""

__version__ = "0.1.0"
