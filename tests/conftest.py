"""What holds for every test: nothing depends on how fast the machine is, and every run tries the same examples."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

# Health checks that measure time would fail on a busy machine; those about the strategies themselves stay.
settings.register_profile(
    "plica",
    max_examples=50,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("plica")
