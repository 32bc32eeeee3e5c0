"""Made-up things for the demo, the tests and the trials; nothing here was ever measured.

Every value in this package comes from a seeded random generator and from ranges chosen by the
developers. Whatever shows it must say so: see :data:`INVENTED_NOTE`.
"""

INVENTED_NOTE = "invented: made by a random generator, not recorded from any reed"

__all__ = ["INVENTED_NOTE"]
