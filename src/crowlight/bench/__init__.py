"""Use cases of the bench, and the ports they need."""
