"""Random cases without a time limit for each: the machine may be busy, and time is not tested."""

from hypothesis import settings

settings.register_profile("patient", deadline=None)
settings.load_profile("patient")
