"""How the whole suite draws its examples."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

# One and the same examples on every run: whether a change is sound must not hang on luck, nor on
# how busy the machine is. `make soak` draws new ones each time (--hypothesis-profile=search).
settings.register_profile(
    "fixed", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("search", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("fixed")
