"""Settings of all tests."""

import os

from hypothesis import settings

# Continuous integration tries the same examples every time, so that it fails because of a change
# and not by chance; every other run looks for new ones.
settings.register_profile("same-every-time", derandomize=True)
if os.environ.get("CI"):
    settings.load_profile("same-every-time")
