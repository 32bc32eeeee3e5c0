"""What to do next: travel advice, and the next cut in `crowlight.plan.cut`.

Every prediction is a range with a basis. Trust its sign and order more than its size.
"""

from crowlight.plan import cut
from crowlight.plan.journey import (
    Climate,
    Journey,
    Site,
    measured_climate,
    seasons,
    usual_climate,
)
from crowlight.plan.travel import (
    Advice,
    Claim,
    Compensation,
    Limits,
    ReedState,
    TravelAdvice,
    compensation,
    contested_claims,
    travel_advice,
)
from crowlight.plan.travel_chart import AltitudeChart, altitude_chart
from crowlight.plan.travel_effects import Effect, Interval, TravelEffects, travel_effects
from crowlight.plan.travel_history import Learned, TravelOutcome

__all__ = [
    "Advice",
    "AltitudeChart",
    "Claim",
    "Climate",
    "Compensation",
    "Effect",
    "Interval",
    "Journey",
    "Learned",
    "Limits",
    "ReedState",
    "Site",
    "TravelAdvice",
    "TravelEffects",
    "TravelOutcome",
    "altitude_chart",
    "compensation",
    "contested_claims",
    "cut",
    "measured_climate",
    "seasons",
    "travel_advice",
    "travel_effects",
    "usual_climate",
]
